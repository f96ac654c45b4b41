"""What the pairs and positions of a chart most likely are, where nobody has said.

A proposal is put to a person as a question; nothing is accepted on it (`safety.py`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from benchproof.family.audit.words import bit, odd_parity
from benchproof.family.expectation import Kind
from benchproof.family.model import (
    NO_ROLE,
    ChartRow,
    Family,
    Role,
    pair_text,
    same_pair,
    unusual_positions,
)


@dataclass(frozen=True)
class Answers:
    """What somebody said, or what we propose, of a family's positions and pairs.

    Attributes
    ----------
    park, neutral, reverse : tuple of str or None
        The positions that are so; None where nothing is said of positions.
    roles : mapping of frozenset of two pins to Role
        What pairs do in the vehicle.
    no_start_permit : bool
        Whether no pair of the chart is a start permit.
    permit_reason : str
        Why a start permit charted to conduct in gear is right, and who says so.
    why : tuple of str
        What each proposal goes by; empty for what somebody said.
    """

    park: tuple[str, ...] | None = None
    neutral: tuple[str, ...] | None = None
    reverse: tuple[str, ...] | None = None
    roles: Mapping[frozenset[str], Role] = field(default_factory=dict)
    no_start_permit: bool = False
    permit_reason: str = ""
    why: tuple[str, ...] = ()

    @property
    def tells_positions(self) -> bool:
        """Whether anything is said of the positions."""
        return (self.park, self.neutral, self.reverse) != (None, None, None)


def answered(family: Family, answers: Answers) -> Family:
    """Return a family with what somebody said of it; what was not asked stays as it is."""
    chart = tuple(
        replace(row, role=answers.roles.get(same_pair(row.pair), row.role)) for row in family.chart
    )
    family = replace(
        family,
        chart=chart,
        no_start_permit=family.no_start_permit or answers.no_start_permit,
        permit_reason=answers.permit_reason or family.permit_reason,
    )
    if not answers.tells_positions:
        return family
    return replace(
        family,
        park=family.park if answers.park is None else answers.park,
        neutral=family.neutral if answers.neutral is None else answers.neutral,
        reverse=family.reverse if answers.reverse is None else answers.reverse,
        positions_told=True,
    )


def proposed(family: Family) -> Answers:
    """Return what we take a family's untold positions and pairs to be.

    A pair closed in park and neutral only is proposed as start permit, one closed in reverse only
    as reverse lamp, pairs with one common pin as range bits, a pair of many resistances as range
    level (common practice, no source). A pair that fits nothing is proposed to be none of these.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    """
    if not family.lever:
        return Answers()
    positions = _positions(family)
    placed = answered(family, positions)
    roles = dict(_roles(placed))
    why = [*positions.why, *(reason for _, (_, reason) in roles.items() if reason)]
    return replace(
        positions, roles={pair: role for pair, (role, _) in roles.items()}, why=tuple(why)
    )


def conducting_in(family: Family, row: ChartRow) -> frozenset[str]:
    """Return the positions in which a row is charted to conduct."""
    cells = zip(family.positions, row.expect, strict=True)
    return frozenset(position for position, expectation in cells if expectation.conducts)


def _positions(family: Family) -> Answers:
    """Return what the positions are taken to be: by name, by first letter, by their order."""
    if family.positions_told:
        return Answers()
    found = {kind: list(getattr(family, kind)) for kind in ("park", "neutral", "reverse")}
    strange = unusual_positions(family.positions)
    why = []
    for kind, names in found.items():
        alike = [name for name in strange if name.casefold().startswith(kind[0])]
        if len(alike) == 1 and not names:
            names += alike
            why.append(f"{alike[0]} is {kind} by its first letter")
    if not found["park"] + found["neutral"]:
        guess = _by_order(family)
        why += [f"{name} is {kind} by the usual order of the lever" for kind, name in guess]
        for kind, name in guess:
            found[kind] = [name]
    if not why:
        return Answers()
    park, neutral, reverse = map(tuple, found.values())
    return Answers(park, neutral, reverse, why=tuple(why))


def _by_order(family: Family) -> list[tuple[str, str]]:
    """Return park, reverse and neutral by order, if the start permit is closed in two that fit.

    Park stands at the end, next to reverse, and neutral between reverse and the forward positions
    (49 CFR 571.102 S3.1.1 and S3.1.1.1, for passenger cars). Where nobody has named the start
    permit it is a pair that shares no pin with others: a range bit may fit by chance.
    """
    told = family.rows(Role.START_PERMIT)
    alone = [
        row
        for row in family.chart
        if row.role in NO_ROLE
        and not any(set(row.pair) & set(other.pair) for other in family.chart if other is not row)
    ]
    charted = [conducting_in(family, row) for row in told or alone]
    for order in (family.positions, family.positions[::-1]):
        if len(order) >= 3 and frozenset((order[0], order[2])) in charted:
            return [("park", order[0]), ("reverse", order[1]), ("neutral", order[2])]
    return []


_Role = tuple[Role, str]


def _roles(family: Family) -> Iterator[tuple[frozenset[str], _Role]]:
    """Yield what each pair of no role known is taken to be, and by what."""
    untold = [row for row in family.chart if row.role is Role.UNTOLD]
    if not family.rows(Role.START_PERMIT) and not family.no_start_permit:
        # Told to be none of these, though nothing else is the start permit.
        untold = [row for row in family.chart if row.role in NO_ROLE]
    free = frozenset(family.park + family.neutral)
    reverse = frozenset(family.reverse)
    bits = {row.pair for row in _with_common_pin(family, untold, free)}
    for row in untold:
        where = conducting_in(family, row)
        pair, name = same_pair(row.pair), pair_text(row.pair)
        if where and where <= free and row.pair not in bits:
            yield pair, (Role.START_PERMIT, f"{name} conducts in park and neutral only")
        elif where and where == reverse and row.pair not in bits:
            yield pair, (Role.REVERSE_LAMP, f"{name} conducts in reverse only")
        elif sum(e.kind is Kind.OHMS for e in row.expect) >= min(3, len(row.expect)):
            yield pair, (Role.RANGE_LEVEL, f"{name} tells the range by its ohms")
        elif free and free <= where and len(where - free) == 1 and row.pair not in bits:
            # The safe side: one cell of the start permit may be printed wrongly.
            more = next(iter(where - free))
            yield pair, (Role.START_PERMIT, f"{name} conducts in park, neutral and {more} only")
        elif row.pair in bits:
            yield pair, (Role.RANGE_BIT, f"{name} {_of_bits(family, untold, bits)}")
        elif row.role is Role.UNTOLD:
            yield pair, (Role.OTHER, "")


def _with_common_pin(family: Family, rows: list[ChartRow], free: frozenset[str]) -> list[ChartRow]:
    """Return the rows on the pin that most rows share; none if fewer than two rows share one."""
    bits = [
        row
        for row in rows
        if conducting_in(family, row)
        and conducting_in(family, row) not in (free, frozenset(family.positions))
    ]
    pins = dict.fromkeys(pin for row in bits for pin in row.pair)
    on = {pin: [row for row in bits if pin in row.pair] for pin in pins}
    most = max(on.values(), key=len, default=[])
    return most if len(most) >= 2 else []


def _of_bits(family: Family, rows: list[ChartRow], bits: set[tuple[str, str]]) -> str:
    words = zip(*(map(bit, row.expect) for row in rows if row.pair in bits), strict=True)
    parities = {odd_parity("".join(word)) for word in words}
    alike = len(parities) == 1 and len(family.positions) > 2
    return "shares a pin with others" + (", and all words have one parity" if alike else "")
