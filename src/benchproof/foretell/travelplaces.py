"""Where along the lever's travel something is seen, and why: places, stretches, cause chains."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from benchproof.family.audit.words import bit, range_words
from benchproof.family.model import ChartRow, Consequence, Role, pair_text
from benchproof.family.ohms import format_ohms
from benchproof.foretell.controller import Controller, Level, SeenByController


@dataclass(frozen=True)
class TravelPlace:
    """A detent, or a stretch between two.

    Attributes
    ----------
    position : str
        The position engaged: that of the nearest detent.
    beside : str
        The position on the other side of the gap; empty in a detent.
    span : tuple of float or None
        From and to, lever angle; None in a detent, or where it is not one stretch.
    unit : str
        Of the span: ``deg``, or ``gap`` with the detents one apart.
    """

    position: str
    beside: str = ""
    span: tuple[float, float] | None = None
    unit: str = "deg"

    def __str__(self) -> str:
        """As a person says it: "in D", "between N and D, nearer D (lever at 50 to 52 deg)"."""
        if not self.beside:
            return f"in {self.position}"
        where = f"between {self.beside} and {self.position}, nearer {self.position}"
        if self.span is None:
            return where
        unit = "deg" if self.unit == "deg" else "detents from the first"
        return f"{where} (lever at {self.span[0]:.4g} to {self.span[1]:.4g} {unit})"


@dataclass(frozen=True)
class Stretch:
    """A stretch of the travel over which the controller sees one thing."""

    place: TravelPlace
    seen: SeenByController


def listed(words: Iterable[str]) -> str:
    """Return words as a person lists them.

    Examples
    --------
    >>> listed(["D", "3", "2"])
    'D, 3 and 2'
    """
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def where_text(places: Sequence[TravelPlace]) -> str:
    """Return places in words, the detents first: "in D and 3; between 2 and 3, nearer 3"."""
    detents = [place.position for place in places if not place.beside]
    told = [f"in {listed(dict.fromkeys(detents))}"] if detents else []
    stretches = [f"{place}" for place in places if place.beside]
    told += stretches[:MOST_STRETCHES]
    if len(stretches) > MOST_STRETCHES:
        told.append(f"and {len(stretches) - MOST_STRETCHES} more such")
    return "; ".join(told) or "somewhere"


MOST_STRETCHES = 3
"""A sentence tells no more of them."""


def joined(places: Sequence[TravelPlace]) -> list[TravelPlace]:
    """Return places, each once: stretches that touch as one, and none beside a detent of its own.

    Where something holds in D it holds a little beside D too, which need not be said.
    """
    detents = dict.fromkeys(place for place in places if not place.beside)
    own = {place.position for place in detents}
    found: list[TravelPlace] = []
    for place in places:
        if not place.beside or place.position in own or place in found:
            continue
        last = found[-1] if found else None
        if last and _touch(last, place):
            assert last.span is not None, "places that touch have spans"
            assert place.span is not None, "places that touch have spans"
            found[-1] = replace(last, span=(last.span[0], place.span[1]))
        else:
            found.append(place)
    return [*detents, *found]


def _touch(one: TravelPlace, other: TravelPlace) -> bool:
    if one.span is None or other.span is None or one.span[1] != other.span[0]:
        return False
    return (one.position, one.beside) == (other.position, other.beside)


@dataclass(frozen=True)
class Chain:
    """Why something follows in one place: steps from what is wrong, by the cells, to what is seen.

    Attributes
    ----------
    place : TravelPlace
        Where.
    steps : tuple of str
        In the order of cause and effect.
    """

    place: TravelPlace
    steps: tuple[str, ...]

    def __str__(self) -> str:
        """On one line."""
        return f"{self.place}: {' > '.join(self.steps)}"


def chain(
    controller: Controller,
    rule: Consequence,
    place: TravelPlace,
    seen: SeenByController,
    cause: str,
) -> Chain:
    """Return why a rule holds in a place.

    Parameters
    ----------
    controller : Controller
        What looks at the part.
    rule : Consequence
        The rule that holds.
    place : TravelPlace
        Where it holds.
    seen : SeenByController
        What the controller sees there.
    cause : str
        What is wrong, in words; empty where that is not known.
    """
    steps = [cause] if cause else []
    steps += _cells(controller, rule, place, seen)
    if rule.read:
        steps += _word(controller, place, seen)
        steps.append(f"read as {seen.read_text}")
    for wanted, what, level in (
        (rule.start, "start permit", seen.start),
        (rule.reverse, "reverse lamp", seen.reverse),
    ):
        if wanted:
            steps.append(f"{what} {_CIRCUIT[level]}")
    return Chain(place, tuple(steps))


_CIRCUIT = {Level.ON: "on", Level.WEAK: "weak: on or off", Level.OFF: "off", None: "not known"}
_CELL = {Level.ON: "conducts", Level.OFF: "is open"}


def roles_of(rule: Consequence) -> tuple[Role, ...]:
    """Return the roles of the rows that a rule hangs on."""
    wanted = (
        (bool(rule.read), (Role.RANGE_BIT, Role.RANGE_LEVEL)),
        (bool(rule.start), (Role.START_PERMIT,)),
        (bool(rule.reverse), (Role.REVERSE_LAMP,)),
    )
    return tuple(role for asked, roles in wanted if asked for role in roles)


def _cells(
    controller: Controller, rule: Consequence, place: TravelPlace, seen: SeenByController
) -> Iterator[str]:
    """Yield what each cell does that is not as charted for the position engaged."""
    number = controller.family.positions.index(place.position)
    for row, level, ohm in zip(controller.rows, seen.levels, seen.ohms, strict=True):
        if row.role not in roles_of(rule) or not _differs(controller, row, number, level, ohm):
            continue
        does = _CELL.get(level or Level.WEAK) if row.role is not Role.RANGE_LEVEL else None
        told = does or ("conducts badly" if ohm is None else f"reads {format_ohms(ohm, 3)}")
        charted = f"charted {row.expect[number]} in {place.position}"
        yield f"{pair_text(row.pair)} {told}, {charted}"


def _differs(
    controller: Controller, row: ChartRow, number: int, level: Level | None, ohm: float | None
) -> bool:
    if level is None:
        return False
    if row.role is Role.RANGE_LEVEL:
        low, high = row.expect[number].bounds(controller.family.limits)
        return ohm is not None and not low <= ohm <= high
    return bit(row.expect[number]) not in ("x", {Level.ON: "1", Level.OFF: "0"}.get(level))


def _word(controller: Controller, place: TravelPlace, seen: SeenByController) -> Iterator[str]:
    if seen.word:
        code = controller.family.code
        number = controller.family.positions.index(place.position)
        charted = code.words[place.position] if code else range_words(controller.family)[number]
        if seen.word != charted:
            yield f"range word {seen.word}, not {charted}"
