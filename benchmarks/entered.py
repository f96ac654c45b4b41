"""Which of our modules one reading enters, from HTTP to the screen that shows it.

`make bench-entered` opens a proof on the bench page's own app, posts one reading by the API and
renders the stage that is pushed to every screen, everything warmed up by readings before, and lists
every module of benchproof of which a function was entered meanwhile.
"""

import sys
import tempfile
import threading
from collections import Counter
from datetime import datetime
from pathlib import Path
from types import FrameType

from starlette.testclient import TestClient

import benchproof
from benchproof.conduct.opening import open_proof
from benchproof.plan.actions import Mode
from benchproof.record.rows import PartRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.web.app import make_app
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.pages.proofstage import STAGES
from benchproof.web.site import Site
from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "performance.md"
FAMILY = "valley-coded-7"
PACKAGE = str(Path(benchproof.__file__).parent)


class Entered:
    """Counts the calls of our own functions, by module, in every thread."""

    def __init__(self) -> None:
        self.calls: Counter[str] = Counter()

    def note(self, frame: FrameType, event: str, _: object) -> None:
        """Note a call."""
        file = frame.f_code.co_filename
        # What runs while a module is loaded is no part of a reading.
        ours = file.startswith(PACKAGE) and file.endswith(".py")
        if event == "call" and ours and frame.f_code.co_name != "<module>":
            self.calls[file.removeprefix(PACKAGE).strip("/")] += 1

    def __enter__(self) -> "Entered":
        threading.setprofile(self.note)
        sys.setprofile(self.note)
        return self

    def __exit__(self, *_: object) -> None:
        sys.setprofile(None)
        threading.setprofile(None)


def now() -> datetime:
    """Return the time, with its offset."""
    return datetime.now().astimezone()


def entered() -> Counter[str]:
    """Return how often each module was entered by one reading."""
    with (
        tempfile.TemporaryDirectory() as folder,
        open_store(str(Path(folder) / "archive.sqlite"), now) as store,
    ):
        file = store.files.put(shipped_bytes("families", FAMILY))
        store.parts.add(PartRow("S-1", FAMILY, file, store.now()))
        tag = open_proof(store, "S-1", Mode.PROVE, meter="ordinary-handheld").tag
        desk = desk_of(store)
        site = Site(store, desk, secret_of(desk))
        with _client(site) as client:
            for pins in ("A-E", "B-E"):
                _read(client, site, tag, pins)
        # Only threads made under the trace are traced: this one serves with threads of its own.
        found = Entered()
        with found, _client(site) as client:
            found.calls.clear()
            _read(client, site, tag, "C-E")
            calls = found.calls.copy()
    return calls


def _client(site: Site) -> TestClient:
    return TestClient(
        make_app(site), base_url="http://127.0.0.1:8780", client=("127.0.0.1", 50_000)
    )


def _read(client: TestClient, site: Site, tag: str, pins: str) -> None:
    body = {"position": "P", "pins": pins, "value": "0.1"}
    answer = client.post(f"/api/proofs/{tag}/readings", json=body)
    assert answer.status_code < 300, answer.text
    assert STAGES.html(site.works.standing(tag))


def main() -> None:
    """Print the modules and how many there are."""
    calls = entered()
    for name, count in sorted(calls.items()):
        print(f"{count:7d}  {name}")
    layers = Counter(name.partition("/")[0] for name in calls)
    each = ", ".join(f"{name} {count}" for name, count in sorted(layers.items()))
    told = (
        f"{len(calls)} modules of {len(layers)} layers are entered by one reading, from HTTP to "
        f"the screen: {each}."
    )
    print(told)
    write_between(DOC, "entered", told)


if __name__ == "__main__":
    main()
