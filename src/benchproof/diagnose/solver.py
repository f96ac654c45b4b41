"""The network solved in every state that any angle of any cell brings about, for every fault."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchproof.diagnose.cells import Patterns, Touch
from benchproof.diagnose.mixtures import Categories, Mixtures
from benchproof.diagnose.outcome import Bins
from benchproof.diagnose.sizes import Port, SizeClass, Sound, Span, port_between, size_classes
from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair
from benchproof.network.blocks import blocks_of
from benchproof.network.branches.base import States, branches_of
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.geometry import Geometry
from benchproof.network.resistance import Floats, Ints
from benchproof.network.states import conductances_s

Bools = NDArray[np.bool_]

IN_PLACES = 0.5
"""How likely a bridge that is there in some positions is there in a given one (invented)."""


class Net:
    """A family's network in every state of its contacts that any angle of any cell brings about.

    Parameters
    ----------
    family : Family
        A family with detents and branches.
    pairs : sequence of pair
        The pairs that are asked for.
    angles : array, shape (angles,)
        The angles off a detent.

    Attributes
    ----------
    at : States
        A state for each way the contacts stand.
    which : array of int, shape (positions, angles)
        The state that holds at each angle.
    ends : two arrays of int, shape (pairs,)
        The nodes of each pair.
    """

    def __init__(self, family: Family, pairs: Sequence[Pair], angles: Floats) -> None:
        self.family = family
        self.at, which = self._states(angles)
        self.which = which.reshape(len(family.positions), len(angles))
        names = dict.fromkeys([*family.pin_names, CASE, *family.inner])
        self.number = {name: n for n, name in enumerate(names)}
        edges = [[self.number[a], self.number[b]] for a, b in (x.ends for x in family.branches)]
        self.blocks = blocks_of(len(names), edges)
        nodes = np.array([[self.number[a], self.number[b]] for a, b in pairs], dtype=np.intp)
        nodes = nodes.reshape(-1, 2)
        self.ends = nodes[:, 0], nodes[:, 1]

    def _states(self, angles: Floats) -> tuple[States, Ints]:
        """Return a state for each way the contacts stand, and which one holds at each angle."""
        family = self.family
        theta = (np.asarray(family.detents_deg)[:, None] + angles).ravel()
        closed = np.zeros((len(family.branches), theta.size), dtype=np.bool_)
        for number, branch in enumerate(branches_of(family)):
            for dwell in branch.dwells:
                closed[number] |= (theta >= dwell.from_deg) & (theta <= dwell.to_deg)
        # A chart that asks for nothing has one state only.
        closed = closed if family.branches else np.zeros((1, theta.size), dtype=np.bool_)
        _, first, which = np.unique(closed, axis=1, return_index=True, return_inverse=True)
        return States(first // len(angles), theta[first]), which.reshape(-1)

    @cached_property
    def conductance_s(self) -> Floats:
        """The conductance of each branch in each state, shape (states, branches)."""
        return conductances_s(self.family, self.at)

    @cached_property
    def every_ohm(self) -> Floats:
        """The ohms between every two nodes, shape (nodes, nodes, states)."""
        ohms = self.blocks.ohms(self.conductance_s)
        return np.ascontiguousarray(ohms.transpose(1, 2, 0))

    @cached_property
    def ohms(self) -> Floats:
        """The ohms of each pair, shape (pairs, states)."""
        found: Floats = self.every_ohm[self.ends]
        return found


@dataclass(frozen=True)
class InStates:
    """What one cause makes of the pairs that it touches, by state.

    Attributes
    ----------
    pairs : array of int
        The pairs.
    category : array, shape (pairs, states)
        What is there.
    """

    pairs: Ints
    category: Categories


Made = Touch | InStates


class Solver:
    """What each fault makes of every pair that it touches.

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
        self.mixtures, self.patterns = Mixtures(bins), Patterns()
        self.open = bins.count - 1
        self.net = Net(family, pairs, angles)
        self.sound = Sound(self.net.ohms, self.mixtures.of_ohms(self.net.ohms))
        self.healthy = self.patterns.placed(self.sound.category, self.net.which)
        self._naming: dict[str, list[int]] = {}
        for k, pair in enumerate(pairs):
            for pin in pair:
                self._naming.setdefault(pin, []).append(k)

    def nothing(self) -> Touch:
        """Return what no fault touches."""
        none = np.zeros(0, dtype=np.intp)
        return Touch(none, self.healthy[none])

    def other(self, shape: Geometry) -> Touch:
        """Return what another family is where it differs."""
        net = Net(shape.family, self.pairs, self.angles)
        return self._differing(self.patterns.placed(self.mixtures.of_ohms(net.ohms), net.which))

    def _differing(self, pattern: Ints) -> Touch:
        """Return the pairs that differ, of patterns of all pairs, (pairs, positions)."""
        pairs = np.flatnonzero((pattern != self.healthy).any(axis=1))
        return Touch(pairs, pattern[pairs])

    def _touch(self, pairs: Ints, category: Categories) -> InStates:
        """Return what is touched, from categories of some pairs by state, (pairs, states)."""
        differs = (category != self.sound.category[pairs]).any(axis=1)
        return InStates(pairs[differs], category[differs])

    def placed(self, made: Sequence[Made]) -> list[Touch]:
        """Return what is touched by cell and angle, from what is touched by state."""
        none = self.sound.category[:0]
        categories = [one.category for one in made if isinstance(one, InStates)]
        pattern = self.patterns.placed(np.concatenate([none, *categories]), self.net.which)
        touches, done = [], 0
        for one in made:
            if isinstance(one, InStates):
                touches.append(Touch(one.pairs, pattern[done : done + len(one.pairs)]))
                done += len(one.pairs)
            else:
                touches.append(one)
        return touches

    def made_by(self, faults: Sequence[Fault]) -> list[tuple[Fault, Made]]:
        """Return what each fault makes of the pairs that it touches, none of them of a size."""
        made = []
        for fault in faults:
            touch: Made
            match fault.kind:
                case PartFault.PIN_OPEN:
                    pairs = np.array(self._naming.get(fault.at[0], []), dtype=np.intp)
                    category = np.full_like(self.sound.category[pairs], self.open)
                    touch = self._touch(pairs, category)
                case PartFault.PINS_SWAPPED | PartFault.WIRES_SWAPPED:
                    touch = self._swapped(fault)
                case PartFault.LEVER_OFF:
                    last = self.healthy.shape[1] - 1
                    at = np.clip(np.arange(last + 1) + int(fault.size), 0, last)
                    touch = self._differing(self.healthy[:, at])
                case PartFault.DETENT_PLAY:
                    touch = self.nothing()
                case _:
                    touch = self._of_branch(fault)
            made.append((fault, touch))
        return made

    def _swapped(self, fault: Fault) -> Touch:
        """Return what two pins swapped make of the pairs that name one of them."""
        one, other = (self.net.number[pin] for pin in fault.at)
        pairs = np.array(
            sorted({*self._naming.get(fault.at[0], []), *self._naming.get(fault.at[1], [])}),
            dtype=np.intp,
        )
        a, b = (np.where(x == one, other, np.where(x == other, one, x)) for x in self._ends(pairs))
        pattern = self._pattern_of_ends[a, b]
        differs = (pattern != self.healthy[pairs]).any(axis=1)
        return Touch(pairs[differs], pattern[differs])

    def _ends(self, pairs: Ints) -> tuple[Ints, Ints]:
        return self.net.ends[0][pairs], self.net.ends[1][pairs]

    @cached_property
    def _pattern_of_ends(self) -> Ints:
        """The pattern between every two of pins and case, shape (nodes, nodes, positions)."""
        count = len(self.family.pin_names) + 1
        one, other = np.array([*combinations(range(count), 2)], dtype=np.intp).T
        category = self.mixtures.of_ohms(self.net.every_ohm[one, other])
        found = np.zeros((count, count, self.healthy.shape[1]), dtype=np.intp)
        found[one, other] = self.patterns.placed(category, self.net.which)
        found[other, one] = found[one, other]
        return found

    def _of_branch(self, fault: Fault) -> Made:
        """Return what a fault of one branch makes of the pairs whose way leads past it."""
        assert fault.branch is not None, "single_faults numbers the branch"
        if fault.branch not in self.net.blocks.of_edge:
            return self.nothing()
        number = self.net.blocks.of_edge[fault.branch]
        block = self.net.blocks.blocks[number]
        conductance_s = self.net.conductance_s.copy()
        conductance_s[:, fault.branch] = self._faulty_column(fault.by_turns or fault)
        within = block.ohms(conductance_s[:, block.edges]).transpose(1, 2, 0)
        pairs, x, y, beyond = self._past(number)
        category = self.mixtures.of_ohms(beyond + within[x, y])
        if fault.by_turns is not None:
            healthy = self.sound.category[pairs]
            main, bins = self.mixtures.main, self.mixtures.bins.count
            chatter = (main[healthy] + bins).astype(np.uint16)
            category = np.where(category != healthy, chatter, healthy)
        return self._touch(pairs, category)

    def _past(self, number: int) -> tuple[Ints, Ints, Ints, Floats]:
        """Return the pairs whose way leads through a block, and the rest of their way.

        Returns
        -------
        tuple of arrays
            The pairs; where in the block each enters and leaves it; the ohms outside it, shape
            (pairs, states).
        """
        block, nearest = self.net.blocks.blocks[number], self.net.blocks.nearest[number]
        x, y = nearest[self.net.ends[0]], nearest[self.net.ends[1]]
        pairs = np.flatnonzero((x >= 0) & (y >= 0) & (x != y))
        a, b = self._ends(pairs)
        x, y, ohms = x[pairs], y[pairs], self.net.every_ohm
        return pairs, x, y, ohms[a, block.nodes[x]] + ohms[block.nodes[y], b]

    def _faulty_column(self, fault: Fault) -> Floats:
        """Return the conductance of the one branch that a fault changes, in each state."""
        assert fault.branch is not None
        branch = branches_of(faulty(self.family, fault))[fault.branch]
        return branch.conductance_s(self.net.at, self.family.positions)

    def made_in_sizes(
        self, faults: Iterable[Fault], spans: dict[FaultKind, tuple[Span, ...]]
    ) -> list[tuple[SizeClass, Made]]:
        """Return the classes of sizes of each fault that comes in sizes, and what they touch.

        Parameters
        ----------
        faults : iterable of Fault
            One a place, in any size.
        spans : dict of FaultKind to tuple of (float, float)
            The sizes that each kind comes in.
        """
        made: list[tuple[SizeClass, Made]] = []
        for fault in faults:
            if fault.branch is None:
                pairs, port, unit = *self._across(fault), 1.0
            elif fault.branch not in self.net.blocks.of_edge:
                continue
            else:
                pairs, port, unit = self._without(fault.branch)
            sound = self.sound.of(pairs)
            charted = int(np.searchsorted(pairs, self.charted))
            classes = size_classes(
                fault, spans[fault.kind], unit, port, sound, charted, self.mixtures
            )
            for one in classes:
                found: SizeClass | None = replace(one, pairs=pairs[one.pairs])
                if fault.kind is PartFault.BRIDGED:
                    found = self._in_places(replace(one, pairs=pairs[one.pairs]))
                if found is not None:
                    made.append((found, self._touch(found.pairs, found.category)))
        return made

    def _across(self, fault: Fault) -> tuple[Ints, Port]:
        """Return the pairs that a resistance between two pins can touch, and how."""
        u, v = (self.net.number[pin] for pin in fault.at)
        one, other = self._part[u], self._part[v]
        pairs = self._joining.get((min(one, other), max(one, other)))
        if pairs is None:
            pairs = np.zeros(0, dtype=np.intp)
        return pairs, port_between(self.net.every_ohm, (u, v), self._ends(pairs))

    @cached_property
    def _part(self) -> list[int]:
        """The number of the part of the network that each node belongs to."""
        part = [-1] * self.net.blocks.nodes
        for n, nearest in enumerate(self.net.blocks.nearest):
            for node in np.flatnonzero(nearest >= 0).tolist():
                part[node] = n if part[node] < 0 else part[node]
        return [-1 - n if at < 0 else at for n, at in enumerate(part)]

    @cached_property
    def _joining(self) -> dict[tuple[int, int], Ints]:
        """The pairs by the two parts of the network that they join."""
        found: dict[tuple[int, int], list[int]] = {}
        for k, (a, b) in enumerate(zip(*self.net.ends, strict=True)):
            one, other = self._part[int(a)], self._part[int(b)]
            found.setdefault((min(one, other), max(one, other)), []).append(k)
        return {key: np.array(pairs, dtype=np.intp) for key, pairs in found.items()}

    def _without(self, number: int) -> tuple[Ints, Port, float]:
        """Return the pairs whose way leads past a branch, how they depend on it, and its unit."""
        branch = branches_of(self.family)[number]
        of_block = self.net.blocks.of_edge[number]
        block = self.net.blocks.blocks[of_block]
        without = self.net.conductance_s.copy()
        without[:, number] = 0.0
        within = block.ohms(without[:, block.edges]).transpose(1, 2, 0)
        pairs, x, y, beyond = self._past(of_block)
        u, v = block.ends[block.edges == number][0].tolist()
        port = port_between(within, (u, v), (x, y))
        port = replace(port, short_ohm=port.short_ohm + beyond)
        unit_ohm, active = branch.of_size(self.net.at, self.family.positions)
        return pairs, replace(port, active=active), unit_ohm

    def _in_places(self, leak: SizeClass) -> SizeClass | None:
        """Return a leak that is there in some positions; None if it shows in fewer than two.

        What befalls a single position is a defect of its cell.
        """
        sound = self.sound.category[leak.pairs]
        mixed = self.mixtures.of_classes(
            np.stack([sound.ravel(), leak.category.ravel()]), np.array([1.0 - IN_PLACES, IN_PLACES])
        ).reshape(sound.shape)
        charted = leak.pairs < self.charted
        shows = (mixed != sound)[charted].any(axis=0)
        several = int(shows[self.net.which].any(axis=1).sum()) > 1
        return replace(leak, category=mixed) if several else None
