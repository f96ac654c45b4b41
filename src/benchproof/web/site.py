"""What every screen shares: the archive, the keys, the drafts, who is listening."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchproof.conduct.marks import Marks
from benchproof.conduct.work import Works
from benchproof.web.desk import Drafts
from benchproof.web.gate import Gate
from benchproof.web.hub import Hub
from benchproof.web.jobs import Jobs

if TYPE_CHECKING:
    from benchproof.record.store import Store
    from benchproof.web.devices import Devices
    from benchproof.web.instruments import Plugged


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
