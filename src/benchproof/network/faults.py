"""Ways for a part, or its hook-up, to be wrong, and the network each makes of a family."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from benchproof.family.branches import CASE
from benchproof.family.model import Family
from benchproof.network.branches.base import Branch, branches_of
from benchproof.network.branches.kinds import BRANCH_FAULTS
from benchproof.network.branches.resistor import Resistor
from benchproof.network.faultkind import FaultKind, Sizes, SizeUnit


class PartFault(FaultKind):
    """What may be wrong with a part as a whole, with its hook-up, or with what it is taken for."""

    PIN_OPEN = "pin open", "pin_open_rate"
    LEAK = "leak", "leak_rate", Sizes(SizeUnit.OHMS, "leak_ohm", tried=(20.0, 1500.0))
    BRIDGED = (
        "bridged in some positions",
        "bridged_rate",
        Sizes(SizeUnit.OHMS, "bridged_ohm", tried=(20.0, 1500.0)),
    )
    PINS_SWAPPED = "pins swapped", "pins_swapped_rate"
    WIRES_SWAPPED = "wires swapped", "wires_swapped_rate"
    LEVER_OFF = "lever off", "lever_off_rate"
    DETENT_PLAY = "detent play", "detent_play_rate"
    OTHER_FAMILY = "other family", "other_family_rate"

    @property
    def shared(self) -> bool:
        """Whether the rate is of the whole part; else it is of one pin."""
        return self is not PartFault.PIN_OPEN

    @property
    def of_member(self) -> bool:
        """Whether the rate is of each part of an assembly: what befalls its pins, by twos."""
        return self in (PartFault.LEAK, PartFault.BRIDGED, PartFault.PINS_SWAPPED)

    @property
    def twofold(self) -> bool:
        """Whether it can come together with another fault."""
        return self in (PartFault.PIN_OPEN, PartFault.BRIDGED)


FAULT_KINDS: tuple[FaultKind, ...] = (*BRANCH_FAULTS, *PartFault)
"""Every kind of fault."""


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
        For the kinds that come in sizes, in their unit: ohms of a contact that reads high, of a
        leak or a bridge, factor of a drifted resistor. Detents by which the lever is off; zero for
        the other kinds.
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
        if self.kind is PartFault.LEVER_OFF:
            name = f"lever {abs(self.size):g} detent {'late' if self.size > 0 else 'early'}"
        told = self.kind.sizes.told(name, self.size) if self.kind.sizes else name
        for field_, text in (("where", where), ("name", name), ("told", told)):
            object.__setattr__(self, field_, text)

    def __str__(self) -> str:
        """As a person says it."""
        return self.name

    def within(self, low: float, high: float) -> str:
        """Return the fault with the sizes between which it is: "leak at A-B, 50 ohm to 10 kohm"."""
        assert self.kind.sizes is not None, "only what comes in sizes is between two"
        return self.kind.sizes.between(self.name, low, high)

    @property
    def by_turns(self) -> "Fault | None":
        """The fault that it is by turns with none; None if it is always there."""
        kind = self.kind.by_turns
        return None if kind is None else replace(self, kind=kind)


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
        case kind if kind in BRANCH_FAULTS:
            if fault.branch is None or not 0 <= fault.branch < len(family.branches):
                raise ValueError(f"{family.name} has no branch for {fault}")
            branches = [*branches_of(family)]
            one = branches[fault.branch]
            if not isinstance(kind, one.FAULTS):
                raise ValueError(f"branch {fault.branch} is not what {fault} wants")
            branches[fault.branch] = one.with_fault(kind, fault.size)
            return replace(family, branches=tuple(branches))
        case PartFault.LEAK | PartFault.BRIDGED:
            leak = Resistor((fault.at[0], fault.at[1]), fault.size)
            return replace(family, branches=(*family.branches, leak))
        case PartFault.PIN_OPEN:
            inside = f"{fault.at[0]} inside"
            family = replace(family, inner=(*family.inner, inside))
            return _renamed(family, {fault.at[0]: inside})
        case PartFault.PINS_SWAPPED | PartFault.WIRES_SWAPPED:
            a, b = fault.at
            return _renamed(family, {a: b, b: a})
        case PartFault.LEVER_OFF:
            if family.detents_deg is None:
                raise ValueError(f"{family.name} tells no detents")
            last = len(family.positions) - 1
            at = [min(max(i + int(fault.size), 0), last) for i in range(last + 1)]
            return replace(family, detents_deg=tuple(family.detents_deg[i] for i in at))
        case _:
            return family


def _renamed(family: Family, names: dict[str, str]) -> Family:
    def new(branch: Branch) -> Branch:
        a, b = branch.ends
        return replace(branch, ends=(names.get(a, a), names.get(b, b)))

    return replace(family, branches=tuple(new(branch) for branch in branches_of(family)))


def tried(kind: FaultKind) -> tuple[float, ...]:
    """Return a few sizes of a kind of fault that comes in sizes."""
    return kind.sizes.tried if kind.sizes else ()


def single_faults(
    family: Family,
    sizes: Callable[[FaultKind], Sequence[float]] = tried,
    *,
    pairwise: bool = True,
) -> Iterator[Fault]:
    """Yield every single fault of a family with branches and detents, in each of its sizes.

    Those of the lever only of a part that has one.

    Parameters
    ----------
    family : Family
        The kind of part.
    sizes : callable
        The sizes of a kind of fault that comes in sizes, each a fault of its own.
    pairwise : bool
        Whether also those between any two pins: leaks and swaps.
    """

    def of(kind: FaultKind, at: tuple[str, ...], branch: int | None = None) -> Iterator[Fault]:
        for size in sizes(kind) if kind.sizes else (0.0,):
            yield Fault(kind, at, branch, size)

    for number, branch in enumerate(branches_of(family)):
        for kind in branch.fault_kinds:
            yield from of(kind, branch.ends, number)
    pins = family.terminals
    for pin in pins:
        yield from of(PartFault.PIN_OPEN, (pin,))
    for pair in combinations((*pins, CASE), 2) if pairwise else ():
        yield from of(PartFault.LEAK, pair)
    for pair in combinations(pins, 2) if pairwise else ():
        yield from of(PartFault.PINS_SWAPPED, pair)
    for pair in combinations(_wired(family), 2) if pairwise else ():
        yield from of(PartFault.WIRES_SWAPPED, pair)
    for pair in family.charted_pairs:
        yield from of(PartFault.BRIDGED, pair)
    if not family.lever:
        return
    yield Fault(PartFault.LEVER_OFF, size=-1.0)
    yield Fault(PartFault.LEVER_OFF, size=1.0)
    yield Fault(PartFault.DETENT_PLAY)


def _wired(family: Family) -> list[str]:
    """Return the pins at which one wire ends and nothing else: two such can have been exchanged."""
    at: dict[str, list[Branch]] = {pin: [] for pin in family.terminals}
    for branch in branches_of(family):
        for end in branch.ends:
            if end in at:
                at[end].append(branch)
    return [pin for pin, found in at.items() if len(found) == 1 and found[0].leads]
