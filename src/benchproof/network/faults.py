"""Ways for a part, or its hook-up, to be wrong, and the network each makes of a family."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import combinations

from benchproof.family.branches import CASE, Branch, Contact, Dwell, Resistor
from benchproof.family.model import Family
from benchproof.family.ohms import format_ohms


class FaultKind(StrEnum):
    """The kinds of fault; the value is how a person says it."""

    CONTACT_OPEN = "contact open"
    CONTACT_HIGH = "contact high"
    CONTACT_STUCK = "contact stuck closed"
    CONTACT_CHATTERS = "contact chatters"
    PIN_OPEN = "pin open"
    LEAK = "leak"
    BRIDGED = "bridged in some positions"
    RESISTOR_OPEN = "resistor open"
    RESISTOR_SHORTED = "resistor shorted"
    RESISTOR_DRIFTED = "resistor drifted"
    PINS_SWAPPED = "pins swapped"
    LEVER_OFF = "lever off"
    DETENT_PLAY = "detent play"
    OTHER_FAMILY = "other family"


BRANCH_KINDS = frozenset(
    {
        FaultKind.CONTACT_OPEN,
        FaultKind.CONTACT_HIGH,
        FaultKind.CONTACT_STUCK,
        FaultKind.CONTACT_CHATTERS,
        FaultKind.RESISTOR_OPEN,
        FaultKind.RESISTOR_SHORTED,
        FaultKind.RESISTOR_DRIFTED,
    }
)
"""The kinds that change one branch of the network."""

IN_OHMS = frozenset({FaultKind.LEAK, FaultKind.BRIDGED, FaultKind.CONTACT_HIGH})
"""The kinds whose size is told in ohms."""


@dataclass(frozen=True)
class Fault:
    """One way to be wrong.

    Attributes
    ----------
    kind : FaultKind
        What is wrong.
    at : tuple of str
        Where: the branch's two nodes, the pin, or the two pins; empty for the lever.
    branch : int or None
        Number of the branch, for the kinds that change one.
    size : float
        Ohms of a contact that reads high, of a leak or a bridge, factor of a drifted resistor,
        detents by which the lever is off; zero for the other kinds.
    """

    kind: FaultKind
    at: tuple[str, ...] = ()
    branch: int | None = None
    size: float = 0.0

    where: str = field(init=False, compare=False, repr=False)
    name: str = field(init=False, compare=False, repr=False)
    told: str = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        where = "-".join(self.at) if self.at else "lever"
        name = f"{self.kind.value} at {where}" if self.at else self.kind.value
        if self.kind is FaultKind.LEVER_OFF:
            name = f"lever {abs(self.size):g} detent {'late' if self.size > 0 else 'early'}"
        told = name
        if self.kind in IN_OHMS:
            told = f"{name} of about {format_ohms(self.size, 2)}"
        elif self.kind is FaultKind.RESISTOR_DRIFTED:
            told = f"{name} to about {self.size:.2g} of its value"
        for field_, text in (("where", where), ("name", name), ("told", told)):
            object.__setattr__(self, field_, text)

    def __str__(self) -> str:
        """As a person says it."""
        return self.name

    def within(self, low: float, high: float) -> str:
        """Return the fault with the sizes between which it is: "leak at A-B, 50 ohm to 10 kohm"."""
        if self.kind in IN_OHMS:
            return f"{self}, {format_ohms(low, 2)} to {format_ohms(high, 2)}"
        return f"{self} to between {low:.2g} and {high:.2g} of its value"


ALWAYS = Dwell(-1e6, 1e6)
CONTACT_SHORT_OHM = 0.05
"""What a shorted resistor leaves, ohms."""


def faulty(family: Family, fault: Fault) -> Family:
    """Return the family as a fault leaves it.

    Parameters
    ----------
    family : Family
        A family with branches.
    fault : Fault
        What is wrong with it. A chattering contact is left as it is: it is closed and open by
        turns. Play is no matter of the network either. A bridge in some positions is taken to be
        there in all: which they are, no fault tells.

    Raises
    ------
    ValueError
        If the fault is not of this family.
    """
    match fault.kind:
        case kind if kind in BRANCH_KINDS:
            if fault.branch is None or not 0 <= fault.branch < len(family.branches):
                raise ValueError(f"{family.name} has no branch for {fault}")
            branches = list(family.branches)
            branches[fault.branch] = _changed(branches[fault.branch], fault)
            return replace(family, branches=tuple(branches))
        case FaultKind.LEAK | FaultKind.BRIDGED:
            leak = Resistor((fault.at[0], fault.at[1]), fault.size)
            return replace(family, branches=(*family.branches, leak))
        case FaultKind.PIN_OPEN:
            inside = f"{fault.at[0]} inside"
            family = replace(family, inner=(*family.inner, inside))
            return _renamed(family, {fault.at[0]: inside})
        case FaultKind.PINS_SWAPPED:
            a, b = fault.at
            return _renamed(family, {a: b, b: a})
        case FaultKind.LEVER_OFF:
            if family.detents_deg is None:
                raise ValueError(f"{family.name} tells no detents")
            last = len(family.positions) - 1
            at = [min(max(i + int(fault.size), 0), last) for i in range(last + 1)]
            return replace(family, detents_deg=tuple(family.detents_deg[i] for i in at))
        case _:
            return family


def _changed(branch: Branch, fault: Fault) -> Branch:
    """Return the branch as the fault leaves it; one that never closes if it is gone."""
    match branch, fault.kind:
        case Contact(), FaultKind.CONTACT_OPEN:
            return Contact(branch.ends)
        case Contact(), FaultKind.CONTACT_HIGH:
            return replace(branch, closed_ohm=fault.size)
        case Contact(), FaultKind.CONTACT_STUCK:
            return replace(branch, dwells=(ALWAYS,), closed_in=())
        case Contact(), FaultKind.CONTACT_CHATTERS:
            return branch
        case Resistor(), FaultKind.RESISTOR_OPEN:
            return Contact(branch.ends)
        case Resistor(), FaultKind.RESISTOR_SHORTED:
            return replace(branch, ohm=CONTACT_SHORT_OHM)
        case Resistor(), FaultKind.RESISTOR_DRIFTED:
            return replace(branch, ohm=branch.ohm * fault.size)
        case _:
            raise ValueError(f"branch {fault.branch} is not what {fault} wants")


def _renamed(family: Family, names: dict[str, str]) -> Family:
    def new(branch: Branch) -> Branch:
        a, b = branch.ends
        return replace(branch, ends=(names.get(a, a), names.get(b, b)))

    return replace(family, branches=tuple(new(branch) for branch in family.branches))


@dataclass(frozen=True)
class Sizes:
    """The sizes that faults of one kind come in, each a hypothesis of its own."""

    contact_high_ohm: tuple[float, ...] = (6.0, 40.0, 300.0)
    leak_ohm: tuple[float, ...] = (20.0, 1500.0)
    bridged_ohm: tuple[float, ...] = (20.0, 1500.0)
    resistor_factor: tuple[float, ...] = (0.6, 1.6)


def single_faults(family: Family, sizes: Sizes, *, pairwise: bool = True) -> Iterator[Fault]:
    """Yield every single fault of a family with branches and detents, in each of its sizes.

    Parameters
    ----------
    family : Family
        The kind of part.
    sizes : Sizes
        The sizes that faults come in.
    pairwise : bool
        Whether also those between any two pins: leaks and swaps.
    """
    for number, branch in enumerate(family.branches):
        ends = branch.ends
        if isinstance(branch, Contact):
            yield Fault(FaultKind.CONTACT_OPEN, ends, number)
            for ohm in sizes.contact_high_ohm:
                yield Fault(FaultKind.CONTACT_HIGH, ends, number, ohm)
            yield Fault(FaultKind.CONTACT_STUCK, ends, number)
            yield Fault(FaultKind.CONTACT_CHATTERS, ends, number)
        # Insulation to the case fails as a leak, not as a resistor.
        elif CASE not in ends:
            yield Fault(FaultKind.RESISTOR_OPEN, ends, number)
            yield Fault(FaultKind.RESISTOR_SHORTED, ends, number)
            for factor in sizes.resistor_factor:
                yield Fault(FaultKind.RESISTOR_DRIFTED, ends, number, factor)
    pins = family.pin_names
    for pin in pins:
        yield Fault(FaultKind.PIN_OPEN, (pin,))
    for pair in combinations((*pins, CASE), 2) if pairwise else ():
        for ohm in sizes.leak_ohm:
            yield Fault(FaultKind.LEAK, pair, size=ohm)
    for pair in combinations(pins, 2) if pairwise else ():
        yield Fault(FaultKind.PINS_SWAPPED, pair)
    for pair in family.charted_pairs:
        for ohm in sizes.bridged_ohm:
            yield Fault(FaultKind.BRIDGED, pair, size=ohm)
    yield Fault(FaultKind.LEVER_OFF, size=-1.0)
    yield Fault(FaultKind.LEVER_OFF, size=1.0)
    yield Fault(FaultKind.DETENT_PLAY)
