"""What to read next in find mode, and when to stop. Free of side effects."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice

from benchproof.diagnose.diagnosis import decision, stated
from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.sentence import percent
from benchproof.plan.actions import BenchPlace, Stop, TakeReading
from benchproof.plan.bench import Bench
from benchproof.plan.survey import Option, Survey, survey
from benchproof.plan.weights import VERDICTS

LEAST_WORTH_BIT = 2e-3
"""Find mode gives up when no reading is worth this much for each reading's time it takes."""
LIKELY_GOOD = "likely good; prove before shipping"
"""How find mode says accept: a part never passes in find mode alone."""


@dataclass(frozen=True)
class Advice:
    """What to do next.

    Attributes
    ----------
    action : TakeReading or Stop
        The next reading, or why there is none.
    why : str
        The reason, in a sentence.
    seconds : float
        How long it takes, moves included; zero to stop.
    options : tuple of Option
        The readings worth most for their time, best first.
    verdicts : mapping of PartVerdict to float
        Probability of each verdict so far.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    """

    action: TakeReading | Stop
    why: str
    seconds: float
    options: tuple[Option, ...]
    verdicts: Mapping[PartVerdict, float]
    hazard: float


def ask(posterior: Posterior, bench: Bench, at: BenchPlace, most: int = 5) -> Advice:
    """Return what to do next in find mode: the reading worth most for its time.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    bench : Bench
        How long moves take.
    at : BenchPlace
        Where the lever and the meter stand.
    most : int
        How many options to tell, at least one.

    Raises
    ------
    ValueError
        If the place is none of the family's.
    """
    return advice_of(survey(posterior, bench, at), bench, most)


def advice_of(found: Survey, bench: Bench, most: int) -> Advice:
    """Return the advice that follows from a survey; see `ask`."""
    options = tuple(islice(found.best(), max(most, 1)))
    per_verdict = found.ahead.joint[0, 0, 0].sum(axis=-1)
    of_causes = dict(zip(VERDICTS, per_verdict.tolist(), strict=True))
    verdicts, hazard = stated(found.posterior, found.masses, of_causes, found.gains.hazard)
    stop = _stop(verdicts, hazard, options, bench)
    if stop is not None:
        return Advice(stop, stop.reason, 0.0, options, verdicts, hazard)
    best = options[0]
    return Advice(best.reading, found.why(best), best.seconds, options, verdicts, hazard)


def _stop(
    verdicts: Mapping[PartVerdict, float], hazard: float, options: tuple[Option, ...], bench: Bench
) -> Stop | None:
    """Return why to stop; None if there is more to read."""
    decided = decision(verdicts, hazard)
    if decided is not None:
        return stop_at(decided, verdicts[decided])
    if options and options[0].worth_bit * bench.reading_s / options[0].seconds >= LEAST_WORTH_BIT:
        return None
    best = max(verdicts, key=lambda verdict: verdicts[verdict])
    likeliest = f"{best.value} is likeliest, {percent(verdicts[best])}"
    return Stop(None, f"no reading tells much more; {likeliest}")


def stop_at(decided: PartVerdict, probability: float) -> Stop:
    """Return the end of find mode with a verdict."""
    if decided is PartVerdict.ACCEPT:
        return Stop(decided, LIKELY_GOOD)
    return Stop(decided, f"{decided.value}: {percent(probability)} sure")
