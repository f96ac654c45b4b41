"""The one rule of safety: where a pair must not conduct, and what is not known about that.

The start permit must be open in every position but park and neutral, whatever the chart, the roles
or the names say. Everybody asks here: audit, judge, diagnosis, plan, proof, sweep, foretelling,
report, decision, shelf and page. What is not known is a question to a person; until it is answered
every pair that may be the start permit counts as one, and nothing is accepted.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from benchproof.family.expectation import OPEN, Expectation, Kind
from benchproof.family.model import (
    NO_ROLE,
    CellName,
    ChartRow,
    Family,
    Pair,
    Role,
    pair_text,
    same_pair,
    unusual_positions,
)
from benchproof.family.remembered import once_a_family
from benchproof.family.roles import Answers, answered, conducting_in, proposed


@dataclass(frozen=True)
class Question:
    """Something that a family does not tell, and without which nothing is accepted.

    Attributes
    ----------
    name : str
        What it is about: ``positions``, ``start permit``, ``roles`` or ``reverse``.
    sentence : str
        The question.
    proposal : tuple of str
        What we propose and what it goes by, a phrase each; empty if we cannot tell.
    """

    name: str
    sentence: str
    proposal: tuple[str, ...] = ()


@dataclass(frozen=True)
class Safety:
    """Where a pair must not conduct, and what is unknown about that.

    Attributes
    ----------
    free : tuple of str
        The positions in which the starter may turn: park and neutral; empty if none is known.
    permits : tuple of pair
        The pairs that are, or while nobody has said may be, the start permit; in chart order.
    told : tuple of pair
        Those of them that somebody said are.
    lamps : tuple of pair
        The pairs that are, or may be, the reverse lamp.
    must_be_open : frozenset of cell
        Cells in which a permit must not conduct: the starter could turn in gear.
    lamp_must_be_open : frozenset of cell
        Cells of the forward positions in which a reverse lamp must not be lit.
    questions : tuple of Question
        What is not known; while there is one, nothing is accepted.
    answers : Answers
        Our proposal for all of it.
    """

    free: tuple[str, ...]
    permits: tuple[Pair, ...]
    told: tuple[Pair, ...]
    lamps: tuple[Pair, ...]
    must_be_open: frozenset[CellName]
    lamp_must_be_open: frozenset[CellName]
    questions: tuple[Question, ...]
    answers: Answers

    def guards(self, position: str, pair: Pair) -> bool:
        """Return whether a pair must not conduct in a position, lest the starter turn in gear."""
        return (position, same_pair(pair)) in self.must_be_open

    def expectation(self, position: str, row: ChartRow, charted: Expectation) -> Expectation:
        """Return what is asked of a cell: what is charted, but open where it must not conduct."""
        if charted.kind is not Kind.OPEN and self.guards(position, row.pair):
            return OPEN
        return charted


@once_a_family
def safety_of(family: Family) -> Safety:
    """Return where the pairs of a family must not conduct, and what is unknown about that.

    A part without a lever has no start permit and no reverse lamp.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    if not family.lever:
        return Safety((), (), (), (), frozenset(), frozenset(), (), Answers())
    answers = proposed(family)
    told = family.rows(Role.START_PERMIT)
    permits = [*told, *_suspects(family, answers)]
    lamps = answered(family, answers).rows(Role.REVERSE_LAMP)
    free = family.park + family.neutral
    return Safety(
        free=free,
        permits=tuple(row.pair for row in family.chart if _among(row, permits)),
        told=tuple(row.pair for row in told),
        lamps=tuple(row.pair for row in lamps),
        must_be_open=frozenset(_closed_to_start(family, permits)),
        lamp_must_be_open=frozenset(
            (position, same_pair(row.pair)) for row in lamps for position in family.group("forward")
        ),
        questions=tuple(_questions(family, answers, permits)),
        answers=answers,
    )


def assumed(family: Family) -> Family:
    """Return a family with our proposals in the place of what nobody has said."""
    return answered(family, safety_of(family).answers)


def _among(row: ChartRow, rows: list[ChartRow]) -> bool:
    return any(row is other for other in rows)


def _suspects(family: Family, answers: Answers) -> list[ChartRow]:
    """Return the rows that may be a start permit though nobody has said so."""
    if family.no_start_permit:
        return []
    told = bool(family.rows(Role.START_PERMIT))
    free = frozenset(family.park + family.neutral) | frozenset(
        (answers.park or ()) + (answers.neutral or ())
    )
    fitting = [
        row
        for row in family.chart
        if _fits(family, row, free) or answers.roles.get(same_pair(row.pair)) is Role.START_PERMIT
    ]
    if told:
        # A second one is asked about only where nobody has said what it is.
        return [row for row in fitting if row.role is Role.UNTOLD]
    fitting = [row for row in fitting if row.role is not Role.REVERSE_LAMP]
    # A misprint may keep the start permit from looking like one.
    return fitting or [row for row in family.chart if row.role in NO_ROLE]


def _fits(family: Family, row: ChartRow, free: frozenset[str]) -> bool:
    """Return whether a row conducts where the starter may turn and nowhere else."""
    where = conducting_in(family, row)
    if not free:
        # Where nothing is known of the positions, one closed in one or two may be park and neutral.
        return 1 <= len(where) <= 2 and len(where) < len(family.positions)
    return bool(where) and where <= free


def _closed_to_start(family: Family, permits: list[ChartRow]) -> Iterator[CellName]:
    free = family.park + family.neutral
    for row in permits:
        for position, charted in zip(family.positions, row.expect, strict=True):
            # Told that no position is park or neutral, the starter may turn in none.
            sure = row.role is Role.START_PERMIT and bool(free or family.positions_told)
            if position not in free and (sure or not charted.conducts):
                yield position, same_pair(row.pair)


def _questions(family: Family, answers: Answers, permits: list[ChartRow]) -> Iterator[Question]:
    free = family.park + family.neutral
    if permits and not family.positions_told:
        strange = unusual_positions(family.positions)
        conducting = {name for row in permits for name in conducting_in(family, row)}
        if not free or any(name in conducting for name in strange):
            yield Question(
                "positions",
                "Which positions are park, neutral and reverse? Until somebody says it is not "
                "known where the starter must not turn.",
                _told_positions(answers),
            )
    if not family.rows(Role.START_PERMIT) and not family.no_start_permit:
        yield Question(
            "start permit",
            "Which pair is the start permit, or is there none in this chart? Until somebody says, "
            f"{_named(permits)} must not conduct in gear and nothing is accepted.",
            _told_roles(family, answers, frozenset({Role.START_PERMIT})),
        )
    elif second := [row for row in permits if row.role is Role.UNTOLD]:
        yield Question(
            "roles",
            f"Is {_named(second)} a start permit too? It conducts in park and neutral only.",
            _told_roles(family, answers, frozenset({Role.START_PERMIT})),
        )
    lamps = _told_roles(family, answers, frozenset({Role.REVERSE_LAMP}))
    if lamps and not family.rows(Role.REVERSE_LAMP):
        yield Question("reverse", "Is this pair the reverse lamp?", lamps)
    if family.rows(Role.REVERSE_LAMP) and not family.reverse:
        yield Question(
            "reverse",
            "Which position is reverse? Until somebody says it is not known where the reverse lamp "
            "belongs.",
            _told_positions(answers),
        )


def _named(rows: list[ChartRow]) -> str:
    names = [pair_text(row.pair) for row in rows[:6]]
    more = f" and {len(rows) - 6} more" if len(rows) > 6 else ""
    return (", ".join(names) or "no pair") + more


def _told_positions(answers: Answers) -> tuple[str, ...]:
    kinds = (("park", answers.park), ("neutral", answers.neutral), ("reverse", answers.reverse))
    return tuple(f"{name} is {kind}" for kind, names in kinds for name in names or ())


def _told_roles(family: Family, answers: Answers, roles: frozenset[Role]) -> tuple[str, ...]:
    return tuple(
        f"{pair_text(row.pair)} is a {role.value}"
        for row in family.chart
        if (role := answers.roles.get(same_pair(row.pair), Role.UNTOLD)) in roles
    )
