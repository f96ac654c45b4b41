"""The range words that a chart makes, and how far apart they lie."""

from collections.abc import Iterator
from itertools import combinations, pairwise

from benchproof.family.expectation import Expectation, Kind
from benchproof.family.model import Family, Role, pair_text


def bit(expectation: Expectation) -> str:
    """Return a cell's bit: 1 if it conducts, 0 if it is open, x if the chart leaves it open."""
    return "x" if expectation.kind is Kind.ANY else str(int(expectation.conducts))


def range_words(family: Family) -> tuple[str, ...]:
    """Return the range word of each position; empty if the chart has no range bits."""
    rows = family.rows(Role.RANGE_BIT)
    if not rows:
        return ()
    return tuple(
        "".join(column) for column in zip(*(map(bit, r.expect) for r in rows), strict=True)
    )


def changed(first: str, second: str) -> tuple[int, ...]:
    """Return the numbers of the bits in which two words differ; x differs from nothing.

    Examples
    --------
    >>> changed("1100", "0110")
    (0, 2)
    """
    return tuple(
        i
        for i, (a, b) in enumerate(zip(first, second, strict=True))
        if a != b and "x" not in (a, b)
    )


def position_pairs(family: Family) -> Iterator[tuple[int, int, tuple[int, ...]]]:
    """Yield every two positions and the bits in which their words differ."""
    words = range_words(family)
    for (i, a), (j, b) in combinations(enumerate(words), 2):
        yield i, j, changed(a, b)


def transits(family: Family) -> Iterator[tuple[int, int, str, tuple[int, ...]]]:
    """Yield what the controller could see between neighbouring positions, in any order of change.

    Yields
    ------
    tuple
        The two positions' numbers, a word that is neither's, and the bits that changed first.
        With more than six bits changing at once the words are too many to be worth telling.
    """
    for (i, a), (j, b) in pairwise(enumerate(range_words(family))):
        bits = changed(a, b)
        if len(bits) > 6:
            continue
        for count in range(1, len(bits)):
            for first in combinations(bits, count):
                word = "".join(b[n] if n in first else a[n] for n in range(len(a)))
                yield i, j, word, first


def bit_names(family: Family, bits: tuple[int, ...]) -> str:
    """Return the pairs of some bits: "A-E and B-E"."""
    rows = family.rows(Role.RANGE_BIT)
    return " and ".join(pair_text(rows[number].pair) for number in bits)


def odd_parity(word: str) -> bool:
    """Return whether a word has an odd number of ones."""
    return word.count("1") % 2 == 1
