"""The tables of a wiring plan: what to solder, which step reads which pair, how to test the box."""

from collections.abc import Sequence
from dataclasses import dataclass

from benchproof.family.model import Family, Pair, pair_text
from benchproof.family.ohms import format_ohms
from benchproof.wiring.dummy import TOLERANCE, DummyPlug
from benchproof.wiring.matrix import RelayMatrix
from benchproof.wiring.selector import SelectorBox

CAUTIONS = (
    "Only for a part that is unplugged and de-energized: a powered circuit can burn box and meter.",
    "Run the self-test before the first part, after any repair, and when a reading is in doubt.",
    "The maker's service information, local rules and licensed practice come first.",
)


@dataclass(frozen=True)
class Table:
    """A titled table of text."""

    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


MOST_OWN_OHM = 0.5
"""What switches, wires and plug of a sound box add at most (common practice, no source)."""


def selector_tables(box: SelectorBox, pairs: Sequence[Pair], plug: DummyPlug) -> tuple[Table, ...]:
    """Return the tables of a box of rotary selectors.

    Parameters
    ----------
    box : SelectorBox
        Its wiring.
    pairs : sequence of pair
        The pairs, one a step.
    plug : DummyPlug
        The plug for its self-test.
    """
    names = [
        f"{'' if box.banks == 1 else f'bank {step.bank}, '}"
        f"{'' if box.selectors == 1 else f'selector {step.selector}, '}position {step.position}"
        for step in box.steps
    ]
    steps = tuple(
        (name, pair_text(pair), step.plus, step.minus)
        for name, pair, step in zip(names, pairs, box.steps, strict=True)
    )
    wires = tuple((str(n), *wire) for n, wire in enumerate(box.wires, 1))
    return (
        Table("Steps", ("step", "pair", "meter + on pin", "meter - on pin"), steps),
        _switches(box),
        Table("Wires", ("wire", "from", "to"), wires),
        *_self_test(names, pairs, plug),
        _own_resistance(names, pairs),
    )


def matrix_tables(matrix: RelayMatrix, pairs: Sequence[Pair], plug: DummyPlug) -> tuple[Table, ...]:
    """Return the tables of a relay matrix; see `selector_tables`."""
    names = [f"close (@{plus},{minus})" for plus, minus in matrix.channels]
    relays = tuple((str(r.channel), f"pin {r.pin}", r.lead) for r in matrix.relays)
    steps = tuple((name, pair_text(pair)) for name, pair in zip(names, pairs, strict=True))
    return (
        Table("Relays", ("channel", "from", "to"), relays),
        Table("Steps", ("step", "pair"), steps),
        *_self_test(names, pairs, plug),
        _own_resistance(names, pairs),
    )


def _switches(box: SelectorBox) -> Table:
    """Return which switches to get: of others two pairs meet while one is turned."""
    rows = []
    for number in range(1, box.selectors + 1):
        steps = [step for step in box.steps if step.selector == number]
        poles = box.poles * len({step.bank for step in steps})
        most = max(step.position for step in steps)
        rows.append((f"selector {number}", str(poles), f"{most} or more"))
    if box.banks > 1:
        rows.append(("bank switch", str(box.poles), f"{box.banks} or more"))
    title = "Switches to get: rotary, non-shorting (break before make)"
    return Table(title, ("switch", "poles", "positions"), tuple(rows))


def _own_resistance(names: Sequence[str], pairs: Sequence[Pair]) -> Table:
    """Return where to write down what the box itself adds, which is no part of a reading."""
    rows = tuple(
        (name, f"{a} to {b}", f"{MOST_OWN_OHM:g} ohm", "________ ohm")
        for name, (a, b) in zip(names, pairs, strict=True)
    )
    return Table(
        "The box's own resistance (null it, or take it off as lead resistance)",
        ("step", "wire across in the plug", "at most", "reads"),
        rows,
    )


def probe_tables(family: Family, pairs: Sequence[Pair]) -> tuple[Table, ...]:
    """Return the table of a pair of plain probes: the pairs in the connector's order of pins."""
    number = {name: n for n, name in enumerate(family.pin_names)}
    last = len(number)
    ordered = sorted(
        (tuple(sorted(pair, key=lambda pin: number.get(pin, last))) for pair in pairs),
        key=lambda pair: [number.get(pin, last) for pin in pair],
    )
    rows = tuple(
        (str(n), *(_placed(family, pin) for pin in pair)) for n, pair in enumerate(ordered, 1)
    )
    return (Table("Probes, in the connector's order", ("no.", "one probe", "other probe"), rows),)


def _placed(family: Family, name: str) -> str:
    place = next((pin.place for pin in family.pins if pin.name == name), None)
    return name if place is None else f"{name} (row {place[0]}, column {place[1]})"


def _self_test(names: Sequence[str], pairs: Sequence[Pair], plug: DummyPlug) -> tuple[Table, Table]:
    """Return what to solder into the dummy plug, and what each step must then read."""
    resistors = tuple((f"{a}-{b}", format_ohms(ohm)) for a, b, ohm in plug.resistors)
    expected = tuple(
        (name, pair_text(pair), "open", f"{format_ohms(ohm, 3)} ±{TOLERANCE:.0%}")
        for name, pair, ohm in zip(names, pairs, plug.reads(pairs), strict=True)
    )
    return (
        Table("Dummy plug (resistors of 1 %)", ("between pins", "resistor"), resistors),
        Table(
            "Self-test",
            ("step", "pair", "with nothing plugged in", "with the dummy plug"),
            expected,
        ),
    )
