"""The one policy of what to do next, for finding what is wrong and for proving a part.

It looks at what was read and where things stand, and at nothing else. In this order:

1. a cell that is against the chart, or undecided, is read once more at once, the probes set anew
   (to find, only while nothing is decided);
2. what is decided against the part ends it;
3. such a cell that nothing explains yet is read again, before anything is concluded;
4. to prove, every cell by the shortest way; to find, the reading that tells most for its time;
5. once every cell is read, readings that tell more, leans among them.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.verdict import SURE, PartVerdict
from benchproof.examine.ground import Ground
from benchproof.family.model import CellName, same_pair
from benchproof.judge.cell import JudgedCell, Result
from benchproof.judge.sheet import Judgement, SheetVerdict
from benchproof.plan.actions import BenchPlace, Mode, Stop, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.ask import stop_at
from benchproof.plan.bench import moves_of
from benchproof.plan.route import route
from benchproof.plan.survey import Option
from benchproof.reading.value import Mark, Reading

MOST_ROUTES = 2
"""A proof that has taken as many readings as so many whole routes asks for no more of them."""
MOST_TIMES = 4
"""A cell that nothing explains is read no more often than this; more would tell nothing new."""


@dataclass(frozen=True)
class NextStep:
    """What to do next.

    Attributes
    ----------
    action : TakeReading or Stop
        The next reading, or why there is none.
    why : str
        The reason.
    seconds : float
        How long it takes by the bench profile, moves included; zero to stop.
    options : tuple of Option
        The readings worth most for their time, best first; empty where there was no choice.
    """

    action: TakeReading | Stop
    why: str
    seconds: float = 0.0
    options: tuple[Option, ...] = ()


@dataclass(frozen=True)
class PolicyFacts:
    """What the policy looks at: an examination as far as it has come.

    Attributes
    ----------
    ground : Ground
        What it stands on.
    readings : tuple of Reading
        What was read, in order.
    at : BenchPlace
        Where lever and meter stand.
    judged : Judgement
        The chart judged.
    results : mapping of cell to Result
        What became of each cell.
    times : mapping of cell to int
        How often each was read in its detent.
    posterior : Posterior or None
        What is believed; None for a chart too large for a diagnosis.
    verdicts : mapping of PartVerdict to float, or None
        Probability of each.
    decided : PartVerdict or None
        The verdict, once it is decided.
    """

    ground: Ground
    readings: tuple[Reading, ...]
    at: BenchPlace
    judged: Judgement
    results: Mapping[CellName, Result]
    times: Mapping[CellName, int]
    posterior: Posterior | None
    verdicts: Mapping[PartVerdict, float] | None
    decided: PartVerdict | None


def stopping(stop: Stop) -> NextStep:
    """Return the end of it."""
    return NextStep(stop, stop.reason)


def next_step(now: PolicyFacts) -> NextStep:
    """Return what to do next."""
    proving = now.ground.mode is Mode.PROVE or now.posterior is None
    steps = (_at_once, _ended, _unexplained) if proving else (_ended, _at_once, _unexplained)
    for step in steps:
        if (found := step(now)) is not None:
            return found
    return _to_prove(now) if proving else _to_find(now)


def _ended(now: PolicyFacts) -> NextStep | None:
    """Return the end, if something is decided against the part."""
    if now.verdicts is None or now.decided in (None, PartVerdict.ACCEPT):
        return None
    return stopping(stop_at(now.decided, now.verdicts[now.decided]))


def _at_once(now: PolicyFacts) -> NextStep | None:
    """Return the reading of the last cell again, if it was read once and does not pass."""
    last = now.readings[-1] if now.readings else None
    if last is None or last.lean:
        return None
    name = last.position, same_pair(last.pair)
    if now.times.get(name, 0) != 1 or now.results.get(name) not in _OPEN:
        return None
    cell = _cell(now, name)
    return _again(now, cell) if _wants_another(now, cell) else None


def _wants_another(now: PolicyFacts, cell: JudgedCell) -> bool:
    """Return whether a cell is to be read again: to find, a mark is enough where it decides."""
    if now.ground.mode is Mode.PROVE:
        return cell.outcome.result in _OPEN
    if cell.outcome.result is Result.FAIL:
        return not _explained(now)
    marked = all(isinstance(reading.value, Mark) for reading in cell.readings)
    return cell.outcome.result is Result.UNDECIDED and not marked


_OPEN = (Result.FAIL, Result.UNDECIDED)


def _unexplained(now: PolicyFacts) -> NextStep | None:
    """Return a further reading of a cell that does not pass while nothing is decided."""
    if now.decided is PartVerdict.ACCEPT or _explained(now):
        return None
    cells = [cell for cell in now.judged.cells if _wants_another(now, cell)]
    counted = [(now.times.get(cell.place, 0), n) for n, cell in enumerate(cells)]
    times, first = min(counted, default=(MOST_TIMES, 0))
    if times >= MOST_TIMES or (times > 1 and _ahead_tells(now)):
        return None
    return _again(now, cells[first])


def _explained(now: PolicyFacts) -> bool:
    """Return whether something of the part or the hook-up explains what was read, be it which."""
    if now.verdicts is None:
        return False
    doubt = now.verdicts[PartVerdict.ACCEPT] + now.verdicts[PartVerdict.UNEXPLAINED]
    return doubt <= 1.0 - SURE


def _ahead_tells(now: PolicyFacts) -> bool:
    """Return whether the rest of the chart, not read yet, may still explain what was read."""
    return any(result is Result.MISSING for result in now.results.values())


def _again(now: PolicyFacts, cell: JudgedCell) -> NextStep:
    lean = ""
    wanted_ = _set_anew(now, TakeReading(cell.position, cell.row.pair, lean))
    if cell.outcome.result is Result.FAIL:
        why = f"{cell.name} is against the chart: lift the probes, set them anew and read it again."
    else:
        why = f"{cell.name} is undecided ({cell.outcome.reason}): set the probes anew and read it."
    return NextStep(wanted_, why, _seconds(now, wanted_))


def _cell(now: PolicyFacts, name: CellName) -> JudgedCell:
    found = [cell for cell in now.judged.cells if cell.place == name]
    return min(
        found,
        key=lambda cell: (
            _OPEN.index(cell.outcome.result) if cell.outcome.result in _OPEN else len(_OPEN)
        ),
    )


def _to_find(now: PolicyFacts) -> NextStep:
    """Return the reading that tells most for its time."""
    if now.decided is PartVerdict.ACCEPT and now.verdicts is not None:
        return stopping(stop_at(now.decided, now.verdicts[now.decided]))
    most = len(now.ground.family.charted_pairs) * len(now.ground.family.positions)
    if _ahead_tells(now):
        # Cells are left that the whole proof would read, and it would have been no longer.
        if len(now.readings) >= most:
            return stopping(Stop(None, f"{most} readings have decided nothing; prove every cell"))
    elif len(now.readings) >= MOST_ROUTES * most:
        return stopping(Stop(None, "every cell is read, and no verdict is sure"))
    return _telling_most(now)


def _telling_most(now: PolicyFacts) -> NextStep:
    assert now.posterior is not None, "without a diagnosis every cell is proved"
    advice = course(now.posterior, now.ground.bench, now.ground.moves.reachable(now.at)).advice
    if isinstance(advice.action, Stop):
        stop = advice.action
        if stop.verdict is PartVerdict.ACCEPT and now.decided is not PartVerdict.ACCEPT:
            stop = Stop(None, _why_not_accepted(now))
        return stopping(stop)
    return NextStep(advice.action, advice.why, advice.seconds, advice.options)


def _why_not_accepted(now: PolicyFacts) -> str:
    """Return why nothing is accepted though no reading would tell more."""
    if now.ground.safety.questions:
        return f"answer first: {now.ground.safety.questions[0].sentence}"
    if now.ground.basis.unfit:
        return f"mend the chart first: {now.ground.basis.unfit[0].sentence}"
    return now.judged.reasons[0].rstrip(".")


def _to_prove(now: PolicyFacts) -> NextStep:
    """Return the next reading of the shortest way through every cell."""
    if left := left_of(now):
        found = _planned(now, left) or _rerouted(now, left)
        count = sum(left.values())
        why = "it is the last one." if count == 1 else f"{count} readings are left."
        return NextStep(found, why, _seconds(now, found))
    if now.posterior is not None and now.decided is None:
        if len(now.readings) < MOST_ROUTES * sum(now.ground.wanted.values()):
            step = _telling_most(now)
            if isinstance(step.action, TakeReading):
                return step
            if now.ground.safety.questions or now.ground.basis.unfit:
                return stopping(Stop(None, f"every cell is read; {_why_not_accepted(now)}"))
        return stopping(Stop(None, "every cell is read, and no verdict is sure"))
    if now.judged.verdict is not SheetVerdict.PASS:
        reason = now.judged.reasons[0].rstrip(".")
        return stopping(Stop(None, f"every cell is read; {reason}"))
    return stopping(Stop(now.decided, "every cell is read"))


def left_of(now: PolicyFacts) -> dict[CellName, int]:
    """Return how many readings each cell still needs, cells that need none left out.

    A cell with a single reading, which does not pass, needs another. In a start permit cell that
    must be open only readings that can show it count.
    """
    left = {}
    for cell, count in now.ground.wanted.items():
        times = now.times.get(cell, 0)
        needed = max(count, 2) if times == 1 and now.results.get(cell) in _OPEN else count
        if needed > times:
            left[cell] = needed - times
    return left


def _planned(now: PolicyFacts, left: Mapping[CellName, int]) -> TakeReading | None:
    """Return the next reading of the route from the start; None if it was not kept to."""
    plan = now.ground.route
    names = [(step.position, same_pair(step.pair)) for step in plan]
    at, before = 0, None
    for one in now.readings:
        cell = one.position, same_pair(one.pair)
        if one.lean:
            return None
        if at < len(plan) and names[at] == cell:
            at += 1
        elif cell != before:
            return None
        before = cell
    step = next((plan[n] for n in range(at, len(plan)) if names[n] in left), None)
    return None if step is None else _set_anew(now, step)


def _rerouted(now: PolicyFacts, left: Mapping[CellName, int]) -> TakeReading:
    ground = now.ground
    found = route(ground.family, ground.bench, now.ground.moves.reachable(now.at), left).readings[0]
    return _set_anew(now, found)


def _set_anew(now: PolicyFacts, reading: TakeReading) -> TakeReading:
    """Return the reading with the probes set again if its cell is the one just read."""
    last = now.readings[-1] if now.readings else None
    just_read = last is not None and (last.position, same_pair(last.pair)) == (
        reading.position,
        same_pair(reading.pair),
    )
    return replace(reading, again=just_read)


def _seconds(now: PolicyFacts, wanted_: TakeReading) -> float:
    here, moves = now.ground.moves.reachable(now.at), now.ground.moves
    if here.pair is not None and same_pair(here.pair) not in moves.number:
        moves = moves_of(moves.bench, moves.family, (*moves.family.charted_pairs, here.pair))
    return moves.seconds(here, wanted_)


def readings_left(now: PolicyFacts) -> int:
    """Return how many readings every cell still needs; 0 to find, where nobody knows beforehand.

    Parameters
    ----------
    now : PolicyFacts
        The examination as far as it has come.
    """
    return 0 if now.ground.mode is Mode.FIND else sum(left_of(now).values())


def seconds_left(now: PolicyFacts, step: NextStep) -> float | None:
    """Return how long the readings take that every cell still needs, moves included.

    Parameters
    ----------
    now : PolicyFacts
        The examination as far as it has come.
    step : NextStep
        What is asked for next.

    Returns
    -------
    float or None
        Seconds; None to find, where nobody knows beforehand how many readings decide, and once
        nothing more is asked for.

    Notes
    -----
    The readings are taken in the order of the route from where this setting of the body began,
    whatever was read out of turn.
    """
    asked, ground = step.action, now.ground
    if ground.mode is Mode.FIND or not isinstance(asked, TakeReading):
        return None
    left = Counter(left_of(now))
    left[asked.position, same_pair(asked.pair)] -= 1
    charted = same_pair(asked.pair) in ground.moves.number
    at = BenchPlace(asked.position, asked.pair if charted else None)
    total = step.seconds
    for reading in ground.route:
        cell = reading.position, same_pair(reading.pair)
        if left[cell] > 0:
            left[cell] -= 1
            total += ground.moves.seconds(at, reading)
            at = BenchPlace(reading.position, reading.pair)
    # What a failure needs once more is on no route.
    return total + ground.bench.reading_s * sum(count for count in left.values() if count > 0)
