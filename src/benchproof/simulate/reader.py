"""A person with a meter and a part: readings with their noise and their slips."""

from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables
from benchproof.family.expectation import Kind
from benchproof.family.model import Family, same_pair
from benchproof.network.faults import PartFault, faulty
from benchproof.network.geometry import mean_gap
from benchproof.network.resistance import Floats
from benchproof.reading.ideal import shown
from benchproof.reading.meter import Meter, estimate
from benchproof.reading.value import BUZZER_OHM, Mark, Measured, Reading, Value
from benchproof.simulate.part import SimulatedPart, cut_normal, ohms_at


@dataclass(frozen=True)
class Habits:
    """How a person reads.

    `marks` is how often a continuity mark is noted in place of a number where either would do: in
    pairs that the chart wants closed or open, never where it wants ohms, nor where a start permit
    must be open: a buzzer is silent above some tens of ohms, so ohms or over-range are asked for.
    """

    marks: float = 0.2


class Reader:
    """Reads one part, with the errors that the priors tell of.

    Parameters
    ----------
    part : SimulatedPart
        The part.
    tables : Tables
        Its family's hypotheses: pairs, bins, leans.
    meter : Meter
        What it is read with.
    rng : numpy Generator
        Where all chance comes from.
    priors : Priors
        Rates of slips and the like; may differ from those of the tables.
    habits : Habits
        How the person reads.
    """

    def __init__(
        self,
        part: SimulatedPart,
        tables: Tables,
        meter: Meter,
        rng: np.random.Generator,
        priors: Priors,
        habits: Habits = Habits(),
    ) -> None:
        self._part, self._tables, self._meter = part, tables, meter
        self._rng, self._priors, self._habits = rng, priors, habits
        self._buzzes = {
            same_pair(row.pair)
            for row in tables.family.chart
            if all(expectation.kind in (Kind.CLOSED, Kind.OPEN) for expectation in row.expect)
        }
        self._detents = np.asarray(part.family.detents_deg)
        self._mean_gap = mean_gap(part.shape)
        self._caught_open = self._with_contact_caught_open()
        self._steady = self._in_detents(part.family)
        self._chatters = any(fault.by_turns for fault in part.faults)
        self._opened = self._in_detents(self._caught_open) if self._chatters else self._steady

    def read(self, k: int, p: int, lean: int = 0) -> Reading:
        """Return a reading of pair number k in position number p, leaning -1, 0 or 1."""
        tables, rng, priors = self._tables, self._rng, self._priors
        positions = tables.family.positions
        toward = positions[p + lean] if lean else ""
        ohm = self._ohm(k, p, lean)
        wrong = rng.random()
        if wrong < priors.slip_rate:
            ohm = float("inf")
        elif wrong < priors.slip_rate + priors.other_cell_rate:
            other = int(rng.integers(tables.charted)), int(rng.integers(len(positions)))
            ohm = self._ohm(*other, 0)
        elif wrong < priors.slip_rate + priors.other_cell_rate + priors.wrong_key_rate:
            ohm = self._typical(int(rng.integers(tables.bins.count)))
        pair = tables.pairs[k]
        must_be_open = k < tables.charted and bool(tables.hazard[k, p])
        buzzes = same_pair(pair) in self._buzzes and not must_be_open
        value = self._noted(ohm, buzzes=buzzes)
        return Reading(positions[p], pair, value, lean=toward)

    def _ohm(self, k: int, p: int, lean: int) -> float:
        """Return the ohms that stand between the probes."""
        part, rng, priors = self._part, self._rng, self._priors
        if not part.explained:
            usual = self._tables.usual
            return self._typical(int(rng.choice(len(usual), p=usual)))
        caught = self._chatters and rng.random() < priors.chatter_open
        play = part.has(PartFault.DETENT_PLAY)
        if not lean and not play:
            return float((self._opened if caught else self._steady)[p, k])
        angle = self._detents[p] + part.offset
        if lean:
            grid = self._tables.grid
            sd = priors.lean_sd_gaps * self._mean_gap
            angle += grid.lean_steps[p, (lean + 1) // 2] * grid.step + cut_normal(rng, sd)
        if play:
            angle += cut_normal(rng, priors.play_gaps * self._mean_gap)
        family = self._caught_open if caught else part.family
        return float(ohms_at(family, [self._tables.pairs[k]], np.array([angle]))[0, 0])

    def _in_detents(self, family: Family) -> Floats:
        """Return the ohms of every pair in every detent, shape (positions, pairs)."""
        return ohms_at(family, self._tables.pairs, self._detents + self._part.offset)

    def _with_contact_caught_open(self) -> Family:
        """Return the part's network at a moment when its chattering contacts are open."""
        family = self._part.family
        for fault in filter(None, (fault.by_turns for fault in self._part.faults)):
            family = faulty(family, fault)
        return family

    def _typical(self, number: int) -> float:
        """Return a resistance in the middle of a bin, ohms."""
        edges = self._tables.bins.edges_ohm
        if number == 0:
            return float(edges[0]) / 10.0
        if number == len(edges):
            return float("inf")
        return float(np.sqrt(edges[number - 1] * edges[number]))

    def _noted(self, ohm: float, *, buzzes: bool) -> Value:
        """Return what the person notes of a resistance: a number or a mark."""
        rng, meter = self._rng, self._meter
        plain = ohm <= BUZZER_OHM / 10.0 or ohm > meter.top_ohm
        if buzzes and plain and rng.random() < self._habits.marks:
            return Mark.OPEN if ohm > meter.top_ohm else Mark.CLOSED
        exact = shown(ohm, meter)
        if not isinstance(exact, Measured):
            return exact
        # The specification's limits are taken as rectangular, so the error is drawn from them.
        u_ohm = estimate(exact, meter).u_ohm
        error = rng.uniform(-1.0, 1.0) * u_ohm * np.sqrt(3.0)
        return shown(max(ohm + float(error), 0.0), meter)
