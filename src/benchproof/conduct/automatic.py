"""The automatic proof: selector and meter take the route by themselves; the lever is asked for.

Each reading is on disk before the next is begun, and what comes next is computed from the record
and from nothing else. So a run that ended anywhere, by whatever, is gone on with by another run,
and no reading is lost or taken twice. Of the bench nothing is believed that was not read back in
this run: the selector before and after each reading, and the lever too where there is a sensor.
"""

import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass

from benchproof.conduct.proofactions import take_asked
from benchproof.conduct.work import Work, now
from benchproof.family.model import AT_REST, pair_text, same_pair
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.station import Station
from benchproof.instrument.typed import TypedMeter
from benchproof.judge.cell import Result
from benchproof.plan.actions import Stop, TakeReading
from benchproof.proof.events import LeverAt, ReadingSource, ReadingTaken
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import text_of
from benchproof.reading.value import UNTOLD, Conditions, Value
from benchproof.record.problems import RecordProblem

TRIES = 3
"""A reading during which the lever moved is taken again, and the lever asked for, so often."""
POLL_S = 0.2
MOST_WAIT_S = 600.0
"""So long is a person waited for to move a lever that has a sensor."""
SETTLED = 2
"""So often in a row must the sensor tell the position before it counts."""
MOVES_BY_ITSELF = "The bench moves the lever by itself: keep hands and sleeves clear of it."
LOOK_FOR_VOLTAGE = "This meter cannot check it: see by hand that no voltage stands on the pins."
MOVED_MEANWHILE = "The lever moved during the reading; that reading is thrown away."
GO_ON = "Every reading is recorded; run it again and it goes on."
_STOPPING = (InstrumentProblem, ProofProblem, RecordProblem)

Ask = Callable[[str, str], str]
"""Asks a person to move the lever to a position, held toward a neighbour or not; returns where they
say that it is."""


@dataclass(frozen=True)
class LeverWanted:
    """The lever is to go to a position, held toward a neighbour if one is named; by hand or not."""

    position: str
    lean: str
    by_hand: bool


@dataclass(frozen=True)
class ReadingVoid:
    """A reading that was thrown away, since the lever moved meanwhile."""

    asked: TakeReading


@dataclass(frozen=True)
class ReadingDone:
    """A reading that is on disk: what was asked for, and its value as it is kept."""

    asked: TakeReading
    value: str


Step = LeverWanted | ReadingVoid | ReadingDone


@dataclass(frozen=True)
class Ended:
    """How a run ended.

    Attributes
    ----------
    stop : Stop or None
        Why nothing more is to be read; None if it was stopped before.
    problem : str
        What is wrong and what to do; empty if nothing is.
    failed : bool
        Whether it stopped at a failure, as it was told to, with more to read.
    """

    stop: Stop | None
    problem: str
    failed: bool = False


def run(
    work: Work,
    station: Station,
    by: str,
    ask: Ask,
    *,
    until_failure: bool = False,
    sleep: Callable[[float], None] = time.sleep,
    under: Conditions = UNTOLD,
) -> Generator[Step, None, Ended]:
    """Take reading after reading until nothing more is asked for, or something is wrong.

    However it ends, also by an exception or by being closed, the selector is told to open.

    Parameters
    ----------
    work : Work
        The proof.
    station : Station
        The gear, with a selector and a meter that reads by itself.
    by : str
        Initials.
    ask : callable
        Asks for the lever where no sensor can tell that it is right.
    until_failure : bool
        Whether to stop at the first cell that fails twice.
    sleep : callable
        A wait.
    under : Conditions
        What the part is under.

    Yields
    ------
    LeverWanted, ReadingVoid or ReadingDone
        What happens; a lever to move is told before it is waited for.

    Returns
    -------
    Ended
        How it ended.

    Raises
    ------
    ProofProblem
        If this gear, or this proof, cannot be run so.
    """
    fits(work, station)
    try:
        lever = _LeverInHand(station, ask, sleep)
        stop, failed = yield from _steps(work, station, by, lever, until_failure, under)
    except _STOPPING as problem:
        return Ended(None, " ".join(filter(None, (f"{problem}", _let_go(station)))))
    except BaseException:
        _let_go(station)
        raise
    return Ended(stop, _let_go(station), failed)


def fits(work: Work, station: Station) -> None:
    """Check that a proof can be run with this gear.

    Raises
    ------
    ProofProblem
        If it cannot; one sentence.
    """
    work.state.check(ReadingTaken)
    if station.selector is None or isinstance(station.meter, TypedMeter):
        lacks = "selector" if station.selector is None else "meter that reads by itself"
        raise ProofProblem(
            f"This gear has no {lacks}; read the proof by hand: benchproof proof read {work.tag}"
        )
    known = {same_pair(pair) for pair in station.selector.pairs}
    missing = [
        pair_text(pair)
        for pair in work.state.ground.family.charted_pairs
        if same_pair(pair) not in known
    ]
    if missing:
        raise ProofProblem(
            f"The selector has no channel for {', '.join(missing)}; add it to the gear file."
        )


def moves_by_itself(work: Work, station: Station) -> bool:
    """Return whether the bench moves the lever of a proof's part, of which people are warned."""
    lever = station.lever
    return work.state.ground.family.lever and isinstance(lever, ScpiLever) and lever.moves


def _steps(
    work: Work,
    station: Station,
    by: str,
    lever: "_LeverInHand",
    until_failure: bool,
    under: Conditions,
) -> Generator[Step, None, tuple[Stop, bool]]:
    _begin_where_it_stands(work, by, lever)
    while True:
        if until_failure and (failed := _failed_twice(work)):
            return Stop(None, f"{failed} fails, read twice"), True
        asked = work.state.next.action
        if isinstance(asked, Stop):
            return asked, False
        value = yield from _read(work, station, by, lever, asked)
        text = text_of(value)
        take_asked(work, by, asked, text, ReadingSource.METER, under)
        yield ReadingDone(asked, text)


def _begin_where_it_stands(work: Work, by: str, lever: "_LeverInHand") -> None:
    """Note where the sensor says that the lever is, so that the route begins there."""
    state = work.state
    if not state.ground.family.lever:
        return
    stands = lever.sensed()
    if stands and stands not in state.ground.family.positions:
        raise InstrumentProblem("lever", Trouble.NO_POSITION, stands)
    if stands and not state.as_left.taken and stands != state.at.position:
        work.record(LeverAt(now(), by, stands))


def _read(
    work: Work, station: Station, by: str, lever: "_LeverInHand", asked: TakeReading
) -> Generator[Step, None, Value]:
    """Return the value of a reading during which the lever stood where it is asked for."""
    selector = station.selector
    assert selector is not None, "checked before"
    for _ in range(TRIES):
        yield from lever.to(asked.position, asked.lean, work.state.lean)
        if (work.state.at.position, work.state.lean) != (asked.position, asked.lean):
            work.record(LeverAt(now(), by, asked.position, asked.lean))
        if asked.again:
            # What stands for lifting the probes and setting them anew.
            selector.open_all()
        value = station.read(asked.pair)
        if lever.stands(asked.position, asked.lean):
            return value
        yield ReadingVoid(asked)
    raise InstrumentProblem("lever", Trouble.MOVED, f"asked for in {asked.position}")


def _failed_twice(work: Work) -> str:
    """Return the first cell that fails and was read twice; empty if there is none."""
    left = work.state.as_left
    return next(
        (
            cell.name
            for cell in left.judgement.cells
            if cell.outcome.result is Result.FAIL
            and left.times.get((cell.position, same_pair(cell.row.pair)), 0) > 1
        ),
        "",
    )


def _let_go(station: Station) -> str:
    """Take the meter off the part; return what is wrong if that cannot be made sure of."""
    if station.selector is not None:
        try:
            station.selector.open_all()
        except InstrumentProblem as problem:
            return f"{problem}"
    return ""


class _LeverInHand:
    """The lever of one run: where it was put, and whether it is still there."""

    def __init__(self, station: Station, ask: Ask, sleep: Callable[[float], None]) -> None:
        self._lever, self._ask, self._sleep = station.lever, ask, sleep
        self._put = ("", "")

    def sensed(self) -> str:
        """Return where a sensor says that it is; empty between two positions, or without one."""
        return self._lever.position() if isinstance(self._lever, ScpiLever) else ""

    def stands(self, position: str, lean: str) -> bool:
        """Return whether it was put there in this run, and is there still as far as one knows.

        So does a part without a lever, always.
        """
        if position == AT_REST:
            return True
        if self._put != (position, lean):
            return False
        # A lever held off its detent may have left the sensor's switch.
        there = (position, "") if lean else (position,)
        return not isinstance(self._lever, ScpiLever) or self._lever.position() in there

    def to(self, position: str, lean: str, was_leaned: str) -> Iterator[Step]:
        """Have it put there; returns when it is."""
        if self.stands(position, lean):
            return
        self._put = ("", "")
        lever = self._lever
        moves = isinstance(lever, ScpiLever) and lever.moves
        yield LeverWanted(position, lean, not moves)
        if moves:
            lever.move(position, lean)
        elif not isinstance(lever, ScpiLever):
            lever.move(position, lean)
            if lever.position() != position:
                raise InstrumentProblem("lever", Trouble.NOT_MOVED, lever.position())
        elif lean or was_leaned:
            # No sensor can tell a lever that is held from one that rests.
            self._ask(position, lean)
        if isinstance(lever, ScpiLever):
            self._await(lever, position, lean)
        self._put = (position, lean)

    def _await(self, lever: ScpiLever, position: str, lean: str) -> None:
        wanted = 1 if lever.moves else SETTLED
        there = (position, "") if lean else (position,)
        seen = 0
        for _ in range(round(MOST_WAIT_S / POLL_S)):
            at = lever.position()
            seen = seen + 1 if at in there else 0
            if seen == wanted:
                return
            self._sleep(POLL_S)
        told = f"wanted {position}, is in {at or 'none'}"
        raise InstrumentProblem("lever", Trouble.NOT_MOVED, told)
