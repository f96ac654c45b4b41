"""How likely each consequence is, by the diagnosis of a part's readings.

In the detents this is exact for the hypotheses of the diagnosis: every cell's edge deviates by its
own spread, narrowed by the cell's readings, and cells are independent given the hypothesis. Between
detents the likeliest hypotheses are foretold offset by offset, and one further deviation of the
edges is summed out, the same for all contacts. A weak circuit counts as on and as off, so that no
probability is too low for it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchproof.diagnose.diagnosis import weighed
from benchproof.diagnose.posterior import Posterior, masses, of_part
from benchproof.family.danger import Signal
from benchproof.family.model import Consequence, Grade, Role, Where, same_pair
from benchproof.foretell.consequences import applies, names_read, signal_of
from benchproof.foretell.controller import Circuit, Level, Read, ReadKind, SeenByController
from benchproof.foretell.foretelling import (
    Foretelling,
    Foretold,
    Vehicle,
    cause_text,
    foretell,
    sentence_of,
    told_of,
)
from benchproof.foretell.hypotheses import Hypothesis, hypotheses_of
from benchproof.foretell.travel import by_turns
from benchproof.foretell.travelplaces import TravelPlace
from benchproof.network.resistance import Floats

FORETOLD_BETWEEN = 0.9999
"""Between detents the likeliest hypotheses are foretold that together hold this much."""
MOST_BETWEEN = 64
"""No more of them are."""
LEAST = 1e-6
"""Consequences less likely are left out."""


@dataclass(frozen=True)
class Likely:
    """What a diagnosis foretells.

    Attributes
    ----------
    foretold : tuple of Foretold
        Worst first, within a grade likeliest first; each with its probability.
    not_foretold : float
        Probability of what explains the readings otherwise, of which nothing is foretold in the
        detents.
    not_foretold_between : float
        The same between detents.
    likeliest : Foretelling
        Of the likeliest explanation of the readings, at its likeliest offset.
    explanation : str
        That explanation in words; empty for a part without fault that is in line.
    probability : float
        Of that explanation, at any offset.
    """

    foretold: tuple[Foretold, ...]
    not_foretold: float
    not_foretold_between: float
    likeliest: Foretelling
    explanation: str
    probability: float


def likely(
    vehicle: Vehicle,
    posterior: Posterior,
    read: Sequence[tuple[TravelPlace, SeenByController]] = (),
) -> Likely:
    """Return what a diagnosis foretells.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle's side of the family, with the geometry of the posterior's tables.
    posterior : Posterior
        What is known of the part.
    read : sequence of (TravelPlace, SeenByController)
        What the readings themselves say (`asfound.as_read`).
    """
    hypotheses, left = hypotheses_of(posterior)
    mass = np.stack([one.mass for one in hypotheses])
    in_detents = _Cells(vehicle, posterior, hypotheses).holding()
    between, left_between = _between(vehicle, posterior, hypotheses)
    anywhere = 1.0 - (1.0 - between) * (1.0 - in_detents)
    probability = np.einsum("rho,ho->r", anywhere, mass)
    start = [rule.name for rule in vehicle.rules].index("start-in-gear")
    probability[start] = max(probability[start], weighed(posterior, masses(posterior))[1])
    as_found = {one.rule: one for one in told_of(vehicle, [read], "as read")}
    told = []
    for number, rule in enumerate(vehicle.rules):
        p = float(min(probability[number], 1.0))
        if p >= LEAST or rule in as_found:
            one = as_found.get(rule)
            if one is None:
                share = anywhere[number] * mass
                h, o = np.unravel_index(int(share.argmax()), share.shape)
                one = _as_in(vehicle, posterior, rule, hypotheses[h], int(o))
            told.append(replace(one, probability=p, read=rule in as_found))
    grades = list(Grade)
    # A start in gear stands before all else, however unlikely beside it.
    told.sort(
        key=lambda one: (
            grades.index(one.rule.grade),
            signal_of(one.rule) is not Signal.DANGER,
            -(one.probability or 0.0),
        )
    )
    best = hypotheses[0]
    offset = float(posterior.tables.grid.offsets[int(best.mass.argmax())])
    return Likely(
        tuple(told),
        left,
        left_between,
        foretell(vehicle, offset, best.faults),
        cause_text(offset, best.faults, vehicle.shape.unit),
        best.probability,
    )


def _as_in(
    vehicle: Vehicle, posterior: Posterior, rule: Consequence, hypothesis: Hypothesis, at: int
) -> Foretold:
    """Return a consequence as the hypothesis and offset have it that add most to its probability.

    Where an edge must deviate for it, the nearest offset that brings it about is shown instead:
    for one edge a deviation and an offset are the same.
    """
    grid = posterior.tables.grid
    reach = np.arange(-len(grid.spread), len(grid.spread) + 1)
    steps = reach[np.argsort(np.abs(reach), kind="stable")]
    offsets = np.asarray(grid.offsets[at] + steps * grid.step)
    holds = np.zeros(len(offsets), dtype=np.bool_)
    for turn in by_turns(hypothesis.faults):
        holds |= vehicle.holding(vehicle.travel(turn), offsets).may[vehicle.rules.index(rule)]
    if holds.any():
        found = foretell(vehicle, float(offsets[holds.argmax()]), hypothesis.faults).foretold
        return next(one for one in found if one.rule == rule)
    return Foretold(rule, (), False, sentence_of(vehicle, rule, (), ()), (), loose=False)


class _Cells:
    """Probability of what each cell is, in its detent, by hypothesis and offset."""

    def __init__(
        self, vehicle: Vehicle, posterior: Posterior, hypotheses: Sequence[Hypothesis]
    ) -> None:
        self.vehicle, self.posterior, self.hypotheses = vehicle, posterior, hypotheses
        tables = posterior.tables
        pairs = {same_pair(pair): k for k, pair in enumerate(tables.pairs)}
        self.number = [pairs[same_pair(row.pair)] for row in vehicle.controller.rows]
        edges = tables.bins.edges_ohm
        self.low, self.high = np.append(0.0, edges), np.append(edges, np.inf)
        self.shape = len(hypotheses), len(tables.grid.offsets)
        self.known: dict[tuple[int, int, str], Floats] = {}

    def holding(self) -> Floats:
        """Return the probability that each rule holds in some detent, (rules, hypotheses, offsets).

        Position by position, for the cells of a large chart would not all fit into memory.
        """
        rules, family = self.vehicle.rules, self.vehicle.family
        none = np.ones((len(rules), *self.shape))
        for p, position in enumerate(family.positions):
            self.known.clear()
            reads = self._reads(p)
            for n, rule in enumerate(rules):
                if rule.where is not Where.BETWEEN and applies(rule, family, position):
                    none[n] *= 1.0 - self._holds(rule, p, reads)
        return 1.0 - none

    def _holds(self, rule: Consequence, p: int, reads: Mapping[Read, Floats]) -> Floats:
        share = np.ones(self.shape)
        for wanted, role in ((rule.start, Role.START_PERMIT), (rule.reverse, Role.REVERSE_LAMP)):
            if wanted:
                share = share * self._circuit(role, p, Level(wanted))
        if rule.read:
            family = self.vehicle.family
            matching = [
                probability
                for read, probability in reads.items()
                if names_read(rule, family, read, family.positions[p])
            ]
            share = share * np.minimum(sum(matching, np.zeros(self.shape)), 1.0)
        return share

    def _circuit(self, role: Role, p: int, level: Level) -> Floats:
        """Return the probability that circuits side by side may be on, or off."""
        columns = self.vehicle.controller.columns(role)
        if not columns:
            return np.zeros(self.shape)
        each = [self._may(i, p, level) for i in columns]
        if level is Level.OFF:
            return np.asarray(np.prod(each, axis=0))
        return np.asarray(1.0 - np.prod([1.0 - one for one in each], axis=0))

    def _may(self, i: int, p: int, level: Level) -> Floats:
        """Return the probability that a row may be taken as on, or as off."""
        taken = self._of_level(self.vehicle.controller.circuits[i], level)
        return self._share(i, p, level.value, taken)

    def _of_level(self, circuit: Circuit, level: Level) -> Floats:
        """Return which categories may be taken as on or off; chatter as either."""
        on = self.low < circuit.off_at_least_ohm
        off = self.high > circuit.on_at_most_ohm
        steady = on if level is Level.ON else off
        chattering = on if level is Level.ON else np.ones_like(on)
        return np.concatenate([steady, chattering]).astype(np.float64)

    def _share(self, i: int, p: int, name: str, of_category: Floats) -> Floats:
        """Return the expectation of a value of the categories, (hypotheses, offsets)."""
        key = i, p, name
        if key not in self.known:
            tables, k = self.posterior.tables, self.number[i]
            rows = tables.affected[k][p]
            share = of_part(self.posterior, k, p, of_category)
            of_cause = np.repeat(share[:1], len(tables.causes), axis=0)
            of_cause[rows] = share
            # No charted cell is touched by both faults of a pair.
            self.known[key] = np.stack(
                [
                    of_cause[list(h.causes)].sum(axis=0) - (len(h.causes) - 1) * share[0]
                    for h in self.hypotheses
                ]
            )
        return self.known[key]

    def _reads(self, p: int) -> Mapping[Read, Floats]:
        """Return the probability that the controller may read each thing in a position."""
        controller = self.vehicle.controller
        reads = self._words(p) if controller.columns(Role.RANGE_BIT) else None
        for i in controller.columns(Role.RANGE_LEVEL):
            level = self._level(i, p)
            reads = level if reads is None else _agreeing(reads, level)
        return reads or {}

    def _words(self, p: int) -> dict[Read, Floats]:
        controller = self.vehicle.controller
        columns = controller.columns(Role.RANGE_BIT)
        on = [self._may(i, p, Level.ON) for i in columns]
        off = [self._may(i, p, Level.OFF) for i in columns]
        known = {word: Read(ReadKind.RANGE, at) for word, at in controller.words.items()}
        code = controller.family.code
        # In one order, so that a proof replays to the last digit.
        transit = sorted(code.transit) if code else []
        known |= {word: Read(ReadKind.TRANSIT) for word in transit if word not in known}
        found: dict[Read, Floats] = {}
        valid = np.zeros_like(on[0])
        for word, read in known.items():
            may, must = np.ones_like(valid), np.ones_like(valid)
            for b, wanted in enumerate(word):
                if wanted != "x":
                    is_it, is_not = (on[b], off[b]) if wanted == "1" else (off[b], on[b])
                    may, must = may * is_it, must * (1.0 - is_not)
            found[read] = found[read] + may if read in found else may
            valid = valid + must
        found[Read(ReadKind.NONE)] = np.clip(1.0 - valid, 0.0, 1.0)
        return found

    def _level(self, i: int, p: int) -> dict[Read, Floats]:
        """Return the same of a range level; every bin is wholly in a position's bounds or out."""
        row, bins = self.vehicle.controller.rows[i], len(self.low)
        inside = np.append((self.low[:-1] + self.high[:-1]) / 2.0, np.inf)
        kinds: dict[Read, Floats] = {}
        for b, ohm in enumerate(inside.tolist()):
            read = self.vehicle.controller.decode_level(row, ohm)
            kinds.setdefault(read, np.zeros(2 * bins))[[b, bins + b]] = 1.0
        # A chattering contact is open by turns.
        kinds.setdefault(Read(ReadKind.HIGH), np.zeros(2 * bins))[bins:] = 1.0
        return {read: self._share(i, p, f"{read}", mask) for read, mask in kinds.items()}


def _agreeing(first: Mapping[Read, Floats], second: Mapping[Read, Floats]) -> dict[Read, Floats]:
    """Return what two ways of telling the range come to: a range only where they agree."""
    found: dict[Read, Floats] = {}
    for a, pa in first.items():
        for b, pb in second.items():
            shared = tuple(p for p in a.positions if p in b.positions)
            if shared:
                read = Read(ReadKind.RANGE, shared)
            else:
                wrong = [one for one in (a, b) if one.kind is not ReadKind.RANGE]
                read = wrong[0] if wrong else Read(ReadKind.NONE)
            found[read] = found[read] + pa * pb if read in found else pa * pb
    return found


def _between(
    vehicle: Vehicle, posterior: Posterior, hypotheses: Sequence[Hypothesis]
) -> tuple[Floats, float]:
    """Return the probability that each rule holds between detents, and how much is left out.

    Shape (rules, hypotheses, offsets).
    """
    grid = posterior.tables.grid
    reach = len(grid.spread) // 2
    steps = np.arange(-(len(grid.offsets) // 2) - reach, len(grid.offsets) // 2 + reach + 1)
    wide = np.asarray(steps * grid.step, dtype=np.float64)
    found = np.zeros((len(vehicle.rules), len(hypotheses), len(grid.offsets)))
    left = 1.0
    known: dict[object, Floats] = {}
    for number, one in enumerate(hypotheses):
        if 1.0 - left >= FORETOLD_BETWEEN or number >= MOST_BETWEEN:
            break
        left -= one.probability
        if one.faults not in known:
            holds = _holds_between(vehicle, one, wide, grid.step)
            known[one.faults] = np.stack([np.convolve(h, grid.spread, "valid") for h in holds])
        found[:, number] = known[one.faults]
    return found, max(left, 0.0)


def _holds_between(
    vehicle: Vehicle, hypothesis: Hypothesis, offsets: Floats, step: float
) -> Floats:
    """Return the share of each step of offset at which each rule may hold between detents.

    Edges often lie on the grid itself, so a step is looked at on either side of its middle.
    Shape (rules, offsets).
    """
    share = np.zeros((len(vehicle.rules), len(offsets)))
    travels = [vehicle.travel(turn) for turn in by_turns(hypothesis.faults)]
    for aside in (-step / 4.0, step / 4.0):
        held = [vehicle.holding(travel, offsets + aside).between[0] for travel in travels]
        share += np.any(held, axis=0).any(axis=1) / 2.0
    return share
