"""The forecast against every hypothesis, offset and deviation spelt out one by one."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import log2

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import hazard, verdict_masses
from benchproof.diagnose.layout import layout_of
from benchproof.diagnose.posterior import Observed, as_written, masses, prior_of, tell
from benchproof.diagnose.tables import HOOK_UP_KINDS, Tables
from benchproof.diagnose.verdict import VERDICT_OF_KIND, PartVerdict
from benchproof.family.model import pair_text
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import PartFault
from benchproof.network.resistance import Floats, Ints
from benchproof.plan.forecast import forecast
from benchproof.plan.gain import gains_of

VERDICTS = list(PartVerdict)
LEANS = [0, -1, 1]

OPEN, OHMS, HIGH = 5, 3, 1

TOLD: dict[str, list[tuple[int, int, int, int]]] = {
    "nothing told": [],
    "a hazard cell twice": [(2, 1, 0, OPEN), (2, 1, 0, OPEN)],
    "start permit closed in gear": [(2, 1, 0, 0), (2, 1, 1, 0), (2, 0, 0, 0)],
    "across two contacts": [(3, 0, 0, OPEN), (3, 2, 0, OHMS), (3, 2, 1, OHMS), (3, 0, 0, HIGH)],
    "leans and contradictions": [
        *((0, 1, -1, OPEN), (0, 1, 0, 0), (1, 2, 0, OPEN), (1, 2, 1, OHMS), (0, 0, 0, OPEN)),
    ],
    "two rows that never conduct": [
        *((0, 0, 0, OPEN), (0, 0, 0, OPEN), (2, 0, 0, OPEN), (2, 2, 0, OPEN), (4, 0, 0, OPEN)),
        *((5, 0, 0, 0), (5, 0, 1, 0)),
    ],
    "every cell": [(k, p, 0, 0 if k == p else OPEN) for k in range(6) for p in range(3)],
}


@dataclass(frozen=True)
class Hypothesis:
    """One or two faults, or none, with the prior of them and the verdict they ask for."""

    causes: tuple[int, ...]
    prior: float
    verdict: PartVerdict | None
    plays: bool


def hypotheses(tables: Tables) -> list[Hypothesis]:
    found = []
    odds = np.exp(tables.log_cause - tables.log_cause[0])
    none = float(np.exp(tables.log_cause[0]))
    for number, cause in enumerate(tables.causes):
        verdict = None if cause is None else VERDICT_OF_KIND.get(cause.kind, PartVerdict.REPAIR)
        plays = cause is not None and cause.kind is PartFault.DETENT_PLAY
        found.append(Hypothesis((number,), none * float(odds[number]), verdict, plays))
    for i, j in combinations(range(len(tables.causes)), 2):
        if tables.twofold.allows(i, j):
            prior = none * float(odds[i] * odds[j])
            found.append(Hypothesis((i, j), prior, PartVerdict.REPAIR, plays=False))
    return found


@dataclass(frozen=True)
class Own:
    """One way for a cell itself to be wrong.

    Its weight with the readings told, what a further reading of it shows, whether it meets the
    chart, and whether it is safe.
    """

    weight: float
    row: Floats
    good: bool
    safe: bool


class BruteForce:
    """The probability of every verdict and outcome, summed over everything one by one."""

    def __init__(self, tables: Tables, told: Sequence[Observed]) -> None:
        self.tables, self.told = tables, told
        self.known: dict[tuple[bytes, int, bool, bool], Floats] = {}
        grid = tables.grid
        self.first = grid.start(0) + np.arange(len(grid.offsets))[:, None]
        self.angles = self.first + np.arange(len(grid.spread))
        latents, bins = tables.latents, tables.bins.count
        # Every reading is a visit of its own, and may be one at a wrong place.
        r, wrong = latents.misread, latents.elsewhere @ tables.channel[:bins]
        self.visited = (1.0 - r) * tables.channel + r * wrong
        self.cells = list(product(range(len(tables.pairs)), range(len(tables.family.positions))))
        self.there = {
            (k, p): [tables.cells.there(n, k, p).astype(np.intp) for n in range(len(tables.causes))]
            for k, p in self.cells
        }
        leans = len(LEANS)
        shape = leans, len(tables.pairs), len(tables.family.positions), len(VERDICTS), bins
        self.joint = np.zeros(shape)
        self.unsafe = np.zeros((*shape[:3], bins))
        for hypothesis in hypotheses(tables):
            self.add(hypothesis)
        usual = [float(tables.usual @ one.seen) for one in told]
        unexplained = float(np.exp(tables.log_unexplained)) * float(np.prod(usual))
        self.joint[..., VERDICTS.index(PartVerdict.UNEXPLAINED), :] = unexplained * tables.usual
        total = self.joint[0, 0, 0].sum()
        self.joint /= total
        self.unsafe /= total

    def category(self, causes: tuple[int, ...], k: int, p: int) -> Ints:
        """Return what is there at each angle."""
        each = self.there[k, p]
        bins = self.tables.bins.count
        if len(causes) == 1:
            alone: Ints = each[causes[0]]
            return alone
        found = []
        for healthy, a, b in zip(each[0], each[causes[0]], each[causes[1]], strict=True):
            if healthy in (a, b):
                found.append(b if a == healthy else a)
            else:
                # As bad as the worse of the two by their likeliest bin; of a mixture, all of it.
                main = [int(self.tables.parts[c].argmax()) % bins for c in (a, b)]
                worse = int(b if main[1] > main[0] else a)
                chatters = bins <= a < 2 * bins or bins <= b < 2 * bins
                found.append(worse + bins * (chatters and worse < bins))
        return np.array(found)

    def shown(self, hypothesis: Hypothesis, k: int, p: int, lean: int) -> Floats:
        """Return the probability of each bin by offset, deviation and bin, the cell being sound."""
        grid = self.tables.grid
        category = self.category(hypothesis.causes, k, p)
        moves = {0: 1.0}
        spreads = [grid.play_spread] * hypothesis.plays + [grid.lean_spread] * bool(lean)
        for spread in spreads:
            wider: dict[int, float] = {}
            for move, chance in moves.items():
                for step, share in enumerate(spread, start=-(len(spread) // 2)):
                    wider[move + step] = wider.get(move + step, 0.0) + chance * float(share)
            moves = wider
        steps = int(grid.lean_steps[p, (lean + 1) // 2]) if lean else 0
        key = category.tobytes(), steps, bool(lean), hypothesis.plays
        if key not in self.known:
            found = np.zeros((*self.angles.shape, self.tables.bins.count))
            for move, chance in moves.items():
                found += chance * self.visited[category[self.angles + steps + move]]
            self.known[key] = found
        return self.known[key]

    def sound(self, hypothesis: Hypothesis, k: int, p: int) -> Floats:
        """Return how likely the cell is sound and reads as told, by offset, deviation and bin.

        The bin is of the pure categories; a mixture has one, the same at each reading in the
        detent, while a lean and a reading with play draw their own.
        """
        tables, grid = self.tables, self.tables.grid
        rate = 1.0 - tables.latents.local[k, p] - tables.latents.wandering[k, p]
        here = np.broadcast_to(rate * grid.spread, self.angles.shape)
        category = self.category(hypothesis.causes, k, p)
        there: Floats = tables.parts[category[self.angles]]
        for one in self.told:
            if (one.pair, one.position) == (k, p):
                if one.lean or hypothesis.plays:
                    here = here * (self.shown(hypothesis, k, p, one.lean) @ one.seen)
                else:
                    there = there * (self.visited[: there.shape[-1]] @ one.seen)
        return here[..., None] * there

    def of_part(self, hypothesis: Hypothesis, k: int, p: int) -> Ints:
        """Return what is there of the part itself, no matter the hook-up."""
        cause = self.tables.causes[hypothesis.causes[0]]
        held = cause is not None and cause.kind in HOOK_UP_KINDS
        return self.category((0,) if held else hypothesis.causes, k, p)

    def own(self, k: int, p: int) -> list[Own]:
        """Return the ways for the cell itself to be wrong, with the readings told: all its bins."""
        tables, latents = self.tables, self.tables.latents
        told = [one for one in self.told if (one.pair, one.position) == (k, p)]
        ways = []
        for b, share in enumerate(latents.defect.tolist()):
            row = self.visited[b]
            weight = float(latents.local[k, p]) * share
            weight *= float(np.prod([row @ one.seen for one in told]))
            good = k >= tables.charted or bool(tables.good[k, p, b])
            ways.append(Own(weight, row, good, safe=not told or not tables.conducting[b]))
        row = latents.wander @ self.visited[: tables.bins.count]
        weight = float(latents.wandering[k, p]) * float(np.prod([row @ one.seen for one in told]))
        conducts = any(
            one.seen[tables.conducting[: len(one.seen)]].any() for one in told if not one.lean
        )
        ways.append(Own(weight, row, good=k >= tables.charted, safe=not conducts))
        return ways

    def add(self, hypothesis: Hypothesis) -> None:
        """Add what one hypothesis makes likely."""
        tables, grid = self.tables, self.tables.grid
        everything, good, sound, safe = {}, {}, {}, {}
        cause = tables.causes[hypothesis.causes[0]]
        held = cause is not None and cause.kind in HOOK_UP_KINDS
        for k, p in self.cells:
            here = self.sound(hypothesis, k, p)
            ways = self.own(k, p)
            fine = [way for way in ways if way.good]
            everything[k, p] = safe[k, p] = here, ways
            good[k, p] = sound[k, p] = here, fine
            if k < tables.charted:
                good[k, p] = here * tables.good[k, p], fine
                if tables.hazard[k, p]:
                    # Of how it is held, the part itself is that without fault.
                    open_: Floats = (~tables.conducting).astype(np.float64)
                    if held:
                        part = self.of_part(hypothesis, k, p)[self.angles]
                        open_ = (tables.parts[part] @ open_)[..., None]
                    safe[k, p] = here * open_, [way for way in ways if way.safe]
        prior = hypothesis.prior * np.exp(grid.log_offset)
        whole = self.outcomes(hypothesis, everything, prior)
        self.unsafe += whole - self.outcomes(hypothesis, safe, prior)
        if hypothesis.verdict is not None:
            self.joint[..., VERDICTS.index(hypothesis.verdict), :] += whole
            return
        accept = self.outcomes(hypothesis, good, prior)
        fit = self.outcomes(hypothesis, sound, prior)
        self.joint[..., VERDICTS.index(PartVerdict.ACCEPT), :] += accept
        self.joint[..., VERDICTS.index(PartVerdict.REALIGN), :] += fit - accept
        self.joint[..., VERDICTS.index(PartVerdict.REPAIR), :] += whole - fit

    def outcomes(
        self,
        hypothesis: Hypothesis,
        weight: dict[tuple[int, int], tuple[Floats, list[Own]]],
        prior: Floats,
    ) -> Floats:
        """Return the probability of each bin for every lean, pair and position."""
        found = np.zeros_like(self.unsafe)
        summed = {
            cell: here.sum(axis=(1, 2)) + sum(way.weight for way in ways)
            for cell, (here, ways) in weight.items()
        }
        for cell in self.cells:
            others = prior.copy()
            for other in self.cells:
                if other != cell:
                    others = others * summed[other]
            here = others[:, None, None] * weight[cell][0]
            own = sum((way.weight * way.row for way in weight[cell][1]), np.zeros(found.shape[-1]))
            for number, lean in enumerate(LEANS):
                if lean or hypothesis.plays:
                    shown = self.shown(hypothesis, *cell, lean)
                    seen = np.tensordot(here.sum(axis=-1), shown, axes=2)
                else:
                    seen = here.sum(axis=(0, 1)) @ self.visited[: here.shape[-1]]
                found[number, cell[0], cell[1]] = seen
                found[number, cell[0], cell[1]] += others.sum() * own
        return found


def entropy(shares: Sequence[float]) -> float:
    return -sum(share * log2(share) for share in shares if share > 0.0)


def readings(tables: Tables, name: str) -> list[Observed]:
    return [Observed(k, p, lean, np.eye(tables.bins.count)[b]) for k, p, lean, b in TOLD[name]]


@pytest.mark.parametrize("name", TOLD)
def test_the_forecast_is_brute_force_to_1e_9(small: Tables, name: str) -> None:
    told = readings(small, name)
    posterior = tell(prior_of(small), told)
    found = forecast(posterior, as_written(posterior))
    exact = BruteForce(small, told)
    assert np.abs(found.joint - exact.joint).max() < 1e-9
    assert np.abs(found.unsafe - exact.unsafe).max() < 1e-9
    gains = gains_of(found)
    for lean, k, p in product(range(3), range(len(small.pairs)), range(3)):
        cell = exact.joint[lean, k, p]
        expected = entropy(cell.sum(axis=1).tolist()) + entropy(cell.sum(axis=0).tolist())
        expected -= entropy(cell.ravel().tolist())
        assert gains.gain_bit[lean, k, p] == pytest.approx(expected, abs=1e-9)


def test_the_small_family_has_what_can_go_wrong_here(small: Tables) -> None:
    assert small.charted == 3
    assert [pair_text(pair) for pair in small.pairs[3:]] == ["A-B", "C-E", "F-E"]
    assert small.hazard.sum() == 2
    assert len(layout_of(small).first) > 0
    assert small.bins.word(OPEN) == "open"
    assert small.bins.word(OHMS) == "90 ohm to 110 ohm"
    kinds = {cause.kind for cause in small.causes if cause is not None}
    assert {ContactFault.STUCK, PartFault.DETENT_PLAY, PartFault.PINS_SWAPPED} <= kinds


@pytest.mark.parametrize("name", TOLD)
def test_the_forecast_agrees_with_the_diagnosis(small: Tables, name: str) -> None:
    posterior = tell(prior_of(small), readings(small, name))
    mass = masses(posterior)
    found = forecast(posterior, mass)
    verdicts = list(verdict_masses(posterior, mass).values())
    assert np.abs(found.joint.sum(axis=-1) - verdicts).max() < 1e-12
    assert np.abs(found.unsafe.sum(axis=-1) - hazard(posterior, mass)).max() < 1e-12


def test_the_forecast_of_a_shipped_family_agrees_with_the_diagnosis(orchard: Tables) -> None:
    there = orchard.healthy[:, :, orchard.grid.half]
    told = [
        Observed(k, p, 0, np.eye(orchard.bins.count)[there[k, p]])
        for k, p in [(0, 0), (7, 1), (7, 1), (12, 2), (20, 0), (8, 1)]
    ]
    posterior = tell(prior_of(orchard), told)
    mass = masses(posterior)
    found = forecast(posterior, mass)
    verdicts = list(verdict_masses(posterior, mass).values())
    assert np.abs(found.joint.sum(axis=-1) - verdicts).max() < 1e-12
    assert np.abs(found.unsafe.sum(axis=-1) - hazard(posterior, mass)).max() < 1e-12
