"""The two ways to work through a part, as generators that yield a reading to take and get it.

Whoever drives them (a person at a prompt, a meter, a simulation) reads what is asked and sends what
was seen; nothing here knows which. The generator returns when it stops::

    steps = find(prior_of(tables), bench, Place("P"))
    try:
        wanted = next(steps)
        while True:
            wanted = steps.send(read(wanted))
    except StopIteration as stopped:
        result = stopped.value
"""

from collections.abc import Generator, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchproof.diagnose.diagnosis import decision, weighed
from benchproof.diagnose.posterior import Observed, Posterior, against_chart, masses, tell
from benchproof.diagnose.verdict import Verdict
from benchproof.plan.actions import Place, Stop, TakeReading
from benchproof.plan.ahead import course
from benchproof.plan.ask import stop_at
from benchproof.plan.bench import Bench, seconds_between

if TYPE_CHECKING:
    from benchproof.plan.survey import Option


@dataclass(frozen=True)
class Conduct:
    """How it went.

    Attributes
    ----------
    posterior : Posterior
        What is known at the end.
    stop : Stop
        What was decided, if anything, and why it ended.
    readings : tuple of TakeReading
        What was read, in order.
    seconds : float
        How long it took, by the bench profile.
    """

    posterior: Posterior
    stop: Stop
    readings: tuple[TakeReading, ...]
    seconds: float


def find(
    posterior: Posterior, bench: Bench, at: Place
) -> Generator[TakeReading, Observed, Conduct]:
    """Find what is wrong: look ahead, and keep to the course until a reading is a surprise.

    It gives up when it has asked for as many readings as the chart has cells: the whole proof would
    have been no longer.

    Parameters
    ----------
    posterior : Posterior
        What is known before.
    bench : Bench
        How long moves take.
    at : Place
        Where the lever and the meter stand.

    Yields
    ------
    TakeReading
        The next reading.

    Returns
    -------
    Conduct
        What came of it.
    """
    tables = posterior.tables
    most = tables.charted * len(tables.family.positions)
    taken: list[TakeReading] = []
    seconds = 0.0
    legs: list[Option] = []
    while True:
        if legs and (stop := _decided(posterior)) is not None:
            return Conduct(posterior, stop, tuple(taken), seconds)
        if not legs:
            ahead = course(posterior, bench, at, most=1)
            if isinstance(ahead.advice.action, Stop):
                return Conduct(posterior, ahead.advice.action, tuple(taken), seconds)
            legs = list(ahead.legs)
        if len(taken) == most:
            stop = Stop(None, f"{most} readings have decided nothing; prove every cell")
            return Conduct(posterior, stop, tuple(taken), seconds)
        leg = legs.pop(0)
        one = yield leg.reading
        posterior = tell(posterior, [one])
        taken.append(leg.reading)
        seconds += leg.seconds
        at = Place(leg.reading.position, leg.reading.pair)
        if int(one.seen.argmax()) != leg.expected:
            legs = []


def prove(
    posterior: Posterior, bench: Bench, at: Place, readings: Iterable[TakeReading]
) -> Generator[TakeReading, Observed, Conduct]:
    """Prove a part: read every cell of a route; stop early only on a failure that already decides.

    A cell that reads against the chart is read once more at once, the probes set again.

    Parameters
    ----------
    posterior : Posterior
        What is known before.
    bench : Bench
        How long moves take.
    at : Place
        Where the lever and the meter stand.
    readings : iterable of TakeReading
        The route.

    Yields
    ------
    TakeReading
        The next reading.

    Returns
    -------
    Conduct
        What came of it.
    """
    tables = posterior.tables
    taken: list[TakeReading] = []
    seconds = 0.0
    for planned in readings:
        for wanted in (planned, replace(planned, again=True)):
            one = yield wanted
            posterior = tell(posterior, [one])
            taken.append(wanted)
            seconds += seconds_between(bench, tables.family, tables.pairs, at, wanted)
            at = Place(wanted.position, wanted.pair)
            if not against_chart(tables, one):
                break
        stop = _decided(posterior)
        if stop is not None and stop.verdict is not Verdict.ACCEPT:
            return Conduct(posterior, stop, tuple(taken), seconds)
    stop = _decided(posterior)
    verdict = None if stop is None else stop.verdict
    reason = "every cell is read" if verdict else "every cell is read, and no verdict is sure"
    return Conduct(posterior, Stop(verdict, reason), tuple(taken), seconds)


def _decided(posterior: Posterior) -> Stop | None:
    """Return the end with a verdict, if one is decided."""
    found = masses(posterior)
    verdicts, danger = weighed(posterior, found)
    decided = decision(verdicts, danger)
    return None if decided is None else stop_at(decided, verdicts[decided])
