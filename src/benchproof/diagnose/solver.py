"""The network solved in every state that any angle of any cell brings about, for every fault."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.outcome import Bins
from benchproof.family.branches import CASE, Contact, Resistor
from benchproof.family.model import Family, Pair, same_pair
from benchproof.network.faults import BRANCH_KINDS, Fault, FaultKind, faulty
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats, Ints, effective_resistance

Bytes = NDArray[np.uint8]
Bools = NDArray[np.bool_]


class Solver:
    """Solves the network in every state that any angle of any cell brings about."""

    def __init__(self, family: Family, bins: Bins, pairs: Sequence[Pair], angles: Floats) -> None:
        self.family, self.bins, self.pairs, self.angles = family, bins, pairs, angles
        self.positions = len(family.positions)
        self.open = bins.count - 1

    def healthy(self) -> Bytes:
        """Return the categories of a part without fault, shape (pairs, positions, angles)."""
        return self._of(self.family, self.pairs)

    def other(self, shape: Geometry) -> Bytes:
        """Return the categories of another family."""
        return self._of(shape.family, self.pairs)

    def _of(self, family: Family, pairs: Sequence[Pair]) -> Bytes:
        closed, which = self._states(family)
        conductance = np.stack([self._conductance(family, column) for column in closed.T])
        return self._placed(self._solve(family, conductance, pairs), which)

    def _states(self, family: Family) -> tuple[Bools, Ints]:
        """Return the distinct states of the contacts, and which one holds at each angle."""
        theta = (np.asarray(family.detents_deg)[:, None] + self.angles).ravel()
        closed = np.zeros((len(family.branches), theta.size), dtype=np.bool_)
        for number, branch in enumerate(family.branches):
            if isinstance(branch, Contact):
                for dwell in branch.dwells:
                    closed[number] |= (theta >= dwell.from_deg) & (theta <= dwell.to_deg)
        distinct, which = np.unique(closed, axis=1, return_inverse=True)
        return distinct, which.reshape(-1)

    def _conductance(self, family: Family, closed: Bools) -> Floats:
        return np.array(
            [
                1.0 / branch.ohm
                if isinstance(branch, Resistor)
                else 1.0 / (branch.closed_ohm if shut else branch.open_ohm)
                for branch, shut in zip(family.branches, closed, strict=True)
            ]
        )

    def _solve(self, family: Family, conductance_s: Floats, pairs: Sequence[Pair]) -> Bytes:
        """Return the bin of each pair in each state, shape (states, pairs)."""
        nodes = list(dict.fromkeys([*self.family.pin_names, CASE, *family.inner]))
        number = {name: i for i, name in enumerate(nodes)}
        edges = np.array([[number[a], number[b]] for a, b in (x.ends for x in family.branches)])
        wanted = np.array([[number[a], number[b]] for a, b in pairs])
        ohms = effective_resistance(len(nodes), edges.reshape(-1, 2), conductance_s, wanted)
        return self.bins.of(ohms).astype(np.uint8)

    def _placed(self, found: Bytes, which: Ints) -> Bytes:
        """Return bins by state as categories by cell and angle."""
        return found[which].reshape(self.positions, len(self.angles), -1).transpose(2, 0, 1)

    def made_by(self, faults: Sequence[Fault]) -> list[tuple[Fault | None, Bytes]]:
        """Return the categories that each fault makes, all networks solved at once."""
        family = self.family
        closed, which = self._states(family)
        healthy = self.healthy()
        swaps = any(fault.kind is FaultKind.PINS_SWAPPED for fault in faults)
        every = list(combinations((*family.pin_names, CASE), 2)) if swaps else []
        of_pair = {same_pair(pair): i for i, pair in enumerate(every)}
        all_pairs = self._of(family, every) if every else healthy
        solved = self._solved([f for f in faults if self._needs_solving(f)], closed, which)
        made: list[tuple[Fault | None, Bytes]] = []
        for fault in faults:
            match fault.kind:
                case FaultKind.PIN_OPEN:
                    category = healthy.copy()
                    category[[fault.at[0] in pair for pair in self.pairs]] = self.open
                case FaultKind.PINS_SWAPPED:
                    swap = {fault.at[0]: fault.at[1], fault.at[1]: fault.at[0]}
                    seen = [frozenset(swap.get(pin, pin) for pin in pair) for pair in self.pairs]
                    category = all_pairs[[of_pair[pair] for pair in seen]]
                case FaultKind.LEVER_OFF:
                    at = np.arange(self.positions) + int(fault.size)
                    category = healthy[:, np.clip(at, 0, self.positions - 1)]
                case FaultKind.DETENT_PLAY:
                    category = healthy
                case FaultKind.CONTACT_CHATTERS:
                    opened = solved[replace(fault, kind=FaultKind.CONTACT_OPEN)]
                    category = np.where(opened != healthy, healthy + self.bins.count, healthy)
                    category = category.astype(np.uint8)
                case _:
                    category = solved[fault]
            made.append((fault, category))
        return made

    @staticmethod
    def _needs_solving(fault: Fault) -> bool:
        return fault.kind is FaultKind.LEAK or (
            fault.kind in BRANCH_KINDS and fault.kind is not FaultKind.CONTACT_CHATTERS
        )

    def _solved(self, faults: Sequence[Fault], closed: Bools, which: Ints) -> dict[Fault, Bytes]:
        """Solve the network of every fault in every state in one batch.

        All share the branches and one extra branch per leaking pair, open unless it leaks.
        """
        family = self.family
        leaks = list(dict.fromkeys(f.at for f in faults if f.kind is FaultKind.LEAK))
        extra = {pair: len(family.branches) + i for i, pair in enumerate(leaks)}
        states = closed.shape[1]
        base = np.zeros((states, len(family.branches) + len(leaks)))
        for s in range(states):
            base[s, : len(family.branches)] = self._conductance(family, closed[:, s])
        blocks = []
        for fault in faults:
            block = base.copy()
            if fault.kind is FaultKind.LEAK:
                block[:, extra[fault.at]] = 1.0 / fault.size
            else:
                assert fault.branch is not None, "single_faults numbers the branch"
                block[:, fault.branch] = self._faulty_column(fault, closed)
            blocks.append(block)
        with_leaks = replace(
            family,
            branches=(*family.branches, *(Resistor((a, b), 1.0) for a, b in leaks)),
        )
        found = self._solve(with_leaks, np.concatenate(blocks), self.pairs)
        return {
            fault: self._placed(found[i * states : (i + 1) * states], which)
            for i, fault in enumerate(faults)
        }

    def _faulty_column(self, fault: Fault, closed: Bools) -> Floats:
        """Return the conductance of the one branch that a fault changes, in each state."""
        assert fault.branch is not None
        branch = faulty(self.family, fault).branches[fault.branch]
        if isinstance(branch, Resistor):
            return np.full(closed.shape[1], 1.0 / branch.ohm)
        gone = fault.kind in (FaultKind.CONTACT_OPEN, FaultKind.RESISTOR_OPEN)
        stuck = fault.kind is FaultKind.CONTACT_STUCK
        shut = (closed[fault.branch] | stuck) & ~np.bool_(gone)
        return np.where(shut, 1.0 / branch.closed_ohm, 1.0 / branch.open_ohm)
