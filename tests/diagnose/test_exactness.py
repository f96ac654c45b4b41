"""The posterior against brute force by a general library for Bayesian networks, pyAgrum.

The reference shares no table with the diagnosis: it solves the network of each hypothesis itself,
takes the rates from the priors, and leaves all sums to the library's exact inference.
"""

import warnings
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import msgspec
import numpy as np
import pytest
from scipy.special import logsumexp

from benchproof.diagnose.diagnosis import verdict_masses
from benchproof.diagnose.posterior import Observed, as_written, masses, observe, prior_of, tell
from benchproof.diagnose.priors import Priors
from benchproof.diagnose.sheets import every_mistake
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.model import pair_text
from benchproof.network.branches.base import States
from benchproof.network.branches.contact import ContactFault
from benchproof.network.branches.resistor import ResistorFault
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats, Ints
from benchproof.network.states import pair_ohms
from benchproof.reading.meter import Meter, Range
from benchproof.reading.value import Reading, parse_value
from benchproof.shipped.read import shipped_priors

with warnings.catch_warnings():
    # Its extension module warns of its own make when it is loaded.
    warnings.simplefilter("ignore")
    import pyagrum as gum

METER = Meter("invented", (Range(4e7, 0.1, 1.0, 3.0),))
CHART = b"pins,P,R,N\nA-E,closed,open,closed\nB-E,open,closed,100 ohm\nstart permit,none\n"


def coarse_priors() -> Priors:
    """Return priors with a grid small enough for brute force."""
    return msgspec.structs.replace(
        shipped_priors("invented"),
        aligned_sd_gaps=0.06,
        misaligned_sd_gaps=0.12,
        edge_sd_gaps=0.2,
        play_gaps=0.1,
        contact_high_ohm=(40.0,),
        leak_ohm=(20.0,),
        bridged_ohm=(20.0,),
        resistor_factor=(0.6,),
        misaligned_rate=0.4,
    )


READINGS = (
    ("P", "A-E", "0.1", ""),
    ("P", "B-E", "OL", ""),
    ("R", "A-E", "OL", ""),
    ("R", "B-E", "OL", ""),
    ("R", "B-E", "0.2", ""),
    ("R", "B-E", "0.1", "N"),
    ("N", "A-E", "closed", ""),
    ("N", "B-E", "112", ""),
)


def readings(count: int) -> list[Reading]:
    return [
        Reading(position, (pair[0], pair[2]), parse_value(text), lean=lean)
        for position, pair, text, lean in READINGS[:count]
    ]


class Reference:
    """The same hypotheses, spelt out for the library."""

    def __init__(self, tables: Tables, priors: Priors) -> None:
        self.tables, self.priors = tables, priors
        singles = [cause for cause in tables.causes if cause is not None]
        pairs = [
            (tables.causes[i], tables.causes[j])
            for i, j in combinations(range(len(tables.causes)), 2)
            if tables.twofold.allows(i, j)
        ]
        self.hypotheses: list[tuple[Fault, ...]] = [(), *((fault,) for fault in singles)]
        self.hypotheses += [(a, b) for a, b in pairs if a is not None and b is not None]
        odds = np.array([np.prod([self.odds(f, singles) for f in h]) for h in self.hypotheses])
        known = odds / odds.sum() * (1.0 - priors.not_explained_rate)
        self.prior = np.append(known, priors.not_explained_rate)

    def odds(self, fault: Fault, singles: Sequence[Fault]) -> float:
        """Return a fault's odds, straight from the priors."""
        of, name = fault.kind.split()[0], fault.kind.name
        name = name if isinstance(fault.kind, PartFault) else f"{of}_{name}"
        rate = float(getattr(self.priors, f"{name.lower()}_rate"))
        whole = {
            PartFault.LEAK, PartFault.BRIDGED, PartFault.PINS_SWAPPED, PartFault.LEVER_OFF,
        }  # fmt: skip
        if fault.kind in whole:
            rate /= sum(other.kind is fault.kind for other in singles)
        return rate / (1.0 - rate)

    def shown(
        self, hypothesis: Sequence[Fault], one: Observed, angles: Floats, *, there: bool
    ) -> Floats:
        """Return the probability of each bin at angles off the detent, shape (angles, bins).

        A bridge in some positions is either there or not.
        """
        hypothesis = [f for f in hypothesis if there or f.kind is not PartFault.BRIDGED]
        tables = self.tables
        family = tables.family
        assert family.detents_deg is not None
        for fault in hypothesis:
            family = faulty(family, fault)
        assert family.detents_deg is not None
        pair = [tables.pairs[one.pair]]
        at = States(np.zeros(len(angles), dtype=np.intp), family.detents_deg[one.position] + angles)
        steady = tables.bins.of(pair_ohms(family, pair, at)[:, 0])
        clean = tables.channel[: tables.bins.count]
        result = clean[steady].copy()
        for fault in hypothesis:
            if fault.kind is ContactFault.CHATTERS:
                opened = faulty(family, replace(fault, kind=ContactFault.OPEN))
                caught = tables.bins.of(pair_ohms(opened, pair, at)[:, 0])
                moved = caught != steady
                share = self.priors.chatter_open
                result[moved] = (1 - share) * clean[steady[moved]] + share * clean[-1]
        return result

    def states(self) -> Floats:
        """Return the prior of a cell being sound, defective in each bin, and wandering."""
        local, wandering = self.priors.local_defect_rate, self.priors.wandering_rate
        defect, _ = self.own()
        return np.array([1.0 - local - wandering, *(local * defect), wandering])

    def own(self) -> tuple[Floats, Floats]:
        """Return the share of each bin in a defect and in a wandering cell, from the logs."""
        edges = [0.05, *self.tables.bins.edges_ohm, 1e5]
        width = np.diff(np.log(edges)) / np.log(1e5 / 0.05)
        last = np.arange(len(width)) == len(width) - 1
        return 0.8 * width + 0.2 * last, 0.65 * width + 0.35 * last

    def elsewhere(self) -> Floats:
        """Return how often each bin stands in the chart: what a visit at a wrong place reads."""
        tables = self.tables
        chart = [
            np.flatnonzero(tables.good[k, p, : tables.bins.count])[0]
            for k in range(tables.charted)
            for p in range(len(tables.family.positions))
        ]
        return np.bincount(chart, minlength=tables.bins.count) / len(chart)

    def infer(self, observed: Sequence[Observed]) -> Floats:
        """Return the posterior by hypothesis and offset."""
        engine = self._engine(observed)
        engine.addJointTarget({"hypothesis", "offset"})
        engine.makeInference()
        joint = engine.jointPosterior({"hypothesis", "offset"})
        # The last axis is the first name.
        array = np.asarray(joint.toarray(), dtype=np.float64)
        return array if joint.names[0] == "offset" else array.T

    def log_evidence(self, observed: Sequence[Observed], *, explained: bool = False) -> float:
        """Return the log probability of readings; together with any explanation, if asked."""
        engine = self._engine(observed)
        engine.makeInference()
        found = float(np.log(engine.evidenceProbability()))
        if explained:
            found += float(np.log1p(-engine.posterior("hypothesis")[len(self.prior) - 1]))
        return found

    def _engine(self, observed: Sequence[Observed]) -> gum.LazyPropagation:
        grid = self.tables.grid
        net = gum.BayesNet()
        net.add(gum.LabelizedVariable("hypothesis", "", len(self.prior)))
        net.add(gum.LabelizedVariable("offset", "", len(grid.offsets)))
        net.cpt("hypothesis").fillWith(self.prior.tolist())
        net.cpt("offset").fillWith(np.exp(grid.log_offset).tolist())
        evidence: dict[str, list[float]] = {}
        for number, one in enumerate(observed):
            cell = f"cell {one.pair} {one.position}"
            if cell not in net.names():
                net.add(gum.LabelizedVariable(cell, "", len(grid.spread)))
                net.cpt(cell).fillWith(grid.spread.tolist())
                states = self.states()
                net.add(gum.LabelizedVariable(f"state of {cell}", "", len(states)))
                net.cpt(f"state of {cell}").fillWith(states.tolist())
                net.add(gum.LabelizedVariable(f"bridge of {cell}", "", 2))
                net.cpt(f"bridge of {cell}").fillWith([0.5, 0.5])
            self._add_reading(net, f"reading {number}", cell, one)
            evidence[f"reading {number}"] = one.seen.tolist()
        engine = gum.LazyPropagation(net)
        engine.setEvidence(evidence)
        return engine

    def _add_reading(self, net: gum.BayesNet, name: str, cell: str, one: Observed) -> None:
        tables, grid = self.tables, self.tables.grid
        x, d = grid.offsets / grid.step, np.arange(len(grid.spread)) - len(grid.spread) // 2
        steps: Ints = np.zeros(1, dtype=np.intp)
        own: Floats = np.ones(1)
        lean = 0
        if one.lean:
            lean = int(grid.lean_steps[one.position, (one.lean + 1) // 2])
            own = grid.lean_spread
            steps = np.arange(len(own)) - len(own) // 2
        play = grid.play_spread
        play_steps = np.arange(len(play)) - len(play) // 2
        clean = tables.channel[: tables.bins.count]
        defect, wander = self.own()
        states = len(defect) + 2
        table = np.empty((len(self.prior), len(x), len(d), states, 2, tables.bins.count))
        table[:, :, :, 1:-1] = clean[:, None]
        table[:, :, :, -1] = wander @ clean
        for number, hypothesis in enumerate(self.hypotheses):
            loose = any(fault.kind is PartFault.DETENT_PLAY for fault in hypothesis)
            moves = (steps[:, None] + play_steps).ravel() if loose else steps
            chances = (own[:, None] * play).ravel() if loose else own
            at = x[:, None, None] + d[:, None] + lean + moves
            for there in (False, True):
                shown = self.shown(hypothesis, one, at.ravel() * grid.step, there=there)
                table[number, :, :, 0, int(there)] = np.einsum(
                    "xdmb,m->xdb", shown.reshape(*at.shape, -1), chances, optimize=True
                )
        if one.lean:
            # A lean may leave the bridge, so it is there or not by itself.
            table[:, :, :, 0] = table[:, :, :, 0].mean(axis=3, keepdims=True)
        r = self.priors.misread_visit_rate
        net.add(gum.LabelizedVariable(name, "", tables.bins.count))
        parents = [f"bridge of {cell}", f"state of {cell}", cell, "offset", "hypothesis"]
        if one.visit and not one.lean:
            # Right, or at a wrong place with one of the bins there.
            visit = f"visit {one.visit} of {cell}"
            if visit not in net.names():
                net.add(gum.LabelizedVariable(visit, "", 1 + tables.bins.count))
                net.cpt(visit).fillWith([1.0 - r, *(r * self.elsewhere())])
            parents = [visit, *parents]
            every = np.broadcast_to(clean, (*table.shape[:-1], *clean.shape))
            table = np.concatenate([table[..., None, :], every], axis=-2)
        else:
            table = (1.0 - r) * table + r * (self.elsewhere() @ clean)
        table[-1] = tables.usual
        for parent in parents:
            net.addArc(parent, name)
        names = (name, *parents)
        assert tuple(net.cpt(name).names) == names
        net.cpt(name)[:] = np.ascontiguousarray(table)


@pytest.fixture(scope="module")
def small() -> tuple[Tables, Reference]:
    priors = coarse_priors()
    tables = tables_of(read_family(CHART, "small.csv"), priors)
    return tables, Reference(tables, priors)


@pytest.mark.parametrize("count", [0, 1, 3, 5, 6, 8])
def test_the_posterior_is_brute_force_to_1e_9(small: tuple[Tables, Reference], count: int) -> None:
    tables, reference = small
    observed = observe(tables, readings(count), METER)
    assert len(observed) == count
    posterior = tell(prior_of(tables), observed)
    found = masses(posterior)
    exact = reference.infer(observed)
    assert exact.shape == (len(reference.prior), len(tables.grid.offsets))
    singles = exact[: len(tables.causes)]
    assert np.abs(found.single - singles).max() < 1e-9
    twofold = exact[len(tables.causes) : -1].sum(axis=0)
    assert np.abs(0.5 * found.twofold.sum(axis=0) - twofold).max() < 1e-9
    assert abs(found.unexplained - exact[-1].sum()) < 1e-9


@pytest.fixture(scope="module")
def apart() -> tuple[Tables, Reference]:
    """Two contacts of pins of their own: no charted pair tells two open ones from a swap."""
    chart = b"pins,P,R,N\nA-E,closed,open,closed\nG-H,open,closed,open\nstart permit,none\n"
    priors = coarse_priors()
    tables = tables_of(read_family(chart, "apart.csv"), priors)
    return tables, Reference(tables, priors)


@pytest.mark.parametrize(
    ("crossed", "least", "most"), [("", 0.5, 2.0), ("OL", 0.0, 0.9), ("0.2", 20.0, np.inf)]
)
def test_two_open_contacts_and_two_pins_swapped_are_brute_force_to_1e_9(
    apart: tuple[Tables, Reference], crossed: str, least: float, most: float
) -> None:
    """Two rows that never conduct may be either; only a pair off the chart tells which."""
    tables, reference = apart
    assert [pair_text(pair) for pair in tables.pairs] == ["A-E", "G-H", "G-E", "H-E"]
    told = [("P", "A-E", "OL"), ("R", "G-H", "OL"), ("N", "A-E", "OL")]
    told += [("R", "H-E", crossed)] if crossed else []
    read = [Reading(at, (pins[0], pins[2]), parse_value(text)) for at, pins, text in told]
    observed = observe(tables, read, METER)
    assert len(observed) == len(told)
    posterior = tell(prior_of(tables), observed)
    # A mistaken sheet is another matter.
    found, exact = as_written(posterior), reference.infer(observed)
    assert np.abs(found.single - exact[: len(tables.causes)]).max() < 1e-9
    twofold = exact[len(tables.causes) : -1].sum(axis=0)
    assert np.abs(0.5 * found.twofold.sum(axis=0) - twofold).max() < 1e-9
    verdicts = verdict_masses(posterior, found)
    assert least < verdicts[PartVerdict.HOOK_UP] / verdicts[PartVerdict.REPAIR] < most


@pytest.mark.parametrize("scale", [1.0, 100.0, 3000.0])
def test_pairs_of_faults_stay_exact_when_the_odds_outgrow_floating_point(
    small: tuple[Tables, Reference], scale: float
) -> None:
    # Logs of odds as many readings would leave them; scipy sums the logs of every pair.
    tables, _ = small
    known = tell(prior_of(tables), observe(tables, readings(4), METER))
    ratio = np.random.default_rng(7).normal(0.0, scale, known.log_ratio.shape)
    ratio[0] = 0.0
    posterior = replace(known, log_ratio=ratio, log_unexplained=2.0 * scale)
    found = masses(posterior)
    log_odds = (tables.log_cause - tables.log_cause[0])[:, None] + ratio
    log_none = tables.log_cause[0] + tables.grid.log_offset + posterior.log_healthy
    every = np.arange(len(tables.causes))
    first, second = tables.twofold.among(every)
    pairs = log_none + log_odds[first] + log_odds[second]
    total = logsumexp(
        [
            logsumexp(log_none + log_odds),
            logsumexp(pairs),
            tables.log_unexplained + posterior.log_unexplained,
        ]
    )
    assert found.log_evidence == pytest.approx(total, rel=1e-12)
    for cause in range(len(tables.causes)):
        of_cause = pairs[(first == cause) | (second == cause)]
        exact = np.exp(logsumexp(of_cause, axis=0) - total) if len(of_cause) else 0.0
        assert np.abs(found.twofold[cause] - exact).max() < 1e-9


def test_the_small_family_has_every_kind_of_hypothesis(small: tuple[Tables, Reference]) -> None:
    tables, _ = small
    kinds = {cause.kind for cause in tables.causes if cause is not None}
    without = {PartFault.OTHER_FAMILY, PartFault.WIRES_SWAPPED}
    assert kinds == {*ContactFault, *ResistorFault, *PartFault} - without
    assert tables.twofold.count


def test_the_verdicts_sum_to_one(small: tuple[Tables, Reference]) -> None:
    tables, _ = small
    posterior = tell(prior_of(tables), observe(tables, readings(8), METER))
    verdicts = verdict_masses(posterior, masses(posterior))
    assert set(verdicts) == set(PartVerdict)
    assert sum(verdicts.values()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("visits", [(1, 1, 2, 0), (1, 2, 1, 2), (3, 3, 3, 3)])
def test_readings_of_one_visit_are_brute_force_to_1e_9(
    small: tuple[Tables, Reference], visits: tuple[int, ...]
) -> None:
    """A visit at a wrong place reads the same there each time; the next visit may be right."""
    tables, reference = small
    texts = ("OL", "OL", "0.2", "0.2")
    told = [Reading("R", ("B", "E"), parse_value(text)) for text in texts]
    told += [Reading("P", ("A", "E"), parse_value("OL")), *readings(6)[5:]]
    observed = [
        replace(one, visit=visit)
        for one, visit in zip(observe(tables, told, METER), (*visits, 1, 0), strict=True)
    ]
    found, exact = masses(tell(prior_of(tables), observed)), reference.infer(observed)
    assert np.abs(found.single - exact[: len(tables.causes)]).max() < 1e-9
    twofold = exact[len(tables.causes) : -1].sum(axis=0)
    assert np.abs(0.5 * found.twofold.sum(axis=0) - twofold).max() < 1e-9


def test_a_mistake_of_the_sheet_has_the_probability_of_its_readings_put_right(
    small: tuple[Tables, Reference],
) -> None:
    """Every mistake that is thought of, each weighed by brute force; far ones are left out."""
    tables, reference = small
    sheet = {("P", "A-E"): "OL", ("R", "A-E"): "0.2", ("N", "A-E"): "100",
             ("P", "B-E"): "0.2", ("R", "B-E"): "OL", ("N", "B-E"): "0.2"}  # fmt: skip
    told = [Reading(at, (pins[0], pins[2]), parse_value(v)) for (at, pins), v in sheet.items()]
    observed = observe(tables, told, METER)
    own = masses(tell(prior_of(tables), observed))
    assert [one.mistake.text for one in own.sheets][:1] == ["rows A-E and B-E are swapped"]
    logs = {"": reference.log_evidence(observed)}
    for mistake in every_mistake(tables):
        pairs, positions = mistake.pair, mistake.position
        moved = [
            replace(one, pair=int(pairs[one.pair]), position=int(positions[one.position]))
            for one in observed
        ]
        logs[mistake.text] = mistake.log_prior + reference.log_evidence(moved, explained=True)
    total = float(logsumexp(list(logs.values())))
    for sheet_ in own.sheets:
        exact = float(np.exp(logs[sheet_.mistake.text] - total))
        assert sheet_.probability == pytest.approx(exact, abs=1e-6)
    assert float(own.misread) == pytest.approx(1.0 - float(np.exp(logs[""] - total)), abs=1e-6)
