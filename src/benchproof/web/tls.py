"""A certificate of our own for devices in the network, since no authority vouches for a workshop.

The browser asks once whether to trust it; the fingerprint printed at the bench says whether it is
the right one. It is kept, so that it is asked once and not every day.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from benchproof.web.desk import write_whole

GOOD_DAYS = 365
"""Browsers refuse certificates that are good for much longer."""
LEFT_DAYS = 30
"""With less left it is made anew."""


def certificate(folder: Path, names: Iterable[str], now: datetime) -> tuple[Path, Path, str]:
    """Return the files of certificate and key, and the certificate's SHA-256 fingerprint.

    Parameters
    ----------
    folder : Path
        Where they are kept.
    names : iterable of str
        Names and addresses it must be good for.
    now : datetime
        With its offset from UTC.
    """
    paths = folder / "certificate.pem", folder / "key.pem"
    found = _kept(paths, set(names), now)
    if found is None:
        found, key = _made(sorted(names), now)
        write_whole(
            paths[1],
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            ),
        )
        write_whole(paths[0], found.public_bytes(serialization.Encoding.PEM))
    return *paths, found.fingerprint(hashes.SHA256()).hex(":").upper()


def _kept(paths: tuple[Path, Path], names: set[str], now: datetime) -> x509.Certificate | None:
    """Return the certificate that is kept; None if there is none that is still good."""
    try:
        found = x509.load_pem_x509_certificate(paths[0].read_bytes())
        key = serialization.load_pem_private_key(paths[1].read_bytes(), None)
        told = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, TypeError, x509.ExtensionNotFound):
        return None
    known = {*told.get_values_for_type(x509.DNSName)} | {
        str(address) for address in told.get_values_for_type(x509.IPAddress)
    }
    fresh = found.not_valid_after_utc - now > timedelta(days=LEFT_DAYS)
    return found if fresh and names <= known and found.public_key() == key.public_key() else None


def _made(names: list[str], now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "benchproof bench page")])
    built = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=GOOD_DAYS))
        .add_extension(x509.SubjectAlternativeName([_name(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    )
    return built.sign(key, hashes.SHA256()), key


def _name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)
