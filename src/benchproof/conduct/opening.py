"""Opening a proof of a part, with the gear that it is read with."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchproof import __version__
from benchproof.conduct.families import read
from benchproof.conduct.familyanswers import MEND, kept, understood
from benchproof.conduct.people import check_somebody
from benchproof.conduct.work import Work, now
from benchproof.family.audit.rules import unfit
from benchproof.family.problems import BadFile, Problem
from benchproof.family.roles import answered
from benchproof.family.sentence import quoted
from benchproof.plan.bench import Bench, read_bench
from benchproof.proof.codec import encode
from benchproof.proof.codec import files_of as files_named
from benchproof.proof.events import (
    BenchChosen,
    InspectionNoted,
    MeterChosen,
    Mode,
    Opened,
    OtherProof,
)
from benchproof.proof.ground import ground_of
from benchproof.proof.otherproofs import said_to_others, unreadable
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meterfile import read_meter
from benchproof.record.problems import NoSuch, RecordProblem
from benchproof.shipped.contents import (
    USUAL_BENCH,
    USUAL_METER,
    shipped,
    shipped_bytes,
    usual_priors,
)
from benchproof.shop.condition import consequence

if TYPE_CHECKING:
    from benchproof.record.rows import PartRow, ProofRow
    from benchproof.record.store import Store

MOST_PROOFS = 1000
"""So many of the latest proofs of a part are looked at."""
FileOf = Callable[[str, str], tuple[bytes, str]]
"""Returns a file of a kind ("meters", "benches") by its name: its content, and its name as told."""


def along(kind: str, name: str) -> tuple[bytes, str]:
    """Return a file that comes along.

    Raises
    ------
    NoSuch
        If there is none of this name.
    """
    if name not in shipped(kind):
        raise NoSuch(
            f"{quoted(name)}: neither a tag of the gear, nor one of the {kind} that come along "
            f"({', '.join(shipped(kind))})."
        )
    return shipped_bytes(kind, name), name


def open_proof(
    store: "Store",
    part: str,
    mode: Mode,
    *,
    meter: MeterChosen | str = "",
    bench: BenchChosen | str = "",
    by: str = "",
    say: Sequence[str] = (),
    another: bool = False,
) -> Work:
    """Open a proof of a part, and note what the intake says of it.

    Parameters
    ----------
    store : Store
        The archive.
    part : str
        Tag of the part.
    mode : Mode
        What it is for.
    meter, bench : event or str
        What was chosen; or a tag of the gear, or a name that comes along; empty for the usual.
    by : str
        Initials.
    say : sequence of str
        What somebody says of its family now (`conduct.familyanswers`); the proof keeps it.
    another : bool
        Whether to open it although another proof of the part is open.

    Raises
    ------
    StillOpen
        If one is and no other was asked for; whoever writes to the archive first opens the one.
    NoSuch
        If there is no such part, meter or bench.
    RecordProblem
        If the initials are nobody's.
    BadFile
        If its family, meter or bench file cannot be used, or its start permit is charted to conduct
        in gear and nobody wrote why that is right.
    ValueError
        If what is said is not understood.
    """
    check_somebody(store, by)
    row = store.parts.get(part)
    family_file = _family_file(store, row, say)
    chosen = meter_chosen(store, meter, by) if isinstance(meter, str) and meter else meter
    profile = bench_chosen(store, bench, by) if isinstance(bench, str) and bench else bench
    put = store.files.put
    opened = Opened(
        at=now(),
        by=by,
        part=row.tag,
        mode=mode,
        version=__version__,
        family=row.family,
        family_file=family_file,
        priors_file=put(usual_priors()),
        meter_file=put(shipped_bytes("meters", USUAL_METER)),
        bench_file=put(shipped_bytes("benches", USUAL_BENCH)),
        library=tuple((name, put(shipped_bytes("families", name))) for name in shipped("families")),
    )
    # A chart that cannot be used is refused before there is a proof of it.
    ground_of(opened, {hash_: store.files.get(hash_) for hash_ in files_named(opened)})
    work = Work(store, store.proofs.open(row.tag, encode(opened), mode=mode, alone=not another))
    for event in (chosen, profile):
        if not isinstance(event, str):
            work.record(event)
    note_known(work)
    return work


def _family_file(store: "Store", row: "PartRow", say: Sequence[str]) -> str:
    content = store.files.get(row.family_file)
    family = read(content, row.family)
    if say:
        answers = understood(family, say)
        content, family = kept(content, family, answers), answered(family, answers)
    if wrong := unfit(family):
        raise BadFile(row.family, [Problem(one.place, f"{one.sentence} {MEND}") for one in wrong])
    return store.files.put(content) if say else row.family_file


def meter_chosen(
    store: "Store",
    name: str,
    by: str,
    *,
    lead_ohm: float | None = None,
    ambient_c: float | None = None,
    file_of: FileOf = along,
) -> MeterChosen:
    """Return the event that chooses a meter: a tag of the gear, or a file.

    Parameters
    ----------
    store : Store
        The archive.
    name : str
        The tag, or the file's name.
    by : str
        Initials.
    lead_ohm : float or None
        What the leads read, if they are not nulled, ohms.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    file_of : callable
        Where a file comes from; without it, only those that come along.

    Raises
    ------
    NoSuch
        If it is neither.
    BadFile
        With every mistake in its file.
    """
    data, told, (calibrated_on, due_on, tag) = _gear(store, name, "meter", "meters", file_of)
    return MeterChosen(
        at=now(),
        by=by,
        file=store.files.put(data),
        name=read_meter(data, told).name,
        tag=tag,
        lead_ohm=lead_ohm,
        ambient_c=ambient_c,
        calibrated_on=calibrated_on,
        due_on=due_on,
    )


def bench_chosen(store: "Store", name: str, by: str, *, file_of: FileOf = along) -> BenchChosen:
    """Return the event that chooses a bench: a tag of the gear, or a file.

    Arguments and errors as of `meter_chosen`.
    """
    data, told, _ = _gear(store, name, "selector", "benches", file_of)
    return BenchChosen(now(), by, store.files.put(data), read_bench(data, told).name)


def bench_named(store: "Store", name: str) -> Bench:
    """Return a bench by a tag of the gear, or by the name of one that comes along.

    Errors as of `meter_chosen`.
    """
    data, told, _ = _gear(store, name, "selector", "benches", along)
    return read_bench(data, told)


def _gear(
    store: "Store", name: str, kind: str, folder: str, file_of: FileOf
) -> tuple[bytes, str, tuple[str, str, str]]:
    """Return a file, its name, and when it was calibrated, when that is due, and its tag."""
    try:
        row = store.gear.get(name)
    except NoSuch:
        return *file_of(folder, name), ("", "", "")
    if row.kind != kind or row.file is None:
        raise NoSuch(
            f"{name}: this piece of gear is no {kind} with a file; give it one, or name one of the "
            f"{folder} that come along ({', '.join(shipped(folder))})."
        )
    calibrated, due = (day.isoformat() if day else "" for day in (row.calibrated_on, row.due_on))
    return store.files.get(row.file), name, (calibrated, due, row.tag)


def note_known(work: Work) -> None:
    """Note what the archive says of the part, and the proof does not say yet.

    What intake saw of the part and of the core that it came from, and what its other proofs came
    to. After the end nothing is noted.
    """
    if not work.state.why_not(OtherProof):
        part = work.store.parts.get(work.state.opened.part)
        _note_conditions(work, part.tag, part.core)
        _note_others(work, part.tag)


def _note_conditions(work: Work, part: str, core: str | None) -> None:
    # The latest word of each item, without which something looked at again is taken as it was.
    noted = {one.item: (one.remark, one.seen) for one in work.state.inspections}
    of_part = [(row.item, row) for row in work.store.conditions.list(part=part)]
    of_core = work.store.conditions.list(core=core) if core else []
    latest = dict(of_part + [(f"{row.item} (core {core})", row) for row in of_core])
    for item, row in latest.items():
        follows = consequence({row.item: row.grade})
        remark = f"{row.grade}; {row.remark}" if row.remark else row.grade
        grade = row.grade if follows is None else follows.value
        one = InspectionNoted(now(), row.by or "", item, grade, remark, row.item, row.grade)
        # What an older version noted was no evidence; it is noted anew.
        if noted.get(item) != (remark, one.seen):
            work.record(one)


def _note_others(work: Work, part: str) -> None:
    known = {event.proof: event for _, event in work.state.others}
    rows = work.store.proofs.list(part=part, limit=MOST_PROOFS)
    for row in sorted(rows, key=lambda one: one.number):
        if row.tag == work.tag:
            continue
        said = _said_by(work, row)
        last = known.get(row.tag)
        if last is None or replace(said, at=last.at, by=last.by) != last:
            work.record(said)


def _said_by(work: Work, row: "ProofRow") -> OtherProof:
    by = work.state.opened.by
    try:
        return said_to_others(Work(work.store, row.tag).state, row.tag, row.number, now(), by)
    except (ProofProblem, BadFile, RecordProblem):
        opened_at = row.opened_at.astimezone().isoformat(timespec="seconds")
        return unreadable(row.tag, row.number, row.closed_as, opened_at, now(), by)
