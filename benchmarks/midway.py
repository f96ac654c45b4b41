"""Acts of many steps that are killed midway: each leaves what was there whole, and is done or not.

`benchmarks/faults.py` counts them; `make test` tries a few of each.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from PIL import Image
from sqlalchemy import text

from benchproof.conduct.opening import open_proof
from benchproof.conduct.proofactions import take_sheet
from benchproof.conduct.work import Work
from benchproof.network.files import read_family
from benchproof.plan.actions import Mode
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.meterfile import read_meter
from benchproof.reading.sheet import write_readings
from benchproof.record.database import Database
from benchproof.record.heads import heads_of
from benchproof.record.keeping import backup, restore
from benchproof.record.openformats import take_in
from benchproof.record.problems import Altered, NoSuch, Unusable
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.salvage import salvage
from benchproof.record.seal import genuine, seal_in
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify
from benchproof.shipped.contents import shipped_bytes
from recording import Tally, begun, clock, scratch

FIRST = "1"
PROOFS, PEOPLE, PICTURES, SHEETS = 40, 300, 6, 8
FAMILY, METER = "valley-coded-7", "depot-bench"
# The threads of a library that it uses do not outlive a fork, so it is a program of its own.
EXPORT = (str(Path(sys.executable).with_name("benchproof")), "export")
State = tuple[int, ...]
"""Counts of what is there after an act."""


@dataclass(frozen=True)
class Act:
    """Something of many steps.

    Attributes
    ----------
    name : str
    begin : callable
        Makes things as they are before it.
    do : callable
        Does it.
    look : callable
        Says what is there: counts, of which each must be one of `allowed`.
    allowed : callable
        Tells whether the counts are those of nothing done, or of some of it whole.
    """

    name: str
    begin: Callable[[], None]
    do: Callable[[], None]
    look: Callable[[], State]
    allowed: Callable[[State], bool]


def killed_after(do: Callable[[], None], seconds: float) -> int:
    """Do something in a process of its own, killed after a while; return its exit code."""
    child = begun(do)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        found, status = os.waitpid(child, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.001)
    os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@contextmanager
def acts() -> Iterator[list[Act]]:
    """Give every act, in a folder that is thrown away."""
    with scratch() as folder:
        yield [
            _migration(folder),
            *(_taking_in(folder, how) for how in ("restore", "import", "salvage")),
            *(_giving_out(folder, how) for how in ("backup", "export")),
            _photographs(folder),
            _sheets(folder),
            _key(folder),
        ]


def killed_midway(act: Act, runs: int, seed: int) -> Tally:
    """Do an act over and over, killed at moments from its begin to its end, and count."""
    drawn = random.Random(seed)
    act.begin()
    began = time.monotonic()
    assert killed_after(act.do, 120.0) == 0
    lasts = time.monotonic() - began
    wrong, unopened, stopped = 0, 0, 0
    assert act.allowed(act.look())
    for turn in range(runs):
        # One moment of each equal stretch, so that they cover the whole.
        act.begin()
        code = killed_after(act.do, lasts * (turn + drawn.random()) / runs)
        stopped += code == -signal.SIGKILL
        try:
            wrong += not act.allowed(act.look())
        except (Unusable, Altered, NoSuch):
            unopened += 1
    how = f"SQLite, {stopped} before it was done"
    return Tally(f"{act.name} killed midway", how, runs, 0, 0, wrong, unopened)


def _full(store: Store) -> None:
    family = store.files.put(b"invented family")
    store.parts.add(PartRow("S-1", "invented", family, store.now()))
    for _ in range(PROOFS):
        store.proofs.append(store.proofs.open("S-1", b"x" * 4000), b"y" * 4000, 1)


def _counted(store: Store) -> State:
    found = verify(store.database, heads=store.ledger.heads)
    return (
        len(found.found),
        found.proofs,
        found.events,
        len(store.photographs.list()),
        len(store.people.list()),
    )


def _counted_at(path: Path) -> State:
    with open_store(str(path), clock) as store:
        return _counted(store)


def _remove(path: Path) -> None:
    for one in path.parent.glob(f"{path.name}*"):
        if one.is_dir():
            shutil.rmtree(one)
        else:
            one.unlink()


def _migration(folder: Path) -> Act:
    where, original = folder / "old.sqlite", folder / "original"
    with closing(Database(original, FIRST)) as old, old.writing() as connection:
        # Large enough that taking the log into the file takes its time too.
        for number in range(PEOPLE):
            told = {"initials": f"P{number}", "name": "x" * 3000}
            connection.execute(text("INSERT INTO people VALUES (:initials, :name)"), told)

    def begin() -> None:
        _remove(where)
        shutil.copy(original, where)

    def do() -> None:
        open_store(str(where), clock).database.close()

    return Act(
        "a migration", begin, do, lambda: _counted_at(where), lambda s: s == (0, 0, 0, 0, PEOPLE)
    )


def _taking_in(folder: Path, how: str) -> Act:
    full, new, source = (folder / f"{how}-{name}" for name in ("full.sqlite", "new", "source"))
    with open_store(str(full), clock) as store:
        _full(store)
        if how != "import":
            backup(store, source)
    if how == "import":
        subprocess.run([*EXPORT, source, "--store", full], check=True, capture_output=True)

    def do() -> None:
        with open_store(str(new), clock) as store:
            match how:
                case "import":
                    take_in(store, source)
                case "salvage":
                    salvage(str(source), store)
                case _:
                    restore(store, source)

    return Act(
        f"{how}",
        lambda: _remove(new),
        do,
        lambda: _counted_at(new),
        lambda s: s in ((0, 0, 0, 0, 0), (0, PROOFS, 2 * PROOFS, 0, 0)),
    )


def _giving_out(folder: Path, how: str) -> Act:
    full, out, back = folder / f"{how}.sqlite", folder / f"{how}-out", folder / f"{how}-back"
    with open_store(str(full), clock) as store:
        _full(store)
    whole = (0, PROOFS, 2 * PROOFS, 0, 0)

    def begin() -> None:
        for path in (out, back):
            _remove(path)

    def do() -> None:
        if how == "export":
            os.execv(EXPORT[0], [*EXPORT, str(out), "--store", str(full)])
        with open_store(str(full), clock, reading=True) as store:
            backup(store, out)

    def look() -> State:
        assert _counted_at(full) == whole
        if not out.exists():
            return whole
        with open_store(str(back), clock) as store:
            if how == "export":
                take_in(store, out)
            else:
                restore(store, out)
            return _counted(store)

    return Act(how, begin, do, look, lambda s: s == whole)


def _photographs(folder: Path) -> Act:
    where = folder / "photographs.sqlite"
    pictures = []
    for number in range(PICTURES):
        drawn = BytesIO()
        Image.new("RGB", (400 + number, 300), (number, 0, 0)).save(drawn, "JPEG")
        pictures.append(drawn.getvalue())

    def begin() -> None:
        _remove(where)
        open_store(str(where), clock).database.close()

    def do() -> None:
        with open_store(str(where), clock) as store:
            for number, picture in enumerate(pictures):
                store.photographs.put(picture, f"{number}.jpg")

    def allowed(state: State) -> bool:
        return state[:3] == (0, 0, 0) and 0 <= state[3] <= PICTURES

    return Act("keeping photographs", begin, do, lambda: _counted_at(where), allowed)


def _sheets(folder: Path) -> Act:
    """Return one that takes a sheet of each of many proofs; a file tells those acknowledged."""
    where, acknowledged = folder / "sheets.sqlite", folder / "acknowledged"
    family = read_family(shipped_bytes("families", FAMILY), FAMILY)
    readings = ideal_readings(family, read_meter(shipped_bytes("meters", METER), METER))
    sheet = write_readings(readings).encode()
    proofs = [f"S-{number}.1" for number in range(SHEETS)]
    original, opened, remembered = folder / "unread", dict[str, int](), dict[Path, str]()

    def make() -> None:
        with open_store(str(where), clock) as store:
            store.people.add(PersonRow("AB", ""))
            file = store.files.put(shipped_bytes("families", FAMILY))
            for number in range(SHEETS):
                store.parts.add(PartRow(f"S-{number}", FAMILY, file, store.now()))
                work = open_proof(store, f"S-{number}", Mode.PROVE, meter=METER, by="AB")
                opened[work.tag] = work.state.seq
            remembered.update((path, path.read_text()) for path, _ in store.ledger.heads.here())
        shutil.copy(where, original)

    def begin() -> None:
        if not opened:
            make()
        _remove(where)
        shutil.copy(original, where)
        # As the bench remembered it then; else the end would seem cut off.
        for path, told in remembered.items():
            path.write_text(told)
        acknowledged.write_text("")

    def do() -> None:
        with open_store(str(where), clock) as store, acknowledged.open("w") as told:
            for proof in proofs:
                take_sheet(Work(store, proof), "AB", sheet, "good.csv")
                print(proof, file=told, flush=True)

    def look() -> State:
        done = acknowledged.read_text().split()
        with open_store(str(where), clock) as store:
            found = verify(store.database, heads=store.ledger.heads)
            more = {one: store.proofs.row(one).last_seq - opened[one] for one in proofs}
        half = sum(count not in (0, len(readings)) for count in more.values())
        return (len(found.found), half, sum(more[one] != len(readings) for one in done))

    return Act("reading many sheets", begin, do, look, lambda s: s == (0, 0, 0))


def _key(folder: Path) -> Act:
    own = folder / "own"

    def begin() -> None:
        _remove(own)

    def do() -> None:
        seal_in(own)

    def look() -> State:
        # It is there whole, or made now; either way it signs.
        seal = seal_in(own)
        signed = seal.sign("ab" * 32)
        assert heads_of(own, "here").here() == []
        return (int(genuine(seal.public, "ab" * 32, signed)), len(list(own.glob("bench.key"))))

    return Act("making a key", begin, do, look, lambda s: s == (1, 1))
