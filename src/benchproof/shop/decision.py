"""What to do with a part: the expected cost of each choice, and what safety bars.

The costs are a plain sum over what may be wrong: the chance of it, times work, new part and
comeback that follow. A choice that ends with a new proof replaces the part if that proof fails.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import fsum

from benchproof.diagnose.verdict import MOST_HAZARD, PartVerdict
from benchproof.examine.examination import Examination
from benchproof.family.danger import Danger, Signal
from benchproof.family.problems import TooLarge
from benchproof.family.sentence import Sentence, said
from benchproof.judge.sheet import SheetVerdict
from benchproof.shop.costs import Costs


class Choice(StrEnum):
    """What can be done with a part."""

    REUSE = "reuse"
    REALIGN = "realign"
    CLEAN = "clean and retest"
    REPLACE = "replace"


@dataclass(frozen=True, slots=True)
class Priced:
    """A choice and what it costs.

    Attributes
    ----------
    choice : Choice
    work, parts, comebacks : float
        Expected, in the shop's currency.
    barred : str
        Why it is out of the question whatever it costs; empty if it is not.
    """

    choice: Choice
    work: float
    parts: float
    comebacks: float
    barred: str = ""

    @property
    def expected(self) -> float:
        """All of it."""
        return self.work + self.parts + self.comebacks


@dataclass(frozen=True, slots=True)
class Decision:
    """The choices, and the one that costs least.

    Attributes
    ----------
    choices : tuple of Priced
        The cheapest first, those that are barred last.
    best : Choice
    remarks : tuple of str
        Sentences that belong to it.
    """

    choices: tuple[Priced, ...]
    best: Choice
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _State:
    """What a part may be, and how often it is so."""

    good: float
    misaligned: float
    faulty: float


def decide(found: Examination, costs: Costs, dangers: Sequence[Danger] = ()) -> Decision:
    """Price what can be done with an examined part.

    Parameters
    ----------
    found : Examination
        The part.
    costs : Costs
        The shop's figures.
    dangers : sequence of Danger
        What else could hurt somebody: what a proof saw before its part was turned, say.

    Raises
    ------
    TooLarge
        If its chart is too large for a diagnosis, without which nothing can be priced.
    """
    if found.known is None:
        raise TooLarge(found.ground.no_diagnosis.rstrip("."))
    seen = [one.sentence for one in dangers if one.signal is Signal.DANGER]
    barred = (
        seen[0].rstrip(".") if seen and not any(True for _ in _dangerous(found)) else _barred(found)
    )
    return priced_by(found.known.verdicts, barred, costs, lever=found.ground.family.lever)


def priced_by(
    verdicts: Mapping[PartVerdict, float], barred: str, costs: Costs, *, lever: bool = True
) -> Decision:
    """Price every choice.

    Parameters
    ----------
    verdicts : mapping of PartVerdict to float
        Probability of each, from the diagnosis.
    barred : str
        Why the part may not be reused as it is; empty if it may.
    costs : Costs
        The shop's figures.
    lever : bool
        Whether the part has a lever; one without is never realigned.

    Examples
    --------
    With nothing to pay but comebacks, a part that is surely good is reused.

    >>> from benchproof.shop.costs import Costs
    >>> figures = dict.fromkeys(Costs.__struct_fields__, 0.0) | {"currency": "EUR"}
    >>> costs = Costs(**figures | {"comeback": 900.0, "new_part": 85.0})
    >>> priced_by({PartVerdict.ACCEPT: 1.0}, "", costs).best.value
    'reuse'
    """
    state = _state(verdicts, costs)
    priced = [
        _reuse(state, costs, barred),
        *([_realign(state, costs)] if lever else []),
        _clean(state, costs),
        _replace(costs),
    ]
    order = list(Choice)
    priced.sort(key=lambda one: (bool(one.barred), one.expected, order.index(one.choice)))
    return Decision(tuple(priced), priced[0].choice, tuple(_remarks(verdicts, barred)))


def _state(verdicts: Mapping[PartVerdict, float], costs: Costs) -> _State:
    doubtful = fsum(
        verdicts.get(verdict, 0.0)
        for verdict in (PartVerdict.HOOK_UP, PartVerdict.CHART, PartVerdict.UNEXPLAINED)
    )
    return _State(
        verdicts.get(PartVerdict.ACCEPT, 0.0) + doubtful * costs.doubtful_good_rate,
        verdicts.get(PartVerdict.REALIGN, 0.0),
        verdicts.get(PartVerdict.REPAIR, 0.0) + doubtful * (1.0 - costs.doubtful_good_rate),
    )


def _barred(found: Examination) -> str:
    """Return why a part may not be reused as it is; empty if it may."""
    return next(iter(said(_BARS, found)), "").rstrip(".")


def _dangerous(found: Examination) -> Iterator[dict[str, str]]:
    if any(danger.signal is Signal.DANGER for danger in found.dangers):
        yield {}


def _not_proved(found: Examination) -> Iterator[dict[str, str]]:
    if found.known is not None and found.known.hazard > MOST_HAZARD:
        yield {}


def _not_told(found: Examination) -> Iterator[dict[str, str]]:
    for question in found.questions:
        yield {"question": question.sentence}


def _unfit(found: Examination) -> Iterator[dict[str, str]]:
    for finding in found.ground.basis.unfit:
        yield {"finding": finding.sentence}


def _fails(found: Examination) -> Iterator[dict[str, str]]:
    if found.judged.verdict in (SheetVerdict.FAIL, SheetVerdict.RECHECK):
        yield {"reason": found.judged.reasons[0]}


_BARS = (
    Sentence(
        "the start permit conducts, or may conduct, where the starter must not turn: the vehicle "
        "could crank or roll in gear",
        _dangerous,
    ),
    Sentence(
        "the start permit is not proved open where the starter must not turn: the vehicle could "
        "crank or roll in gear",
        _not_proved,
    ),
    Sentence("{question}", _not_told),
    Sentence("{finding}", _unfit),
    Sentence("{reason}", _fails),
)
"""Why a part may not be reused as it is, the gravest first."""


def _reuse(state: _State, costs: Costs, barred: str) -> Priced:
    back = (
        state.good * costs.good_comeback_rate
        + state.misaligned * costs.misaligned_comeback_rate
        + state.faulty * costs.faulty_comeback_rate
    )
    return Priced(
        Choice.REUSE, costs.reuse_min / 60.0 * costs.hour, 0.0, back * costs.comeback, barred
    )


def _realign(state: _State, costs: Costs) -> Priced:
    return _proved_anew(
        Choice.REALIGN, costs.realign_min, state.good + state.misaligned, 0.0, state.faulty, costs
    )


def _clean(state: _State, costs: Costs) -> Priced:
    # Cleaning turns nothing: a part that is out of line stays so.
    cured = state.faulty * costs.clean_cures_rate
    return _proved_anew(
        Choice.CLEAN,
        costs.clean_min,
        state.good + cured,
        state.misaligned,
        state.faulty - cured,
        costs,
    )


def _proved_anew(
    choice: Choice, minutes: float, good: float, misaligned: float, faulty: float, costs: Costs
) -> Priced:
    """Price work that ends with a new proof; a part that fails it is replaced."""
    found = (misaligned + faulty) * costs.proof_finds_rate
    missed = 1.0 - costs.proof_finds_rate
    back = (
        good * costs.good_comeback_rate
        + found * costs.new_comeback_rate
        + missed * misaligned * costs.misaligned_comeback_rate
        + missed * faulty * costs.faulty_comeback_rate
    )
    return Priced(
        choice,
        (minutes + found * costs.replace_min) / 60.0 * costs.hour,
        found * costs.new_part,
        back * costs.comeback,
    )


def _replace(costs: Costs) -> Priced:
    return Priced(
        Choice.REPLACE,
        costs.replace_min / 60.0 * costs.hour,
        costs.new_part,
        costs.new_comeback_rate * costs.comeback,
    )


def _remarks(verdicts: Mapping[PartVerdict, float], barred: str) -> list[str]:
    rules = (
        (bool(barred), f"Reuse as it is is out of the question: {barred}."),
        (
            verdicts.get(PartVerdict.HOOK_UP, 0.0) + verdicts.get(PartVerdict.CHART, 0.0) > 0.5,
            "The hook-up or the chart is likelier wrong than the part: look at those first, and "
            "read again.",
        ),
        (
            verdicts.get(PartVerdict.UNEXPLAINED, 0.0) > 0.5,
            "Nothing explains these readings: read again before anything is paid for.",
        ),
        (True, "A part is fitted only after a full proof, whichever choice costs least."),
    )
    return [sentence for condition, sentence in rules if condition]
