"""The key of this bench, with which it signs what it adds to an archive.

Ed25519 (RFC 8032). The private key is a file that only its owner reads, apart from every archive:
who edits an archive without it cannot sign.
"""

import os
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from benchproof.record.problems import Unusable

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KEY_FILE = "bench.key"
_SAYS = b"benchproof head 1\n"


@dataclass(frozen=True)
class Seal:
    """A bench's key.

    Attributes
    ----------
    key : Ed25519PrivateKey
    public : bytes
        32 bytes; the archive holds it, and everybody may know it.
    name : str
        16 hexadecimal digits of its hash, by which people tell keys apart.
    """

    key: "Ed25519PrivateKey"
    public: bytes
    name: str

    def sign(self, hash_: str) -> bytes:
        """Return the signature of an entry's hash."""
        return self.key.sign(_SAYS + bytes.fromhex(hash_))


def name_of(public: bytes) -> str:
    """Return the name of a public key.

    Examples
    --------
    >>> name_of(bytes(32))
    '66687aadf862bd77'
    """
    return sha256(public).hexdigest()[:16]


def genuine(public: bytes, hash_: str, signature: bytes) -> bool:
    """Tell whether the owner of a key signed an entry's hash."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, _SAYS + bytes.fromhex(hash_))
    except (InvalidSignature, ValueError):
        return False
    return True


def own_folder() -> Path:
    """Return the folder where this bench keeps its key and the heads it has seen."""
    from platformdirs import user_data_path

    return user_data_path("benchproof", appauthor=False)


def seal_in(folder: Path) -> Seal:
    """Return the key in a folder; it is made once.

    Raises
    ------
    Unusable
        If it cannot be read or made.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    path = folder / KEY_FILE
    try:
        if not path.exists():
            _make(path)
        key = serialization.load_pem_private_key(path.read_bytes(), None)
    except OSError as error:
        raise Unusable(
            f"{path}: the key of this bench cannot be made or read ({error.strerror}), so nothing "
            "is recorded; make the folder writable."
        ) from None
    except ValueError:
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise Unusable(
            f"{path}: is no key, or is damaged, so nothing is recorded. Put back a copy of it; or "
            "move it away: a new one is made, and says so in the archive."
        )
    public = key.public_key().public_bytes_raw()
    return Seal(key, public, name_of(public))


def _make(path: Path) -> None:
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    told = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    # Whole or not at all, and one of two programs that start at once wins.
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".key-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(told)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):
            os.link(name, path)
    finally:
        Path(name).unlink()
