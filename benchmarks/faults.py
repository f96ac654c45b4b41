"""What the archive loses when programs are killed, disks fail and many write at once: nothing.

`make bench-faults` runs it whole and writes into docs/records.md; `make test` runs small samples.
Killing a program shows that what was acknowledged had left the program; only pulling the plug would
show that it had left the disk's own memory, which is what SQLite's full sync asks of the disk.
"""

import argparse
import contextlib
import os
import random
import resource
import shutil
import signal
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from benchproof.record.problems import Conflict, Unusable
from benchproof.record.store import open_store
from figures import write_between
from midway import acts, killed_midway
from postgres import Server, server
from recording import (
    EVENTS_A_PROOF,
    Acknowledged,
    Tally,
    clock,
    forked,
    looked_at,
    payload,
    scratch,
    summed,
    told,
    with_part,
    work,
)

DOC = Path(__file__).parents[1] / "docs" / "records.md"
_NOBODY = 65534
_BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@contextmanager
def small_disk(megabytes: int) -> Iterator[Path | None]:
    """Give a disk of its own, or None where this user may not mount one."""
    folder = Path(tempfile.mkdtemp(prefix="benchproof-disk-"))
    mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)]
    mounted = (
        shutil.which("mount") is not None
        and subprocess.run(mount, check=False, capture_output=True).returncode == 0
    )
    try:
        yield folder if mounted else None
    finally:
        if mounted:
            subprocess.run(["umount", str(folder)], check=True)
        folder.rmdir()


@contextmanager
def locked(disk: Path) -> Iterator[None]:
    """Make a disk of its own read-only for a while."""
    _run(["mount", "-o", "remount,ro", str(disk)])
    try:
        yield
    finally:
        _run(["mount", "-o", "remount,rw", str(disk)])


@contextmanager
def filled(disk: Path) -> Iterator[None]:
    """Fill a disk of its own for a while, to the last byte."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(b"\0" * 4096):
            pass
    try:
        yield
    finally:
        filler.unlink()


def killed(runs: int, seed: int, a_file: int = 10) -> Tally:
    """Kill a program that records, at random moments, its first ones included.

    Parameters
    ----------
    runs : int
        How often.
    seed : int
        Of the moments.
    a_file : int
        How many of them meet the same archive; the first one also meets its making.
    """
    drawn = random.Random(seed)
    tallies = []
    with scratch() as folder:
        for run in range(runs):
            where = str(folder / f"{run // a_file}.sqlite")
            part = f"S-{run}"
            until = time.monotonic() + 30.0
            child, pipe = forked(partial(work, where, part, until))
            # A first moment in four falls into the making of the archive, or of its first proof.
            time.sleep(
                drawn.uniform(0.0, 0.1) if drawn.random() < 0.25 else drawn.uniform(0.1, 0.4)
            )
            os.kill(child, signal.SIGKILL)
            acknowledged = told(pipe)
            os.waitpid(child, 0)
            tallies.append(looked_at("", "", where, acknowledged))
    return summed(tallies, "kill -9 at a random moment", "SQLite")


def full(limit_bytes: int, *, by_quota: bool = False) -> Tally:
    """Record until the disk is full, make room, and record again.

    Parameters
    ----------
    limit_bytes : int
        The size of the disk.
    by_quota : bool
        Limit the size of files instead of mounting a small disk.
    """
    name = "disk full"
    size = limit_bytes // 1_000_000
    with small_disk(size) as disk:
        if disk is not None and not by_quota:
            where = str(disk / "archive.sqlite")
            return _filled(name, f"a tmpfs of {size} MB", where, None)
        with scratch() as folder:
            where = str(folder / "archive.sqlite")
            return _filled(name, "a limit on the size of files", where, limit_bytes)


def _filled(name: str, how: str, where: str, limit_bytes: int | None) -> Tally:
    def fill(tell: Callable[[Acknowledged], None]) -> None:
        if limit_bytes is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))
        try:
            work(where, "S-1", time.monotonic() + 60.0, tell)
        except Unusable as error:
            tell(Acknowledged("refused", 0, str(error).replace(" ", "_")))

    child, pipe = forked(fill)
    lines = told(pipe)
    os.waitpid(child, 0)
    refused = sum(line.tag == "refused" for line in lines)
    acknowledged = [line for line in lines if line.tag != "refused"]
    if limit_bytes is None:
        # Room is made by moving the archive to a larger disk, its log with it.
        with scratch() as folder:
            for file in Path(where).parent.iterdir():
                shutil.copy(file, folder)
            return _goes_on(name, how, str(folder / Path(where).name), acknowledged, refused)
    return _goes_on(name, how, where, acknowledged, refused)


def _goes_on(
    name: str, how: str, where: str, acknowledged: list[Acknowledged], refused: int
) -> Tally:
    """Look at an archive, and show that it records again."""
    with open_store(where, clock) as store:
        tag = store.proofs.open("S-1", payload(0))
        store.proofs.append(tag, payload(1), 1)
    return looked_at(name, how, where, acknowledged, refused=refused)


def read_only() -> Tally:
    """Make the disk read-only while a program has the archive open; then writable again."""
    name = "disk read-only"
    with small_disk(20) as disk:
        if disk is not None:
            where = str(disk / "archive.sqlite")
            remount = ["mount", "-o", "remount,ro", str(disk)]
            back = ["mount", "-o", "remount,rw", str(disk)]
            return _refusing(
                name,
                "a tmpfs, mounted anew",
                where,
                lambda: _run(remount),
                lambda: _run(back),
                _nothing,
            )
        with scratch() as folder:
            where = str(folder / "archive.sqlite")
            return _refusing(
                name,
                "files without permission",
                where,
                lambda: _permit(folder, 0o555, 0o444),
                lambda: _permit(folder, 0o777, 0o666),
                _as_nobody,
            )


def _refusing(
    name: str,
    how: str,
    where: str,
    close: Callable[[], None],
    reopen: Callable[[], None],
    become: Callable[[], None],
) -> Tally:
    acknowledged: list[Acknowledged] = []
    with open_store(where, clock):
        # What only the making of an archive needs is loaded now.
        pass
    work(where, "S-1", time.monotonic() + 0.3, acknowledged.append)

    def write(tell: Callable[[Acknowledged], None]) -> None:
        become()
        try:
            work(where, "S-2", time.monotonic() + 1.0, tell)
        except Unusable:
            tell(Acknowledged("refused", 0, "-"))

    close()
    try:
        child, pipe = forked(write)
        lines = told(pipe)
        os.waitpid(child, 0)
    finally:
        reopen()
    refused = sum(line.tag == "refused" for line in lines)
    acknowledged += [line for line in lines if line.tag != "refused"]
    return _goes_on(name, how, where, acknowledged, refused)


def _run(command: list[str]) -> None:
    subprocess.run(command, check=True, capture_output=True)


def _nothing() -> None:
    """Stay who we are."""


def _as_nobody() -> None:
    """Root writes whatever the permissions say."""
    if os.geteuid() == 0:
        os.setgid(_NOBODY)
        os.setuid(_NOBODY)


def _permit(folder: Path, of_folder: int, of_files: int) -> None:
    for file in folder.iterdir():
        file.chmod(of_files)
    folder.chmod(of_folder)


def together(where: str, name: str, how: str, programs: int, seconds: float) -> Tally:
    """Let several programs record at once, each its own proofs."""
    with open_store(where, clock) as store:
        store.people.list()
    until = time.monotonic() + seconds
    children = [forked(partial(work, where, f"B{n}", until)) for n in range(1, programs + 1)]
    acknowledged = [ack for _, pipe in children for ack in told(pipe)]
    codes = [os.waitpid(child, 0)[1] for child, _ in children]
    return looked_at(
        name,
        how,
        where,
        acknowledged,
        runs=programs,
        refused=sum(map(bool, codes)),
        seconds=seconds,
    )


def same_proof(where: str, events: int) -> Tally:
    """Let two programs append to one proof; each looks again when the other was first."""
    with open_store(where, clock) as store:
        with_part(store, "S-1")
        tag = store.proofs.open("S-1", payload(0))

    def append(tell: Callable[[Acknowledged], None]) -> None:
        with open_store(where, clock) as store:
            done = conflicts = 0
            while done < events:
                last = store.proofs.row(tag).last_seq
                try:
                    link = store.proofs.append(tag, payload(done), last)
                except Conflict:
                    conflicts += 1
                    continue
                done += 1
                tell(Acknowledged(tag, link.seq, link.hash))
            for _ in range(conflicts):
                tell(Acknowledged("refused", 0, "-"))

    children = [forked(append) for _ in range(2)]
    lines = [line for _, pipe in children for line in told(pipe)]
    for child, _ in children:
        os.waitpid(child, 0)
    acknowledged = [line for line in lines if line.tag != "refused"]
    if len(acknowledged) != 2 * events:
        raise AssertionError(f"{len(acknowledged)} of {2 * events} events were acknowledged")
    return looked_at(
        "two programs on one proof",
        "SQLite",
        where,
        acknowledged,
        runs=2,
        refused=len(lines) - len(acknowledged),
    )


def set_back(proofs: int, seed: int) -> Tally:
    """Record while the clock jumps, an hour or years, back and forth."""
    drawn = random.Random(seed)
    acknowledged = []
    with scratch() as folder:
        where = str(folder / "archive.sqlite")
        hours = (-100_000, -1, 1, 100_000)
        with open_store(where, lambda: _BEGAN + timedelta(hours=drawn.choice(hours))) as store:
            with_part(store, "S-1")
            for _ in range(proofs):
                tag = store.proofs.open("S-1", payload(0))
                for number in range(1, EVENTS_A_PROOF):
                    link = store.proofs.append(tag, payload(number), number)
                    acknowledged.append(Acknowledged(tag, link.seq, link.hash))
                events = store.proofs.events(tag)
                if [e.payload for e in events] != [payload(n) for n in range(EVENTS_A_PROOF)]:
                    raise AssertionError(f"{tag}: the events are not in the order of recording")
        return looked_at("clock set back and forth", "SQLite", where, acknowledged, runs=proofs)


def crashed(running: Server, crashes: int, programs: int, seconds: float) -> Tally:
    """Crash the PostgreSQL server while programs record."""
    where = running.new_database()
    tallies = []
    for crash in range(crashes):
        with open_store(where, clock):
            pass
        until = time.monotonic() + 30.0

        children = [
            forked(partial(_until_crash, where, f"B{crash}-{n}", until)) for n in range(programs)
        ]
        time.sleep(seconds)
        running.crash()
        acknowledged = [ack for _, pipe in children for ack in told(pipe)]
        for child, _ in children:
            os.waitpid(child, 0)
        tallies.append(looked_at("", "", where, acknowledged))
    return summed(tallies, "server crashed", f"PostgreSQL, {programs} programs")


def _until_crash(where: str, part: str, until: float, tell: Callable[[Acknowledged], None]) -> None:
    with contextlib.suppress(Unusable):
        work(where, part, until, tell)


@dataclass(frozen=True)
class Cost:
    """Milliseconds of a durable append, and of a bare one to a file, in turns."""

    append_median_ms: float
    append_p99_ms: float
    file_median_ms: float
    file_p99_ms: float


def cost(events: int) -> Cost:
    """Measure what it costs that a reading is on disk before it is acknowledged."""
    appends, files = [], []
    with (
        scratch() as folder,
        open_store(str(folder / "archive.sqlite"), clock) as store,
        (folder / "bare").open("ab", buffering=0) as bare,
    ):
        with_part(store, "S-1")
        for number in range(events):
            if number % EVENTS_A_PROOF == 0:
                tag = store.proofs.open("S-1", payload(0))
            begin = time.perf_counter()
            store.proofs.append(tag, payload(number), number % EVENTS_A_PROOF + 1)
            middle = time.perf_counter()
            bare.write(payload(number))
            os.fsync(bare.fileno())
            files.append(time.perf_counter() - middle)
            appends.append(middle - begin)
    return Cost(*(1000 * f for times in (appends, files) for f in _median_p99(times)))


def _median_p99(times: list[float]) -> tuple[float, float]:
    return statistics.median(times), statistics.quantiles(times, n=100)[98]


def table(tallies: list[Tally]) -> str:
    """Return tallies as a Markdown table."""
    lines = [
        "| what was done | by which means | runs | acknowledged | lost | broken proofs "
        "| did not open | refused |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    lines += [
        f"| {t.name} | {t.how} | {t.runs} | {t.acknowledged} | {t.lost} | {t.broken} "
        f"| {t.unopened} | {t.refused} |"
        for t in tallies
    ]
    return "\n".join(lines)


def main() -> None:
    """Run it whole and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--kills", type=int, default=500)
    options.add_argument("--seconds", type=float, default=60.0, help="of ten benches at once")
    options.add_argument("--appends", type=int, default=4000)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    measured = cost(chosen.appends)
    tallies = [
        killed(chosen.kills, chosen.seed),
        full(4_000_000),
        full(2_000_000, by_quota=True),
        read_only(),
    ]
    with scratch() as folder:
        where = str(folder / "two.sqlite")
        tallies.append(together(where, "two programs at once", "SQLite", 2, 10.0))
        tallies.append(same_proof(str(folder / "one.sqlite"), 500))
    tallies.append(set_back(50, chosen.seed))
    with acts() as every:
        runs = -(-chosen.kills // len(every))
        tallies += [killed_midway(act, runs, chosen.seed) for act in every]
    with server() as running:
        tallies.append(crashed(running, 10, 4, 1.0))
        ten = together(
            running.new_database(), "ten benches at once", "PostgreSQL", 10, chosen.seconds
        )
        tallies.append(ten)
    write_between(DOC, "faults", table(tallies))
    write_between(
        DOC,
        "ten",
        f"Ten programs recorded for {ten.seconds:.0f} s: {ten.acknowledged} events acknowledged, "
        f"{ten.acknowledged / ten.seconds:.0f} a second, {ten.lost} lost.",
    )
    write_between(
        DOC,
        "durable",
        f"A durable append took {measured.append_median_ms:.2f} ms (median; 99 of 100 within "
        f"{measured.append_p99_ms:.2f} ms). Appending the same bytes to a bare file with fsync "
        f"took {measured.file_median_ms:.2f} ms ({measured.file_p99_ms:.2f} ms) in the same run: "
        f"{measured.append_median_ms / measured.file_median_ms:.1f} times as long "
        f"({measured.append_p99_ms / measured.file_p99_ms:.1f} times at 99 of 100).",
    )
    print(DOC.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
