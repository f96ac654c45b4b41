"""A dummy plug of known resistors that stands in for the part and finds wrong wires in the box.

Pins that are a pair get a resistor, as far as that makes no ring; the values are chosen so that the
pair of every step reads unlike any other two pins. With no plug every step must read open.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from benchproof.family.audit.preferred import E24
from benchproof.family.model import Pair, pair_text, same_pair
from benchproof.family.ohms import format_ohms
from benchproof.network.resistance import Floats, effective_resistance

FIRST_OHM, LAST_OHM = 220.0, 2e6
"""Well above leads and contacts, within the reach of any ohmmeter."""
TOLERANCE = 0.03
"""How far a reading may be off: resistors of 1 % and an ordinary meter."""
GAPS = (0.25, 0.15, 0.1, 2.5 * TOLERANCE)
"""How far apart two readings are to lie, the widest that can be had."""


@dataclass(frozen=True)
class DummyPlug:
    """Resistors between the pins of a plug.

    Attributes
    ----------
    pins : tuple of str
        All pins of the connector.
    resistors : tuple of (pin, pin, ohm)
        What is soldered in.
    """

    pins: tuple[str, ...]
    resistors: tuple[tuple[str, str, float], ...]

    def reads(self, pairs: Sequence[Pair]) -> list[float]:
        """Return the ohms between pins; infinite where nothing joins them."""
        number = {pin: n for n, pin in enumerate(self.pins)}
        edges = np.array([[number[a], number[b]] for a, b, _ in self.resistors])
        siemens = np.array([[1.0 / ohm for *_, ohm in self.resistors]])
        wanted = np.array([[number[a], number[b]] for a, b in pairs])
        found: Floats = effective_resistance(len(self.pins), edges, siemens, wanted)[0]
        return [float(ohm) for ohm in found]

    def alike(self, ohm: float) -> Iterator[Pair]:
        """Yield the pairs of pins that would read so, within the tolerance."""
        every = list(combinations(self.pins, 2))
        for pair, reads in zip(every, self.reads(every), strict=True):
            if reads == ohm or abs(ohm / reads - 1.0) <= TOLERANCE:
                yield pair

    def said(self, wanted: Pair, ohm: float) -> str:
        """Return what a reading in a step of the self-test says of the box's wires.

        Parameters
        ----------
        wanted : pair
            The pins that the step is to connect.
        ohm : float
            What was read with the plug in; infinite for open.
        """
        (right,) = self.reads([wanted])
        if abs(ohm / right - 1.0) <= TOLERANCE:
            return f"{pair_text(wanted)} is wired right."
        read = "open" if ohm == float("inf") else format_ohms(ohm, 3)
        told = f"{pair_text(wanted)} reads {read} and not {format_ohms(right, 3)}"
        others = [pair_text(p) for p in self.alike(ohm) if same_pair(p) != same_pair(wanted)]
        if ohm == float("inf"):
            return f"{told}: a wire of this step is missing, or goes to a pin of another group."
        if not others:
            return f"{told}: two wires touch, or a joint is bad."
        return f"{told}: the step connects {' or '.join(others)}."


def dummy_plug(pins: Sequence[str], pairs: Sequence[Pair]) -> DummyPlug:
    """Return a plug on which every pair reads unlike any other two pins.

    Parameters
    ----------
    pins : sequence of str
        All pins of the connector.
    pairs : sequence of pair
        The pairs that the box connects.

    Raises
    ------
    ValueError
        If there are too many pairs for values that a meter tells apart.
    """
    joined = _without_rings(pairs)
    for gap in GAPS:
        values = _values(tuple(pins), joined, pairs, gap)
        if values is not None:
            return _plug(tuple(pins), joined, values)
    raise ValueError(f"{len(pairs)} pairs are too many to tell apart with one dummy plug")


def _plug(pins: tuple[str, ...], joined: Sequence[Pair], values: Sequence[float]) -> DummyPlug:
    return DummyPlug(pins, tuple((a, b, ohm) for (a, b), ohm in zip(joined, values, strict=False)))


def _without_rings(pairs: Sequence[Pair]) -> list[Pair]:
    """Return the pairs that join pins not joined by those before."""
    group: dict[str, str] = {}

    def head(pin: str) -> str:
        while group.setdefault(pin, pin) != pin:
            pin = group[pin]
        return pin

    kept = []
    for a, b in pairs:
        if head(a) != head(b):
            group[head(a)] = head(b)
            kept.append((a, b))
    return kept


def _values(
    pins: tuple[str, ...], joined: Sequence[Pair], pairs: Sequence[Pair], gap: float
) -> list[float] | None:
    """Return a value a resistor, each the least that keeps all readings apart; None if none is."""
    candidates = [
        ohm
        for decade in range(2, 7)
        for digits in E24
        if FIRST_OHM <= (ohm := float(digits) * 10.0**decade / 10.0) <= LAST_OHM
    ]
    wanted = {same_pair(pair) for pair in pairs}
    values: list[float] = []
    for ohm in candidates:
        if len(values) == len(joined):
            break
        if _apart(_plug(pins, joined, [*values, ohm]), wanted, gap):
            values.append(ohm)
    return values if len(values) == len(joined) else None


def _apart(plug: DummyPlug, wanted: set[frozenset[str]], gap: float) -> bool:
    """Return whether every wanted pair that the plug joins reads unlike any other two pins."""
    every = list(combinations(plug.pins, 2))
    ohms = np.array(plug.reads(every))
    joined = np.isfinite(ohms)
    logs = np.log(ohms[joined])
    of_step = np.array([same_pair(pair) in wanted for pair in every])[joined]
    near = np.abs(logs[:, None] - logs) < np.log1p(gap)
    np.fill_diagonal(near, val=False)
    return not near[of_step].any()
