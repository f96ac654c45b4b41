"""Which of the meter's two sides each pin goes to, so that few have to go to both."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Pair


@dataclass(frozen=True)
class Sides:
    """Pairs turned so that pins stay on one side of the meter.

    Attributes
    ----------
    pairs : tuple of pair
        The pairs as given, each as (plus pin, minus pin).
    plus, minus : tuple of str
        The pins of each side, in the order in which the pairs name them.
    """

    pairs: tuple[Pair, ...]

    @property
    def plus(self) -> tuple[str, ...]:
        """The pins that go to the meter's plus side."""
        return tuple(dict.fromkeys(plus for plus, _ in self.pairs))

    @property
    def minus(self) -> tuple[str, ...]:
        """The pins that go to its minus side."""
        return tuple(dict.fromkeys(minus for _, minus in self.pairs))


def sides_of(pairs: Sequence[Pair]) -> Sides:
    """Return pairs turned so that pins stay on one side of the meter where that can be.

    It can be wherever the pairs make no ring of an odd number of pins; in such a ring one pin goes
    to both sides. Of pins measured against a common one, the common goes to the minus side.

    Parameters
    ----------
    pairs : sequence of pair
        The pairs to connect, each once.

    Examples
    --------
    >>> sides_of([("E", "A"), ("B", "E"), ("G", "H")]).pairs
    (('A', 'E'), ('B', 'E'), ('G', 'H'))
    """
    beside: dict[str, list[str]] = {}
    for a, b in pairs:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    of_plus: dict[str, bool] = {}
    for first in beside:
        if first not in of_plus:
            of_plus.update(_two_sides(first, beside))
    turned = tuple((b, a) if of_plus[b] and not of_plus[a] else (a, b) for a, b in pairs)
    return Sides(turned)


def _two_sides(first: str, beside: dict[str, list[str]]) -> dict[str, bool]:
    """Return for each pin joined to the first whether it goes to the plus side."""
    level = {first: True}
    waiting = [first]
    for pin in waiting:
        for other in beside[pin]:
            if other not in level:
                level[other] = not level[pin]
                waiting.append(other)
    # The side of fewer pins holds the commons.
    first_side = sum(level.values())
    if first_side < len(level) - first_side:
        return {pin: not side for pin, side in level.items()}
    return level
