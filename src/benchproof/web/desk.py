"""The page's own files, beside the archive: the key, drafts, paired devices."""

import os
import secrets
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchproof.record.store import Store

MOST_DRAFT_LETTERS = 500_000


def desk_of(store: "Store") -> Path:
    """Return the folder beside the archive where the page keeps its own: keys, drafts, devices."""
    path = store.database.path
    if path is not None:
        return path.with_name(f"{path.name}.desk")
    from platformdirs import user_data_path

    place = sha256(store.database.place.encode()).hexdigest()[:16]
    return user_data_path("benchproof", appauthor=False) / f"desk-{place}"


def write_whole(path: Path, content: bytes) -> None:
    """Write a file that only its owner reads, so that it is the old or the new one, never half."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".new-")
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    Path(name).replace(path)


class Drafts:
    """What was typed and is not recorded yet; it outlives a reload and a power cut.

    Parameters
    ----------
    folder : Path
        Made when the first draft is kept.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def get(self, name: str) -> str:
        """Return a draft; empty if there is none."""
        try:
            return self._path(name).read_text(encoding="utf-8")
        except FileNotFoundError:
            return ""

    def put(self, name: str, text: str) -> None:
        """Keep a draft; it is on disk when this returns."""
        write_whole(self._path(name), text[:MOST_DRAFT_LETTERS].encode("utf-8", "replace"))

    def _path(self, name: str) -> Path:
        # A name may hold whatever a person called a family or a part.
        return self._folder / f"{sha256(name.encode('utf-8', 'replace')).hexdigest()[:40]}.txt"


def secret_of(desk: Path) -> bytes:
    """Return the key that forms are signed with; it is made once, so that open pages stay good."""
    path = desk / "key"
    try:
        return path.read_bytes()
    except FileNotFoundError:
        write_whole(path, secrets.token_bytes(32))
        return path.read_bytes()
