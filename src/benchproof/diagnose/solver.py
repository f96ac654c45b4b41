"""The network solved in every state that any angle of any cell brings about, for every fault."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.mixtures import Categories, Mixtures
from benchproof.diagnose.outcome import Bins
from benchproof.diagnose.sizes import Port, SizeClass, Sound, Span, size_classes
from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair, same_pair
from benchproof.network.branches.base import Branch, States, branches_of
from benchproof.network.branches.resistor import Resistor
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats, Ints, effective_resistance
from benchproof.network.states import conductances_s

Bools = NDArray[np.bool_]

IN_PLACES = 0.5
"""How likely a bridge that is there in some positions is there in a given one (invented)."""
INSULATION_S = 1e-10
"""Every node is taken to leak this much to the case where the closed form asks for ohms between any
two: nothing insulates better than 10 Gohm."""


class Solver:
    """Solves the network in every state that any angle of any cell brings about.

    Parameters
    ----------
    family : Family
        A family with detents and branches.
    bins : Bins
        Bins of ohms.
    pairs : sequence of pair
        The charted pairs, then the others.
    charted : int
        How many are charted.
    angles : array, shape (angles,)
        The angles off a detent.
    """

    def __init__(
        self, family: Family, bins: Bins, pairs: Sequence[Pair], charted: int, angles: Floats
    ) -> None:
        self.family, self.pairs, self.angles = family, pairs, angles
        self.charted = charted
        self.mixtures = Mixtures(bins)
        self.positions = len(family.positions)
        self.open = bins.count - 1
        self.at, self.which = self._states(family)

    def healthy(self) -> Categories:
        """Return the categories of a part without fault, shape (pairs, positions, angles)."""
        return self._of(self.family, self.pairs)

    def other(self, shape: Geometry) -> Categories:
        """Return the categories of another family."""
        return self._of(shape.family, self.pairs)

    def _of(self, family: Family, pairs: Sequence[Pair]) -> Categories:
        at, which = self._states(family)
        ohms = self._solve(family, conductances_s(family, at), pairs)
        return self._placed(self.mixtures.of_ohms(ohms), which)

    def _states(self, family: Family) -> tuple[States, Ints]:
        """Return a state for each way the contacts stand, and which one holds at each angle."""
        theta = (np.asarray(family.detents_deg)[:, None] + self.angles).ravel()
        closed = np.zeros((len(family.branches), theta.size), dtype=np.bool_)
        for number, branch in enumerate(branches_of(family)):
            for dwell in branch.dwells:
                closed[number] |= (theta >= dwell.from_deg) & (theta <= dwell.to_deg)
        # A chart that asks for nothing has one state only.
        closed = closed if family.branches else np.zeros((1, theta.size), dtype=np.bool_)
        _, first, which = np.unique(closed, axis=1, return_index=True, return_inverse=True)
        return States(first // len(self.angles), theta[first]), which.reshape(-1)

    def _solve(self, family: Family, conductance_s: Floats, pairs: Sequence[Pair]) -> Floats:
        """Return the ohms of each pair in each state, shape (states, pairs)."""
        nodes = list(dict.fromkeys([*family.pin_names, CASE, *family.inner]))
        number = {name: i for i, name in enumerate(nodes)}
        ends = [[number[a], number[b]] for a, b in (x.ends for x in family.branches)]
        edges = np.array(ends, dtype=np.intp)
        wanted = np.array([[number[a], number[b]] for a, b in pairs])
        return effective_resistance(len(nodes), edges.reshape(-1, 2), conductance_s, wanted)

    def _placed(self, found: Categories, which: Ints) -> Categories:
        """Return categories by state as categories by cell and angle."""
        return found[which].reshape(self.positions, len(self.angles), -1).transpose(2, 0, 1)

    def made_by(self, faults: Sequence[Fault]) -> list[tuple[Fault, Categories]]:
        """Return the categories that each fault makes, none of them of a size."""
        family, bins = self.family, self.mixtures.bins.count
        healthy = self.healthy()
        swaps = any(fault.kind is PartFault.PINS_SWAPPED for fault in faults)
        every = list(combinations((*family.pin_names, CASE), 2)) if swaps else []
        of_pair = {same_pair(pair): i for i, pair in enumerate(every)}
        all_pairs = self._of(family, every) if every else healthy
        solved = self._solved([f for f in faults if f.branch is not None])
        main = self.mixtures.main
        made = []
        for fault in faults:
            match fault.kind:
                case PartFault.PIN_OPEN:
                    category = healthy.copy()
                    category[[fault.at[0] in pair for pair in self.pairs]] = self.open
                case PartFault.PINS_SWAPPED:
                    swap = {fault.at[0]: fault.at[1], fault.at[1]: fault.at[0]}
                    seen = [frozenset(swap.get(pin, pin) for pin in pair) for pair in self.pairs]
                    category = all_pairs[[of_pair[pair] for pair in seen]]
                case PartFault.LEVER_OFF:
                    at = np.arange(self.positions) + int(fault.size)
                    category = healthy[:, np.clip(at, 0, self.positions - 1)]
                case PartFault.DETENT_PLAY:
                    category = healthy
                case _ if (opened := fault.by_turns) is not None:
                    chatters = (main[healthy] + bins).astype(np.uint16)
                    category = np.where(solved[opened] != healthy, chatters, healthy)
                case _:
                    category = solved[fault]
            made.append((fault, category))
        return made

    def _solved(self, faults: Sequence[Fault]) -> dict[Fault, Categories]:
        """Solve the network of every fault of a branch in every state in one batch."""
        base = conductances_s(self.family, self.at)
        states = len(base)
        unlike = [fault for fault in faults if fault.by_turns is None]
        blocks = []
        for fault in unlike:
            block = base.copy()
            assert fault.branch is not None, "single_faults numbers the branch"
            block[:, fault.branch] = self._faulty_column(fault)
            blocks.append(block)
        if not blocks:
            return {}
        ohms = self._solve(self.family, np.concatenate(blocks), self.pairs)
        category = self.mixtures.of_ohms(ohms)
        return {
            fault: self._placed(category[i * states : (i + 1) * states], self.which)
            for i, fault in enumerate(unlike)
        }

    def _faulty_column(self, fault: Fault) -> Floats:
        """Return the conductance of the one branch that a fault changes, in each state."""
        assert fault.branch is not None
        branch = branches_of(faulty(self.family, fault))[fault.branch]
        return branch.conductance_s(self.at, self.family.positions)

    def made_in_sizes(
        self, faults: Iterable[Fault], spans: dict[FaultKind, tuple[Span, ...]]
    ) -> list[tuple[SizeClass, Categories]]:
        """Return the classes of sizes of each fault that comes in sizes, with their categories.

        Parameters
        ----------
        faults : iterable of Fault
            One a place, in any size.
        spans : dict of FaultKind to tuple of (float, float)
            The sizes that each kind comes in.
        """
        base = conductances_s(self.family, self.at)
        ohms = self._solve(self.family, base, self.pairs)
        sound = Sound(ohms, self.mixtures.of_ohms(ohms))
        healthy = self._placed(sound.category, self.which)
        made = []
        whole = self._between(base) if any(f.branch is None for f in faults) else {}
        for fault in faults:
            unit, active = 1.0, np.ones(len(base), dtype=np.bool_)
            if fault.branch is None:
                port = self._port(whole, (fault.at[0], fault.at[1]), active)
            else:
                branch = branches_of(self.family)[fault.branch]
                unit, active = branch.of_size(self.at, self.family.positions)
                without = base.copy()
                without[:, fault.branch] = 0.0
                port = self._port(self._between(without, branch.ends), branch.ends, active)
            classes = size_classes(
                fault, spans[fault.kind], unit, port, sound, self.charted, self.mixtures
            )
            if fault.kind is PartFault.BRIDGED:
                classes = [
                    here for one in classes if (here := self._in_places(one, sound, healthy))
                ]
            made += [(one, self._placed(one.category, self.which)) for one in classes]
        return made

    def _in_places(self, leak: SizeClass, sound: Sound, healthy: Categories) -> SizeClass | None:
        """Return a leak that is there in some positions; None if it shows in fewer than two.

        What befalls a single position is a defect of its cell.
        """
        both = np.stack([sound.category, leak.category])
        mixed = self.mixtures.of_classes(both, np.array([1.0 - IN_PLACES, IN_PLACES]))
        shows = (self._placed(mixed, self.which) != healthy)[: self.charted]
        several = int(shows.any(axis=(0, 2)).sum()) > 1
        return replace(leak, category=mixed) if several else None

    def _between(self, conductance_s: Floats, ends: Pair | None = None) -> dict[Pair, Floats]:
        """Return the ohms in each state between every two of pins and case.

        With `ends`, only those that a port there needs, and each pair's own.
        """
        names = [*self.family.pin_names, CASE]
        if ends is None:
            wanted = list(combinations(names, 2))
        else:
            apart = [(pin, end) for end in ends for pin in names if pin != end]
            wanted = list(dict.fromkeys([*self.pairs, *apart, ends]))
        nodes = dict.fromkeys([*self.family.pin_names, *self.family.inner])
        insulation: list[Branch] = [Resistor((name, CASE), 1.0 / INSULATION_S) for name in nodes]
        insulated = replace(self.family, branches=(*self.family.branches, *insulation))
        leaking = np.full((len(conductance_s), len(insulation)), INSULATION_S)
        ohms = self._solve(insulated, np.hstack([conductance_s, leaking]), wanted)
        found = dict(zip(wanted, ohms.T, strict=True))
        return found | {(b, a): column for (a, b), column in found.items()}

    def _port(self, between: dict[Pair, Floats], ends: Pair, active: Bools) -> Port:
        """Return how every pair depends on a resistance between two nodes."""
        u, v = ends
        none = np.zeros(len(active))

        def ohm(a: str, b: str) -> Floats:
            return none if a == b else between[a, b]

        open_ohm = np.stack([ohm(a, b) for a, b in self.pairs], axis=1)
        transfer = np.stack(
            [(ohm(a, v) + ohm(b, u) - ohm(a, u) - ohm(b, v)) / 2.0 for a, b in self.pairs], axis=1
        )
        return Port(open_ohm, transfer**2, ohm(u, v), active)
