"""A box of rotary selectors: its wires, and which step connects which pair.

Every pole of a selector has a common terminal and one throw a position. A *bank* is as many steps
as a selector has positions: one pole brings the plus pin to the meter, another the minus pin. Where
one pin is in every pair, it goes to the meter directly and a bank needs one pole only. With more
pairs than positions, a bank switch puts the poles of one bank after the other on the meter.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from benchproof.family.model import Pair
from benchproof.wiring.sides import sides_of

Wire = tuple[str, str]
"""The two terminals it joins."""
METER = ("meter +", "meter -")


@dataclass(frozen=True)
class Step:
    """One setting of the box.

    Attributes
    ----------
    bank, selector, position : int
        Which bank, on which selector, in which position; all from 1.
    plus, minus : str
        The pins that are then on the meter.
    """

    bank: int
    selector: int
    position: int
    plus: str
    minus: str


@dataclass(frozen=True)
class SelectorBox:
    """Wiring of a box.

    Attributes
    ----------
    poles : int
        Poles of a bank, 1 or 2.
    selectors : int
        How many selectors are needed.
    banks : int
        How many banks; from 2 on there is a bank switch of as many positions.
    steps : tuple of Step
        One a pair, in the order of the pairs.
    wires : tuple of Wire
        All that is to be soldered.
    """

    poles: int
    selectors: int
    banks: int
    steps: tuple[Step, ...]
    wires: tuple[Wire, ...]

    def closed(self, step: Step) -> tuple[Wire, ...]:
        """Return the terminals that the switches join in a step, every selector at its position.

        Selectors that a step does not need are turned along: the bank switch keeps them off.
        """
        joined = []
        for bank in range(1, self.banks + 1):
            at = next(s for s in self.steps if s.bank == bank).selector
            for pole in "AB"[: self.poles]:
                common = pole_common(at, bank, pole)
                joined.append((common, throw(at, bank, pole, step.position)))
        if self.banks > 1:
            joined += [(bank_common(pole), bank_throw(pole, step.bank)) for pole in self._poles]
        return tuple(joined)

    @property
    def _poles(self) -> str:
        return "AB"[: self.poles]


def pole_common(selector: int, bank: int, pole: str) -> str:
    """Return the name of a pole's common terminal."""
    return f"selector {selector} pole {pole}{bank} common"


def throw(selector: int, bank: int, pole: str, position: int) -> str:
    """Return the name of a pole's terminal for a position."""
    return f"selector {selector} pole {pole}{bank} throw {position}"


def bank_common(pole: str) -> str:
    """Return the name of the common terminal of the bank switch's pole."""
    return f"bank switch pole {pole} common"


def bank_throw(pole: str, bank: int) -> str:
    """Return the name of the bank switch's terminal for a bank."""
    return f"bank switch pole {pole} throw {bank}"


def fewest_poles(pairs: Sequence[Pair]) -> int:
    """Return how many poles a bank needs: one if one pin is in every pair, else two."""
    return 1 if set.intersection(*(set(pair) for pair in pairs)) else 2


def selector_box(pairs: Sequence[Pair], poles: int, positions: int) -> SelectorBox:
    """Return the wiring of a box of rotary selectors.

    Parameters
    ----------
    pairs : sequence of pair
        The pairs to connect, each once, at least one.
    poles, positions : int
        What each of the selectors at hand has.

    Raises
    ------
    ValueError
        If such selectors cannot serve the pairs; the sentence says what would.
    """
    needed = fewest_poles(pairs)
    if poles < needed:
        raise ValueError(
            f"the pairs share no pin, so a selector needs {needed} poles; this one has {poles}"
        )
    if positions < 1:
        raise ValueError("a selector needs at least one position")
    turned = _common_last(sides_of(pairs).pairs, needed)
    banks = ceil(len(turned) / positions)
    each = poles // needed
    steps = tuple(
        Step(n // positions + 1, n // positions // each + 1, n % positions + 1, plus, minus)
        for n, (plus, minus) in enumerate(turned)
    )
    wires = (*_to_meter(steps, needed, banks), *_to_pins(steps, needed))
    return SelectorBox(needed, ceil(banks / each), banks, steps, wires)


def _common_last(pairs: Sequence[Pair], poles: int) -> list[Pair]:
    """Return the pairs with the pin that is in all of them on the minus side, if one pole does."""
    if poles == 2:
        return list(pairs)
    shared = set.intersection(*(set(pair) for pair in pairs))
    common = next(pin for pin in reversed(pairs[0]) if pin in shared)
    return [(b, a) if a == common else (a, b) for a, b in pairs]


def _to_meter(steps: Sequence[Step], poles: int, banks: int) -> Iterator[Wire]:
    for pole, lead in zip("AB"[:poles], METER, strict=False):
        if banks > 1:
            yield lead, bank_common(pole)
        for bank in range(1, banks + 1):
            selector = next(s for s in steps if s.bank == bank).selector
            common = pole_common(selector, bank, pole)
            yield (bank_throw(pole, bank) if banks > 1 else lead), common
    if poles == 1:
        yield METER[1], f"pin {steps[0].minus}"


def _to_pins(steps: Sequence[Step], poles: int) -> Iterator[Wire]:
    """Yield a wire from each pin to its first throw, and jumpers on from throw to throw."""
    last: dict[str, str] = {}
    for pole in "AB"[:poles]:
        for step in steps:
            pin = step.plus if pole == "A" else step.minus
            here = throw(step.selector, step.bank, pole, step.position)
            yield last.get(pin, f"pin {pin}"), here
            last[pin] = here
