"""Serving to the network: over TLS, with a certificate that is kept, to paired devices only."""

import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from benchproof.web.tls import GOOD_DAYS, LEFT_DAYS, certificate

Lan = tuple[list[str], Path]
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


def test_a_certificate_is_kept_until_it_must_be_made_anew(tmp_path: Path) -> None:
    names = ["bench", "192.0.2.5"]
    cert, key, fingerprint = certificate(tmp_path, names, NOW)
    assert key.stat().st_mode & 0o077 == 0
    found = x509.load_pem_x509_certificate(cert.read_bytes())
    assert found.fingerprint(hashes.SHA256()).hex(":").upper() == fingerprint
    told = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert told.get_values_for_type(x509.DNSName) == ["bench"]
    assert [str(one) for one in told.get_values_for_type(x509.IPAddress)] == ["192.0.2.5"]
    assert certificate(tmp_path, names, NOW + timedelta(days=30))[2] == fingerprint
    late = NOW + timedelta(days=GOOD_DAYS - LEFT_DAYS + 1)
    renewed = certificate(tmp_path, names, late)[2]
    assert renewed != fingerprint
    assert certificate(tmp_path, [*names, "198.51.100.1"], late)[2] != renewed
    key.write_text("spoilt")
    spoilt = certificate(tmp_path, names, late)[2]
    assert certificate(tmp_path, names, late)[2] == spoilt


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    """Start the command itself, as a person does."""
    place = tmp_path_factory.mktemp("lan")
    command = [sys.executable, "-c", "from benchproof.cli import main; main()", "bench", "--lan",
               "127.0.0.2", "--no-open", "--port", "0", "--store",
               str(place / "a.sqlite")]  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        said = [running.stdout.readline() for _ in range(5)]
        yield said, place
        running.terminate()
        # It ends its screens first, then as it was told to.
        assert running.wait(10) in (0, -signal.SIGTERM)


def test_the_network_is_served_over_tls(lan: Lan) -> None:
    said, place = lan
    address = said[0].split(" at ")[1].split(";")[0]
    assert address.startswith("https://127.0.0.1:")
    context = ssl.create_default_context(cafile=place / "a.sqlite.desk" / "tls" / "certificate.pem")
    with httpx2.Client(verify=context) as client:
        page = client.get(address)
        assert page.status_code == 200
        assert "secure" in page.headers["set-cookie"].lower()
        assert client.get(address, headers={"host": "evil.example"}).status_code == 421
    with pytest.raises(httpx2.ConnectError), httpx2.Client() as unsure:
        unsure.get(address)
    with pytest.raises(httpx2.HTTPError), httpx2.Client() as bare:
        bare.get(address.replace("https", "http"))


def test_it_listens_where_it_was_told_and_nowhere_else(lan: Lan) -> None:
    said, place = lan
    port = int(said[0].split("127.0.0.1:")[1].split("/")[0])
    assert said[1] == f"From the network: https://127.0.0.2:{port}/\n"
    # This computer's loopback addresses stand for those of two networks that it is in.
    for address, answers in (("127.0.0.1", True), ("127.0.0.2", True), ("127.0.0.3", False)):
        with socket.socket() as probe:
            probe.settimeout(2.0)
            assert (probe.connect_ex((address, port)) == 0) is answers
    context = ssl.create_default_context(cafile=place / "a.sqlite.desk" / "tls" / "certificate.pem")
    with httpx2.Client(verify=context) as client:
        page = client.get(f"https://127.0.0.2:{port}/settings").text
    # What the prompt says stands on the page too.
    assert f"https://127.0.0.2:{port}/" in page
    assert said[2].rsplit(" ", 1)[1].strip().rstrip(".") in page


def test_the_person_is_told_how_to_let_a_device_in(lan: Lan) -> None:
    said, _ = lan
    assert "fingerprint" in said[2]
    code = said[3].rsplit(" ", 1)[1].strip()
    assert len(code) == 8
    assert code.isdecimal()
