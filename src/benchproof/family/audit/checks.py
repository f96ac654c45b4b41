"""The conditions of the audit's rules: each yields the facts that its rule's sentence tells."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise

from benchproof.family.audit.contradiction import contradictions
from benchproof.family.audit.preferred import is_preferred, nearest_preferred
from benchproof.family.audit.words import (
    bit,
    bit_names,
    changed,
    odd_parity,
    position_pairs,
    range_words,
    transits,
)
from benchproof.family.expectation import Expectation, Kind
from benchproof.family.model import (
    ChartRow,
    Family,
    Role,
    cell_text,
    in_position,
    pair_text,
    same_pair,
)
from benchproof.family.ohms import format_ohms
from benchproof.family.safety import safety_of

Facts = dict[str, str]
"""What a rule's sentence tells; `place` says where in the file."""


def cells(family: Family) -> Iterator[tuple[ChartRow, str, Expectation]]:
    """Yield every cell: its row, its position and its expectation."""
    for row in family.chart:
        for position, expectation in zip(family.positions, row.expect, strict=True):
            yield row, position, expectation


def _cell(row: ChartRow, position: str, expectation: Expectation) -> Facts:
    return {
        "place": row.place,
        "cell": cell_text(row.pair, position),
        "pair": pair_text(row.pair),
        "position": position,
        "text": str(expectation),
    }


# The chart as a table


def same_pair_twice(family: Family) -> Iterator[Facts]:
    """A pair with more than one row."""
    rows: dict[frozenset[str], list[ChartRow]] = {}
    for row in family.chart:
        rows.setdefault(same_pair(row.pair), []).append(row)
    for same in rows.values():
        if len(same) > 1:
            places = " and ".join(row.place for row in same if row.place)
            yield {"place": same[-1].place, "pair": pair_text(same[0].pair), "places": places}


def limits_crossed(family: Family) -> Iterator[Facts]:
    """Closed that ends above where open begins."""
    limits = family.limits
    if limits.closed_at_most_ohm >= limits.open_at_least_ohm:
        closed, open_ = limits.closed_at_most_ohm, limits.open_at_least_ohm
        yield {"place": "", "closed": format_ohms(closed), "open": format_ohms(open_)}


def low_above_high(family: Family) -> Iterator[Facts]:
    """A cell whose limits no reading can meet."""
    for row, position, expectation in cells(family):
        low, high = expectation.bounds(family.limits)
        if low > high:
            yield _cell(row, position, expectation)


def nominal_outside(family: Family) -> Iterator[Facts]:
    """A cell whose nominal value its own limits exclude."""
    for row, position, expectation in cells(family):
        low, high = expectation.bounds(family.limits)
        nominal = expectation.nominal_ohm
        if nominal is not None and low <= high and not low <= nominal <= high:
            yield _cell(row, position, expectation)


def contradiction(family: Family) -> Iterator[Facts]:
    """Cells of one position that cannot all be true."""
    for position, found in contradictions(family):
        row = family.chart[found.row]
        way = " and ".join(
            f"{pair_text(family.chart[n].pair)} {family.chart[n].expect[position]}"
            for n in found.way
        )
        yield {
            **_cell(row, family.positions[position], row.expect[position]),
            "way": in_position(way, family.positions[position]),
            "most": format_ohms(found.most_ohm),
        }


def positions_alike(family: Family) -> Iterator[Facts]:
    """Two positions that read alike in every pair."""
    columns = [[row.expect[n] for row in family.chart] for n in range(len(family.positions))]
    for (i, a), (j, b) in combinations(enumerate(columns), 2):
        if a == b:
            yield {"place": "", "first": family.positions[i], "second": family.positions[j]}


def never_changes(family: Family) -> Iterator[Facts]:
    """A pair that reads the same in every position."""
    for row in family.chart:
        if len(family.positions) > 1 and len(set(row.expect)) == 1:
            yield _cell(row, "", row.expect[0])


# Values


def _nominals(family: Family) -> dict[float, tuple[ChartRow, str, Expectation]]:
    """Return each charted value with the first cell that has it."""
    found: dict[float, tuple[ChartRow, str, Expectation]] = {}
    for cell in cells(family):
        if cell[2].nominal_ohm is not None:
            found.setdefault(cell[2].nominal_ohm, cell)
    return found


def not_preferred(family: Family) -> Iterator[Facts]:
    """The one value that is not of the E24 series; a part without a lever is no ladder."""
    if not family.lever:
        return
    nominals = _nominals(family)
    odd = [ohm for ohm in nominals if not is_preferred(ohm)]
    if len(odd) == 1 and len(nominals) > 1:
        near = format_ohms(nearest_preferred(odd[0]))
        yield {**_cell(*nominals[odd[0]]), "near": near}


def thousandfold(family: Family) -> Iterator[Facts]:
    """A value a thousand times another, or a thousand times off the range of all others."""
    nominals = _nominals(family)
    told: set[float] = set()
    for small, large in combinations(sorted(nominals), 2):
        if abs(large / small - 1000.0) < 1.0:
            told |= {small, large}
            yield {**_cell(*nominals[large]), "other": format_ohms(small)}
    for ohm, cell in nominals.items():
        others = [other for other in nominals if other != ohm]
        if len(others) < 2 or ohm in told:
            continue
        low, high = min(others), max(others)
        for factor in (1e-3, 1e3):
            inside = low / 3.0 <= ohm * factor <= high * 3.0
            if inside and not low / 30.0 <= ohm <= high * 30.0:
                yield {**_cell(*cell), "other": format_ohms(ohm * factor)}


# Range words


def words_alike(family: Family) -> Iterator[Facts]:
    """Two positions with one word."""
    words = range_words(family)
    for i, j, bits in position_pairs(family):
        if not bits:
            first, second = family.positions[i], family.positions[j]
            yield {"place": "", "position": first, "second": second, "word": words[i]}


def levels_overlap(family: Family) -> Iterator[Facts]:
    """Two positions whose range levels one reading could meet."""
    for row in family.rows(Role.RANGE_LEVEL):
        bounds = [expectation.bounds(family.limits) for expectation in row.expect]
        for (i, a), (j, b) in combinations(enumerate(bounds), 2):
            if max(a[0], b[0]) <= min(a[1], b[1]):
                cell = _cell(row, family.positions[i], row.expect[i])
                yield {**cell, "second": family.positions[j], "other": str(row.expect[j])}


def one_fault_apart(family: Family) -> Iterator[Facts]:
    """Two positions that a single wrong bit confuses."""
    for i, j, bits in position_pairs(family):
        if len(bits) == 1:
            first, second = family.positions[i], family.positions[j]
            pair = bit_names(family, bits)
            yield {"place": "", "first": first, "second": second, "pair": pair}


def single_faults_revealed(family: Family) -> Iterator[Facts]:
    """Words so far apart that a single wrong bit is no word."""
    distances = [len(bits) for _, _, bits in position_pairs(family)]
    if distances and min(distances) >= 2:
        yield {"place": "", "distance": str(min(distances))}


def _parities(family: Family) -> list[bool]:
    words = range_words(family)
    return [] if any("x" in word for word in words) else [odd_parity(word) for word in words]


def parity_same(family: Family) -> Iterator[Facts]:
    """Words that all have one parity."""
    parities = _parities(family)
    if len(parities) > 1 and len(set(parities)) == 1:
        yield {"place": "", "parity": "odd" if parities[0] else "even"}


def parity_odd_one(family: Family) -> Iterator[Facts]:
    """The one word whose parity is not that of all others; among few words it is chance."""
    parities = _parities(family)
    if len(parities) < 5:
        return
    for odd in (True, False):
        if parities.count(odd) == 1:
            number = parities.index(odd)
            word = range_words(family)[number]
            parity = "even" if odd else "odd"
            position = family.positions[number]
            yield {"place": "", "position": position, "word": word, "parity": parity}


def code_against_chart(family: Family) -> Iterator[Facts]:
    """A cell that the file's own range code contradicts."""
    if family.code is None:
        return
    for number, row in enumerate(family.rows(Role.RANGE_BIT)):
        for position, expectation in zip(family.positions, row.expect, strict=True):
            word = family.code.words[position]
            charted = bit(expectation)
            if charted not in ("x", word[number]):
                wants = "conducting" if word[number] == "1" else "open"
                yield {**_cell(row, position, expectation), "word": word, "wants": wants}


def several_changes(family: Family) -> Iterator[Facts]:
    """Neighbours whose words differ in more than one bit, all told at once."""
    seen: dict[int, list[str]] = {}
    for i, _, word, _ in transits(family):
        seen.setdefault(i, []).append(word)
    gaps = [
        f"{family.positions[i]} and {family.positions[i + 1]} ({bit_names(family, bits)}, "
        f"in transit {' or '.join(seen.get(i, ['more words than can be told']))})"
        for i, bits in enumerate(changed(a, b) for a, b in pairwise(range_words(family)))
        if len(bits) > 1
    ]
    if gaps:
        yield {"place": "", "gaps": ", ".join(gaps)}


def transit_is_range(family: Family) -> Iterator[Facts]:
    """A word between neighbours that is another position's."""
    words = range_words(family)
    for i, j, word, first in transits(family):
        if word in words and word not in (words[i], words[j]):
            rest = tuple(n for n in changed(words[i], words[j]) if n not in first)
            yield {
                "place": "",
                "first": family.positions[i],
                "second": family.positions[j],
                "early": bit_names(family, first),
                "late": bit_names(family, rest),
                "seen": family.positions[words.index(word)],
                "word": word,
            }


def transit_unknown(family: Family) -> Iterator[Facts]:
    """Words between neighbours that the code lists neither as a range nor as a transit."""
    if family.code is None or not family.code.transit:
        return
    known = family.code.transit | set(family.code.words.values())
    strange: dict[str, list[str]] = {}
    for i, j, word, _ in transits(family):
        if word not in known:
            gap = f"{family.positions[i]} and {family.positions[j]}"
            strange.setdefault(gap, []).append(word)
    if strange:
        gaps = ", ".join(f"{gap} ({' or '.join(words)})" for gap, words in strange.items())
        yield {"place": "", "gaps": gaps}


def transit_declared_as_range(family: Family) -> Iterator[Facts]:
    """A word that the code gives to a position and to the transits."""
    if family.code is not None:
        for position, word in family.code.words.items():
            if word in family.code.transit:
                yield {"place": "", "position": position, "word": word}


# Roles


def _conducting_outside(family: Family, role: Role, allowed: tuple[str, ...]) -> Iterator[Facts]:
    if not allowed:
        return
    for row in family.rows(role):
        for position, expectation in zip(family.positions, row.expect, strict=True):
            if expectation.conducts and position not in allowed:
                yield _cell(row, position, expectation)


def start_outside(family: Family) -> Iterator[Facts]:
    """A start permit that is charted to conduct, or to be anything, where it must not."""
    safety = safety_of(family)
    for row, position, expectation in cells(family):
        told = row.role is Role.START_PERMIT and safety.guards(position, row.pair)
        if told and expectation.kind is not Kind.OPEN and not family.permit_reason:
            yield {**_cell(row, position, expectation), "role": family.taken_as(position)}


def answered_for(family: Family) -> Iterator[Facts]:
    """A start permit charted to conduct in gear, for which somebody gives a reason."""
    for facts in start_outside(replace(family, permit_reason="")) if family.permit_reason else ():
        yield {**facts, "reason": family.permit_reason}


def questions(family: Family) -> Iterator[Facts]:
    """What is not known of the start permit, the reverse lamp or the positions."""
    for question in safety_of(family).questions:
        proposal = "; ".join(question.proposal) or "we cannot tell from the chart"
        yield {"place": "", "question": question.sentence, "proposal": proposal}


def _open_within(family: Family, role: Role, needed: tuple[str, ...]) -> Iterator[Facts]:
    rows = family.rows(role)
    for position in needed:
        number = family.positions.index(position)
        charted = [row.expect[number] for row in rows]
        if charted and all(expectation.kind is Kind.OPEN for expectation in charted):
            yield _cell(rows[0], position, charted[0])


def start_missing(family: Family) -> Iterator[Facts]:
    """No start permit where the starter should turn."""
    return _open_within(family, Role.START_PERMIT, family.park + family.neutral)


def reverse_outside(family: Family) -> Iterator[Facts]:
    """A reverse lamp that is lit outside reverse."""
    return _conducting_outside(family, Role.REVERSE_LAMP, family.reverse)


def reverse_missing(family: Family) -> Iterator[Facts]:
    """A reverse lamp that stays dark in reverse."""
    return _open_within(family, Role.REVERSE_LAMP, family.reverse)


def neutral_not_between(family: Family) -> Iterator[Facts]:
    """A neutral that does not lie between reverse and the forward positions."""
    order = {name: number for number, name in enumerate(family.positions)}
    special = {*family.park, *family.neutral, *family.reverse}
    forward = [number for name, number in order.items() if name not in special]
    reverse = [order[name] for name in family.reverse]
    if not forward or not reverse:
        return
    for name in family.neutral:
        number = order[name]
        if not (max(reverse) < number < min(forward) or max(forward) < number < min(reverse)):
            yield {"place": "", "position": name}
