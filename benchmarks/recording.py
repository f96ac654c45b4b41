"""Recording in processes of its own, and looking afterwards whether anything is missing."""

import contextlib
import os
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from benchproof.record.problems import Altered, Conflict, NoSuch, Unusable
from benchproof.record.rows import PartRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify

EVENTS_A_PROOF = 40
"""About as many as a proof has readings."""


@dataclass(frozen=True)
class Tally:
    """What one kind of fault did.

    Attributes
    ----------
    name, how : str
        What was done, and by which means.
    runs, acknowledged : int
        How often, and how many events were acknowledged in all of them.
    lost, broken, unopened : int
        Acknowledged events that are not there as acknowledged; proofs whose chain is not whole;
        times that the archive did not open afterwards.
    refused : int
        Times that the archive said that it could not record something.
    seconds : float
        How long events were recorded.
    """

    name: str
    how: str
    runs: int
    acknowledged: int
    lost: int
    broken: int
    unopened: int
    refused: int = 0
    seconds: float = 0.0


@dataclass(frozen=True)
class Acknowledged:
    """An event that a screen would have shown as recorded."""

    tag: str
    seq: int
    hash: str


def clock() -> datetime:
    """Return the time."""
    return datetime.now(UTC)


def payload(number: int) -> bytes:
    """Return an event of the size of a reading."""
    told = f'{{"at":"2026-03-02T08:00:00+00:00","by":"AB","kind":"reading","value":"{number} ohm"}}'
    return told.encode()


def with_part(store: Store, tag: str) -> None:
    """Record a part, unless it is there."""
    if tag not in store.parts.tags(tag, 1):
        family = store.files.put(b"invented family")
        with contextlib.suppress(Conflict):
            store.parts.add(PartRow(tag, "invented", family, store.now()))


def work(where: str, part: str, until: float, tell: Callable[[Acknowledged], None]) -> int:
    """Prove a part over and over, telling each event once it is acknowledged; return how many."""
    many = 0
    with open_store(where, clock) as store:
        with_part(store, part)
        while time.monotonic() < until:
            tag = store.proofs.open(part, payload(0), mode="prove")
            first = store.proofs.events(tag)[0]
            tell(Acknowledged(tag, 1, first.hash))
            many += 1
            for number in range(1, EVENTS_A_PROOF):
                if time.monotonic() >= until:
                    break
                link = store.proofs.append(tag, payload(number), number)
                tell(Acknowledged(tag, link.seq, link.hash))
                many += 1
    return many


def forked(child: Callable[[Callable[[Acknowledged], None]], object]) -> tuple[int, int]:
    """Run something in a process of its own; return its number and the end of a pipe.

    The child tells what was acknowledged through the pipe, a line each.
    """
    read, write = os.pipe()
    sys.stdout.flush()
    with warnings.catch_warnings():
        # A library may have threads of its own; the child does not use them.
        warnings.simplefilter("ignore", DeprecationWarning)
        number = os.fork()
    if number:
        os.close(write)
        return number, read
    os.close(read)
    code = 1
    try:
        child(lambda ack: (os.write(write, f"{ack.tag} {ack.seq} {ack.hash}\n".encode()), None)[1])
        code = 0
    except BaseException:
        traceback.print_exc()
    finally:
        # Nothing of the parent's may run at the child's end.
        os._exit(code)


def begun(do: Callable[[], object]) -> int:
    """Do something in a process of its own, which closes nothing at its end; return its number."""
    child = os.fork()
    if not child:
        code = 1
        try:
            do()
            code = 0
        finally:
            os._exit(code)
    return child


def told(pipe: int) -> list[Acknowledged]:
    """Return what was told through a pipe until its other end was closed."""
    with os.fdopen(pipe, "rb") as file:
        lines = file.read().decode().splitlines(keepends=True)
    whole = [line.split() for line in lines if line.endswith("\n")]
    return [Acknowledged(tag, int(seq), key) for tag, seq, key in whole]


def missing(store: Store, acknowledged: list[Acknowledged]) -> int:
    """Return how many acknowledged events are not in the archive as they were acknowledged."""
    there = set()
    for tag in {ack.tag for ack in acknowledged}:
        # Nothing of a proof that was altered is read.
        with contextlib.suppress(NoSuch, Altered):
            there |= {Acknowledged(tag, e.seq, e.hash) for e in store.proofs.events(tag)}
    return sum(ack not in there for ack in acknowledged)


@contextmanager
def scratch() -> Iterator[Path]:
    """Give a folder that is thrown away, which every user may use."""
    folder = Path(tempfile.mkdtemp(prefix="benchproof-faults-"))
    folder.chmod(0o777)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def looked_at(
    name: str,
    how: str,
    where: str,
    acknowledged: list[Acknowledged],
    *,
    runs: int = 1,
    refused: int = 0,
    seconds: float = 0.0,
) -> Tally:
    """Open an archive after a fault, and count what is missing."""
    many = len(acknowledged)
    try:
        with open_store(where, clock) as store:
            lost = missing(store, acknowledged)
            broken = len(verify(store.database).found)
    except Unusable:
        return Tally(name, how, runs, many, many, 0, 1, refused, seconds)
    return Tally(name, how, runs, many, lost, broken, 0, refused, seconds)


def summed(tallies: list[Tally], name: str, how: str) -> Tally:
    """Return several tallies as one."""
    return Tally(
        name,
        how,
        sum(t.runs for t in tallies),
        sum(t.acknowledged for t in tallies),
        sum(t.lost for t in tallies),
        sum(t.broken for t in tallies),
        sum(t.unopened for t in tallies),
        sum(t.refused for t in tallies),
        sum(t.seconds for t in tallies),
    )
