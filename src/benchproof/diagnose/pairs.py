"""The pairs of pins that readings are foretold for: the charted ones, then those worth reading too.

*Compound* pairs lie across two charted ones that share a pin: they see two contacts in series.
*Crossed* pairs belong to two charted ones that share none. Two rows that never conduct may be two
open circuits or two pins swapped, and no charted pair tells which; across a crossed pair the
swapped contact is found.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

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
    """

    charted: tuple[Pair, ...]
    compound: tuple[Pair, ...]
    crossed: tuple[Pair, ...]

    @property
    def fewer_and_fewer(self) -> tuple[tuple[Pair, ...], ...]:
        """All of them, and what is left as the least needed are given up one kind after another."""
        some = (*self.charted, *self.compound)
        return (*some, *self.crossed), some, self.charted


def pairs_of(family: Family) -> Pairs:
    """Return the pairs of a family with a completed chart."""
    charted = family.charted_pairs
    compound = _compound(charted)
    return Pairs(charted, compound, _crossed(family, charted, compound))


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
    for one, other in combinations(family.pin_names, 2):
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
    crossed = []
    while shown_by:
        # The first of those that show most swaps which nothing chosen so far does.
        best = max(shown_by, key=lambda pair: len(shown_by[pair]))
        swaps = shown_by.pop(best)
        crossed.append(named[best])
        left = {pair: shown - swaps for pair, shown in shown_by.items()}
        shown_by = {pair: shown for pair, shown in left.items() if shown}
    return tuple(crossed)
