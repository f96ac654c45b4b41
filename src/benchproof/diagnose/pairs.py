"""The pairs of pins that readings are foretold for: the charted ones, then those worth reading too.

*Compound* pairs lie across two charted ones that share a pin: they see two contacts in series.
*Crossed* pairs belong to two charted ones that share none. Two rows that never conduct may be two
open circuits or two pins swapped, and no charted pair tells which; across a crossed pair the
swapped contact is found.
"""

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import combinations, islice, product
from typing import TypeVar

from benchproof.family.branches import CASE
from benchproof.family.expectation import Kind
from benchproof.family.model import Family, Pair, same_pair


@dataclass(frozen=True)
class Pairs:
    """The pairs that readings are foretold for, each once.

    Attributes
    ----------
    charted : tuple of pair
        In chart order.
    compound : tuple of pair
        Those across two charted ones that share a pin.
    crossed : tuple of pair
        Those that show which pins are swapped.
    at_parts : tuple of pair
        Charted ones at the plug of a part behind a harness, where that may be read.
    """

    charted: tuple[Pair, ...]
    compound: tuple[Pair, ...]
    crossed: tuple[Pair, ...]
    at_parts: tuple[Pair, ...] = ()

    def worth_reading(self, family: Family) -> tuple[Pair, ...]:
        """Return all of them, of a large chart only those off the chart that tell most.

        Parameters
        ----------
        family : Family
            The family with its completed chart.
        """
        positions, pins = len(family.positions), len(family.pins)
        most = MOST_COMPOUND // (positions * pins)
        compound = self.compound
        if len(compound) > most:
            compound = tuple(islice(_proving_two(family, compound), most))
        # They come in order of how much they tell.
        return (
            *self.charted,
            *self.at_parts,
            *compound,
            *self.crossed[: MOST_CROSSED // positions],
        )


MOST_COMPOUND = 30_000
"""So many cells of compound pairs, times pins, are foretold at most: leaks and swaps of any pin
touch each of them."""
MOST_CROSSED = 6_000
"""So many cells of crossed pairs are foretold at most."""


def pairs_of(family: Family) -> Pairs:
    """Return the pairs of a family with a completed chart."""
    charted = family.charted_pairs
    compound = _compound(charted)
    crossed = _crossed(family, charted, compound)
    return Pairs(charted, compound, crossed, tuple(_at_parts(family, charted)))


def _at_parts(family: Family, charted: Sequence[Pair]) -> Iterator[Pair]:
    """Yield the pairs at the plugs of parts that read what a charted pair reads through wires."""
    behind: dict[str, list[str]] = {CASE: [CASE]}
    for node, terminal in family.seen_as.items():
        if node in family.pin_names:
            behind.setdefault(terminal, []).append(node)
    for one, other in charted:
        for pair in product(behind.get(one, ()), behind.get(other, ())):
            if len({family.member_at(node) for node in pair if node != CASE}) == 1:
                yield pair


def _proving_two(family: Family, compound: Iterable[Pair]) -> Iterator[Pair]:
    """Yield compound pairs: as few as prove every contact together with another, then more."""
    conducts = {
        same_pair(row.pair): {
            p for p, expectation in enumerate(row.expect) if expectation.kind is not Kind.OPEN
        }
        for row in family.chart
    }
    proves: dict[Pair, set[object]] = {pair: set() for pair in compound}
    named = {same_pair(pair): pair for pair in proves}
    for one, other in combinations(conducts, 2):
        if (pair := named.get(one ^ other)) is not None:
            both = conducts[one] & conducts[other]
            proves[pair] |= {(row, p) for row in (one, other) for p in both}
    left = dict(proves)
    while left:
        chosen = [*_fewest(left)]
        yield from chosen or left
        left = {pair: found for pair, found in left.items() if pair not in chosen} if chosen else {}


def _compound(charted: Sequence[Pair]) -> tuple[Pair, ...]:
    known = {same_pair(pair) for pair in charted}
    compound: dict[frozenset[str], Pair] = {}
    for first, second in combinations(charted, 2):
        if len(common := same_pair(first) & same_pair(second)) == 1:
            ends = [pin for pin in (*first, *second) if pin not in common]
            if frozenset(ends) not in known:
                compound.setdefault(frozenset(ends), (ends[0], ends[1]))
    return tuple(compound.values())


def _crossed(family: Family, charted: Sequence[Pair], compound: Iterable[Pair]) -> tuple[Pair, ...]:
    """Return pairs, as few as come easily, of which one conducts with any two pins swapped.

    Swaps that a compound pair shows already are left out, and those that no pair can show.
    """
    conducts = {
        same_pair(row.pair)
        for row in family.chart
        if any(expectation.kind is not Kind.OPEN for expectation in row.expect)
    }
    known, already = {same_pair(pair) for pair in charted}, {same_pair(pair) for pair in compound}
    shown_by: dict[frozenset[str], set[Pair]] = {}
    named: dict[frozenset[str], Pair] = {}
    for one, other in combinations(family.terminals, 2):
        swap = {one: other, other: one}
        # Where each contact that conducts is found with the two swapped.
        moved = [
            (swap.get(a, a), swap.get(b, b)) for a, b in charted if same_pair((a, b)) in conducts
        ]
        telling = [pair for pair in moved if same_pair(pair) not in known]
        if not any(same_pair(pair) in already for pair in telling):
            for pair in telling:
                named.setdefault(same_pair(pair), pair)
                shown_by.setdefault(same_pair(pair), set()).add((one, other))
    return tuple(named[best] for best in _fewest(shown_by))


_Name = TypeVar("_Name", bound=Hashable)


def _fewest(shown_by: Mapping[_Name, Collection[object]]) -> Iterator[_Name]:
    """Yield, as few as come easily, names that show all that any of them shows.

    The first of those that show most which nothing yielded so far does, again and again.
    """
    names = [*shown_by]
    left = {name: set(shown) for name, shown in shown_by.items()}
    by: dict[object, list[_Name]] = {}
    for name, shown in left.items():
        for one in shown:
            by.setdefault(one, []).append(name)
    waiting = [(-len(left[name]), n) for n, name in enumerate(names)]
    heapify(waiting)
    while waiting:
        count, n = heappop(waiting)
        name = names[n]
        if len(left[name]) < -count:
            # It shows less than when it was put there.
            heappush(waiting, (-len(left[name]), n))
        elif count:
            yield name
            for one in tuple(left[name]):
                for other in by[one]:
                    left[other].discard(one)
