"""What to do next, from what was read and where things stand, and from nothing else."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import isfinite

from benchproof.diagnose.verdict import Verdict
from benchproof.family.model import CellName, Pair, charted_pairs, same_pair
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Verdict as SheetVerdict
from benchproof.plan.actions import Place, Stop, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.ask import stop_at
from benchproof.plan.bench import Bench, BenchKind, seconds_between
from benchproof.plan.route import route, wanted
from benchproof.proof.ground import Ground
from benchproof.proof.round import Round

MOST_ROUTES = 2
"""A proof that has taken as many readings as so many whole routes asks for no more of them."""


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
    """

    action: TakeReading | Stop
    why: str
    seconds: float = 0.0


def stopping(stop: Stop) -> NextStep:
    """Return the end of it."""
    return NextStep(stop, stop.reason)


def next_to_find(done: Round, bench: Bench, at: Place) -> NextStep:
    """Return the next step in find mode: the reading that tells most for its time.

    For a chart too large for a diagnosis it is that of a proof.

    Parameters
    ----------
    done : Round
        What was read.
    bench : Bench
        How long moves take.
    at : Place
        Where lever and meter stand.
    """
    if done.posterior is None or done.known is None:
        return next_to_prove(done, bench, at)
    most = len(charted_pairs(done.ground.family)) * len(done.ground.family.positions)
    if len(done.taken) >= most and done.known.decided is None:
        return stopping(Stop(None, f"{most} readings have decided nothing; prove every cell"))
    advice = course(done.posterior, bench, _from(done, bench, at), most=1).advice
    if isinstance(advice.action, Stop):
        return stopping(advice.action)
    return NextStep(advice.action, advice.why, advice.seconds)


def next_to_prove(done: Round, bench: Bench, at: Place) -> NextStep:
    """Return the next step of a proof: every cell, by the shortest way.

    A cell that reads against the chart is read once more at once. It stops early only on a failure
    that already decides. Once every cell is read and nothing is decided, readings follow that tell
    more, leans among them.

    Parameters
    ----------
    done : Round
        What was read.
    bench : Bench
        How long moves take.
    at : Place
        Where lever and meter stand.
    """
    left, known = left_of(done), done.known
    last = done.taken[-1] if done.taken else None
    if last is not None and not last.reading.lean and _only_failure(done, last.cell):
        wanted_ = TakeReading(last.reading.position, last.reading.pair, again=True)
        why = "it is against the chart: lift the probes, set them again and read it once more."
        return NextStep(wanted_, why, _seconds(done, bench, at, wanted_))
    if known is not None and known.decided not in (None, Verdict.ACCEPT):
        return stopping(stop_at(known.decided, known.verdicts[known.decided]))
    if left:
        found = _planned(done, bench, left) or _rerouted(done, bench, at, left)
        count = sum(left.values())
        why = "it is the last one." if count == 1 else f"{count} readings are left."
        return NextStep(found, why, _seconds(done, bench, at, found))
    return _after_all(done, bench, at)


def left_of(done: Round) -> dict[CellName, int]:
    """Return how many readings each cell still needs, cells that need none left out.

    A cell with a single reading, which is against the chart, needs another.
    """
    left = {}
    for cell, count in wanted(done.ground.family).items():
        needed = max(count, 2) if _only_failure(done, cell) else count
        if needed > done.times.get(cell, 0):
            left[cell] = needed - done.times.get(cell, 0)
    return left


def _only_failure(done: Round, cell: CellName) -> bool:
    return done.times.get(cell, 0) == 1 and done.results.get(cell) is Result.FAIL


def _after_all(done: Round, bench: Bench, at: Place) -> NextStep:
    """Return the next step once every cell is read."""
    known, judged = done.known, done.judgement
    if known is not None and known.decided is None and done.posterior is not None:
        if len(done.taken) < MOST_ROUTES * sum(wanted(done.ground.family).values()):
            advice = course(done.posterior, bench, _from(done, bench, at), most=1).advice
            if isinstance(advice.action, TakeReading):
                return NextStep(advice.action, advice.why, advice.seconds)
        return stopping(Stop(None, "every cell is read, and no verdict is sure"))
    if judged.verdict is not SheetVerdict.PASS:
        reason = judged.reasons[0].rstrip(".")
        return stopping(Stop(None, f"every cell is read; {reason}"))
    return stopping(Stop(None if known is None else known.decided, "every cell is read"))


def route_of(done: Round, bench: Bench) -> tuple[TakeReading, ...]:
    """Return the readings of a whole proof, from where lever and meter stood when it began."""
    return _plan(done.ground, bench, _from(done, bench, done.start))


@lru_cache(maxsize=64)
def _plan(ground: Ground, bench: Bench, start: Place) -> tuple[TakeReading, ...]:
    return route(ground.family, bench, start).readings


def _planned(done: Round, bench: Bench, left: Mapping[CellName, int]) -> TakeReading | None:
    """Return the next reading of the route from the start; None if it was not kept to."""
    plan = route_of(done, bench)
    names = [(step.position, same_pair(step.pair)) for step in plan]
    at, before = 0, None
    for one in done.taken:
        if one.reading.lean:
            return None
        if at < len(plan) and names[at] == one.cell:
            at += 1
        elif one.cell != before:
            return None
        before = one.cell
    step = next((plan[n] for n in range(at, len(plan)) if names[n] in left), None)
    return None if step is None else _set_anew(done, step)


def _rerouted(done: Round, bench: Bench, at: Place, left: Mapping[CellName, int]) -> TakeReading:
    found = route(done.ground.family, bench, _from(done, bench, at), left).readings[0]
    return _set_anew(done, found)


def _set_anew(done: Round, reading: TakeReading) -> TakeReading:
    """Return the reading with the probes set again if its cell is the one just read."""
    cell = reading.position, same_pair(reading.pair)
    just_read = bool(done.taken) and done.taken[-1].cell == cell
    return replace(reading, again=just_read)


def _from(done: Round, bench: Bench, at: Place) -> Place:
    """Return where things stand as the plan knows it: at a pair that the bench can reach."""
    if at.pair is None:
        return at
    charted = {same_pair(pair) for pair in charted_pairs(done.ground.family)}
    tables = done.ground.tables
    known = charted if tables is None else {same_pair(pair) for pair in tables.pairs}
    free = bench.kind is BenchKind.PROBES or isfinite(bench.off_chart_s)
    reached = same_pair(at.pair) in charted or (free and same_pair(at.pair) in known)
    return at if reached else Place(at.position)


def _seconds(done: Round, bench: Bench, at: Place, wanted_: TakeReading) -> float:
    family = done.ground.family
    here = _from(done, bench, at)
    pairs: Sequence[Pair] = charted_pairs(family)
    if here.pair is not None and same_pair(here.pair) not in {same_pair(p) for p in pairs}:
        pairs = (*pairs, here.pair)
    return seconds_between(bench, family, pairs, here, wanted_)
