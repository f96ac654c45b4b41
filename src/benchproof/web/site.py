"""What every screen shares: the archive, the keys, the drafts, who is listening."""

import os
import secrets
import tempfile
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from benchproof.conduct.marks import Marks
from benchproof.conduct.work import Works
from benchproof.web.gate import Gate
from benchproof.web.jobs import Jobs
from benchproof.web.live import Hub

if TYPE_CHECKING:
    from benchproof.record.store import Store
    from benchproof.web.devices import Devices
    from benchproof.web.plugged import Plugged

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


@dataclass(frozen=True)
class Reach:
    """How devices of the network reach the page.

    Attributes
    ----------
    addresses : tuple of str
        What to type into a browser.
    fingerprint : str
        The SHA-256 fingerprint of the certificate that it then shows.
    """

    addresses: tuple[str, ...]
    fingerprint: str


@dataclass
class Site:
    """What every screen shares.

    Attributes
    ----------
    store : Store
        The archive; its connections may be used from any thread.
    desk : Path
        The folder of the page's own files.
    secret : bytes
        The key that forms are signed with.
    devices : Devices or None
        Who may come in from the network; None if nobody can.
    reach : Reach or None
        How they come in; None if it is not known.
    plugged : Plugged or None
        The instruments of this bench; None if every value is typed.
    drafts : Drafts
    hub : Hub
        Which screens are open and want to hear of changes.
    gate : Gate
        The connections, and their limits.
    jobs : Jobs
        Long work in the background.
    works : Works
        The proofs that are open on screens.
    marks : Marks
        The signal words of proofs and parts in lists.
    """

    store: "Store"
    desk: Path
    secret: bytes
    devices: "Devices | None" = None
    plugged: "Plugged | None" = None
    reach: Reach | None = None
    hub: Hub = field(default_factory=Hub)
    gate: Gate = field(default_factory=Gate)
    jobs: Jobs = field(init=False)
    works: Works = field(init=False)
    marks: Marks = field(init=False)

    def __post_init__(self) -> None:
        self.works = Works(self.store)
        self.marks = Marks(self.store)
        self.jobs = Jobs(lambda key: self.hub.publish(f"job/{key}"))

    @property
    def drafts(self) -> Drafts:
        """What was typed and is not recorded yet."""
        return Drafts(self.desk / "drafts")
