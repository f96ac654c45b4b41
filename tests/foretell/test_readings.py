"""From readings: what was read, what it proves, and how likely each consequence is."""

from collections.abc import Callable, Sequence
from functools import cache
from math import erf, sqrt

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import hazard
from benchproof.diagnose.posterior import Posterior, masses, observe, prior_of, tell
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.model import Family, Grade, Role
from benchproof.foretell.asread import as_read
from benchproof.foretell.controller import Level
from benchproof.foretell.foretelling import Foretold, Vehicle, vehicle_of
from benchproof.foretell.hypotheses import hypotheses_of
from benchproof.foretell.likely import likely
from benchproof.foretell.outlook import Outlook, of_readings
from benchproof.foretell.permitproof import PermitFacts, limits_of, proof_of
from benchproof.foretell.travelplaces import TravelPlace
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faultkind import FaultKind
from benchproof.network.faults import Fault, PartFault, faulty, single_faults
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import Mark, Measured, OverRange, Reading
from benchproof.shipped.read import lever_families, shipped_family, shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource, ohms_at

METER = shipped_meter("ordinary-handheld")


@cache
def tables(name: str) -> Tables:
    return tables_of(shipped_family(name), shipped_priors(name))


@cache
def side(name: str) -> Vehicle:
    return vehicle_of(tables(name).shape)


def posterior(name: str, readings: Sequence[Reading]) -> Posterior:
    return tell(prior_of(tables(name)), observe(tables(name), readings, METER))


def outlook(name: str, readings: Sequence[Reading]) -> Outlook:
    return of_readings(side(name), readings, METER, posterior(name, readings))


def named(found: Sequence[Foretold], name: str) -> Foretold | None:
    return next((one for one in found if one.rule.name == name), None)


def spoilt(name: str, kind: FaultKind, *at: str) -> Family:
    family = shipped_family(name)
    fault = next(f for f in single_faults(family) if f.kind is kind and f.at == at)
    return faulty(family, fault)


@pytest.mark.parametrize("name", lever_families())
def test_of_a_good_part_read_twice_nothing_is_worth_telling(name: str) -> None:
    good = ideal_readings(shipped_family(name), METER)
    found = outlook(name, [*good, *good])
    assert found.worth_telling == ()
    assert found.not_foretold is not None
    assert found.not_foretold < 1e-3
    read = {position: f"{seen[0].reads[0]}" for position, seen in found.detents.items()}
    assert read == {position: position for position in shipped_family(name).positions}


def test_a_stuck_start_permit_is_the_first_thing_told() -> None:
    readings = ideal_readings(spoilt("valley-coded-7", ContactFault.STUCK, "G", "H"), METER)
    first = outlook("valley-coded-7", readings).foretold[0]
    assert first.rule.name == "start-in-gear"
    assert first.read
    assert first.probability is not None
    assert first.probability > 0.999
    assert first.chains[0].steps == (
        "as read",
        "G-H conducts, charted open in R",
        "start permit on",
    )


def test_what_was_read_is_told_even_where_a_slip_explains_it() -> None:
    """Two good readings and one closed one: the cell is weak, and the hazard is told as read."""
    good = ideal_readings(shipped_family("valley-coded-7"), METER)
    slipped = Reading("D", ("G", "H"), Mark.CLOSED)
    found = outlook("valley-coded-7", [*good, *good, slipped])
    start = named(found.worth_telling, "start-in-gear")
    assert start is not None
    assert start.read
    assert not start.certain


@pytest.mark.parametrize("offset", [0.0, 2.0, 3.5, 5.0, 8.0, -5.0])
@pytest.mark.parametrize("name", ["valley-coded-7", "harvest-ladder-8"])
def test_a_start_in_gear_is_never_less_likely_than_the_diagnosis_has_it(
    name: str, offset: float
) -> None:
    found = posterior(name, ideal_readings(shipped_family(name), METER, offset))
    start = named(likely(side(name), found).foretold, "start-in-gear")
    danger = hazard(found, masses(found))
    assert start is None or start.probability is not None
    assert (start.probability if start and start.probability else 0.0) >= min(danger, 1.0) - 1e-9


def test_the_hypotheses_hold_all_the_probability_there_is() -> None:
    for family in (shipped_family("valley-coded-7"), shipped_family("harvest-ladder-8")):
        for offset in (0.0, 5.0):
            found = posterior(family.name, ideal_readings(family, METER, offset))
            every, left = hypotheses_of(found)
            pairs = 0.5 * masses(found).twofold.sum()
            told = sum(one.probability for one in every if len(one.causes) == 2)
            assert told <= pairs * (1.0 + 1e-9)
            total = sum(one.probability for one in every) + left
            assert total == pytest.approx(1.0, abs=1e-9)
            rest = masses(found).unexplained + masses(found).misread
            assert left == pytest.approx(pairs - told + rest, abs=1e-7)


def test_without_readings_a_dark_reverse_lamp_is_as_likely_as_its_edges_and_faults_say() -> None:
    """Against the normal integral, for a part without fault: J-K closes from 19 to 27, R at 23."""
    name = "valley-coded-7"
    grid, priors = tables(name).grid, tables(name).priors

    def below(x: float) -> float:
        return 0.5 * (1.0 + erf(x / (priors.edge_sd_deg * sqrt(2.0))))

    dark = np.array([1.0 - below(4.0 - o) * (1.0 - below(-4.0 - o)) for o in grid.offsets])
    before = masses(prior_of(tables(name)))
    # The lamp's own contact and pins, open or high, darken it at any offset; it is a circuit apart.
    own = [
        cause is not None
        and cause.kind is not ContactFault.STUCK
        and cause.at in (("J", "K"), ("J",), ("K",))
        and cause.kind not in (PartFault.LEAK, PartFault.BRIDGED, PartFault.PINS_SWAPPED)
        for cause in tables(name).causes
    ]
    sizes = [
        cause
        for cause in tables(name).causes
        if cause is not None and cause.kind is ContactFault.HIGH and cause.at == ("J", "K")
    ]
    assert sum(own) == 4 + len(sizes)
    assert len(sizes) > 1
    stuck = [
        cause is not None and cause.kind is ContactFault.STUCK and cause.at == ("J", "K")
        for cause in tables(name).causes
    ]
    either = before.single[np.logical_not(own) & np.logical_not(stuck)]
    singles = float((either @ dark).sum() + before.single[own].sum())
    found = named(likely(side(name), prior_of(tables(name))).foretold, "reverse-dark")
    assert found is not None
    assert found.probability is not None
    # Pairs of faults come on top. The edge lies on the grid of offsets and counts as closed, which
    # is half a step of 0.25 degrees too wide on either side.
    pairs = 0.5 * float(before.twofold.sum())
    assert singles * 0.95 < found.probability < singles + pairs


def test_probabilities_are_borne_out_by_simulated_parts() -> None:
    """Of parts drawn from the priors as many misbehave as was foretold of them together."""
    name = "valley-coded-7"
    source, rng = PartSource(tables(name)), np.random.default_rng(5)
    mine = side(name)
    pairs = [row.pair for row in mine.controller.rows]
    detents = np.asarray(mine.family.detents_deg)
    gear = detents[1:][[p != "N" for p in mine.family.positions[1:]]]
    levers = np.arange(0.1, detents[-1], 0.2)
    nearest = detents[np.abs(levers[:, None] - detents).argmin(axis=1)]
    swept = np.concatenate([gear, levers[np.isin(nearest, gear)]])
    start, lamp = (
        pairs.index(mine.family.rows(role)[0].pair)
        for role in (Role.START_PERMIT, Role.REVERSE_LAMP)
    )
    told, true = np.zeros(2), np.zeros(2)
    hook_up = {PartFault.PINS_SWAPPED, PartFault.LEVER_OFF, PartFault.DETENT_PLAY}
    parts = 0
    while parts < 40:
        part = source.draw(rng)
        kinds = {fault.kind for fault in part.faults}
        if not part.explained or kinds & hook_up or ContactFault.CHATTERS in kinds:
            continue
        parts += 1
        # Half of the readings only, so that much is left to be foretold.
        readings = [
            reading
            for reading in ideal_readings(part.family, METER, part.offset)
            if rng.random() < 0.5
        ]
        found = likely(mine, posterior(name, readings)).foretold
        for n, rule in enumerate(("start-in-gear", "reverse-dark")):
            one = named(found, rule)
            told[n] += one.probability if one and one.probability else 0.0
        ohms = ohms_at(part.family, pairs, swept + part.offset)[:, start]
        true[0] += bool((ohms < 10_000.0).any())
        true[1] += ohms_at(part.family, pairs, detents[1:2] + part.offset)[0, lamp] > 2.0
    # Four standard deviations of a count that large.
    assert (true > 0).all()
    assert (np.abs(told - true) < 4.0 * np.sqrt(told)).all(), (told, true)


def test_readings_become_what_the_vehicle_makes_of_them() -> None:
    readings = [
        Reading("D", ("G", "H"), Mark.OPEN),
        Reading("3", ("G", "H"), Measured(0.3, 0.1)),
        Reading("2", ("G", "H"), Measured(900.0, 1.0)),
        Reading("1", ("G", "H"), OverRange(500.0)),
        Reading("R", ("H", "G"), OverRange()),
        Reading("D", ("G", "H"), Mark.CLOSED, lean="3"),
        Reading("N", ("A", "B"), Mark.CLOSED),
    ]
    seen = dict(as_read(side("valley-coded-7"), readings, METER))
    start = {place: one.start for place, one in seen.items()}
    assert start == {
        TravelPlace("R"): Level.OFF,
        TravelPlace("D"): Level.OFF,
        TravelPlace("3"): Level.ON,
        TravelPlace("2"): Level.WEAK,
        TravelPlace("1"): Level.WEAK,
        TravelPlace("D", "3"): Level.ON,
    }
    assert all(one.reads == () for one in seen.values())


def test_a_permit_that_closes_on_a_lean_is_a_hazard_as_read() -> None:
    good = ideal_readings(shipped_family("valley-coded-7"), METER)
    lean = Reading("D", ("G", "H"), Measured(0.2, 0.1), lean="N")
    start = named(outlook("valley-coded-7", [*good, lean]).foretold, "start-in-gear")
    assert start is not None
    assert start.read
    assert TravelPlace("D", "N") in start.places


def known(*readings: Reading, name: str = "valley-coded-7") -> PermitFacts:
    return PermitFacts(side(name), readings, METER)


def permit(position: str, mark: Mark, lean: str = "") -> Reading:
    return Reading(position, ("G", "H"), mark, lean=lean)


def test_what_is_proved_of_the_start_permit_and_what_is_not() -> None:
    read = [permit(p, Mark.OPEN) for p in ("R", "R", "D", "3", "2")]
    sentences = proof_of(known(*read, permit("2", Mark.CLOSED), permit("D", Mark.OPEN, lean="N")))
    assert sentences[0].startswith("Proved: G-H is open in R (")
    assert sentences[1].startswith("Nearly proved: G-H is open in D and 3,")
    assert sentences[2].startswith("Read open with the lever leaned: G-H from D toward N")
    assert sentences[3].startswith("Not proved: that G-H is open in 2 and 1.")
    assert "at every angle between detents" in sentences[4]
    assert "parity" in sentences[4]


def test_readings_in_the_detents_never_prove_the_angles_between() -> None:
    good = ideal_readings(shipped_family("valley-coded-7"), METER)
    sentences = proof_of(known(*good, *good, *good))
    assert sentences[0].startswith("Proved: G-H is open in R, D, 3, 2 and 1")
    assert sentences[-1].startswith("Not proved: that G-H is open at every angle between detents.")


def test_a_family_without_roles_says_what_cannot_be_foretold(
    invented: Callable[[str], Vehicle],
) -> None:
    made = invented(
        'name = "plain"\npositions = ["P", "D"]\npins = ["A", "B"]\n'
        '[[chart]]\npair = "A-B"\nexpect = ["closed", "open"]\n'
    )
    assert limits_of(PermitFacts(made, (), METER)) == [
        "Nothing can be foretold: no chart row has a role, so what the vehicle does with the pairs "
        "is not known. Give the rows their roles (docs/family.md)."
    ]
    assert proof_of(PermitFacts(made, (), METER)) == []


def test_limits_are_silent_for_a_whole_family_and_tell_what_lacks_otherwise(
    invented: Callable[[str], Vehicle],
) -> None:
    assert limits_of(known()) == []
    made = invented(
        'name = "bare"\npositions = ["1st", "2nd"]\npins = ["A", "B", "C"]\n'
        '[[chart]]\npair = "A-B"\nrole = "range bit"\nexpect = ["closed", "open"]\n'
        '[[chart]]\npair = "A-C"\nrole = "reverse lamp"\nexpect = ["closed", "open"]\n'
    )
    told = " ".join(limits_of(PermitFacts(made, (), METER)))
    for word in ("start permit", "park or neutral", "named reverse", "no range code", "no dwells"):
        assert word in told
    assert "detent gaps" in told


def test_a_part_with_a_pair_of_faults_is_foretold_by_both() -> None:
    family = shipped_family("valley-coded-7")
    faults = [
        fault
        for fault in single_faults(family)
        if (fault.kind, fault.at)
        in ((ContactFault.STUCK, ("G", "H")), (ContactFault.OPEN, ("J", "K")))
    ]
    for fault in faults:
        family = faulty(family, fault)
    readings = ideal_readings(family, METER)
    found = outlook("valley-coded-7", [*readings, *readings])
    # The dark lamp is an offset too, so which of the two explains it is left open.
    assert "contact stuck closed at G-H" in found.explanation
    hazards = {one.rule.name for one in found.worth_telling if one.rule.grade is Grade.HAZARD}
    assert hazards == {"start-in-gear", "reverse-dark"}
    both = [
        one
        for one in hypotheses_of(posterior("valley-coded-7", readings))[0]
        if len(one.causes) == 2
    ]
    assert "contact open at J-K" in {f"{fault}" for fault in both[0].faults}


def test_readings_that_nothing_explains_are_foretold_as_read() -> None:
    family = shipped_family("valley-coded-7")
    odd = [
        Reading(position, row.pair, Mark.OPEN if (n + p) % 2 else Mark.CLOSED)
        for n, row in enumerate(family.chart)
        for p, position in enumerate(family.positions)
    ]
    found = outlook("valley-coded-7", 4 * odd)
    assert found.not_foretold is not None
    assert found.not_foretold > 0.99
    assert found.worth_telling[0].read


def test_a_hook_up_fault_is_none_of_the_vehicles() -> None:
    """Two probes swapped on the bench: the part itself is good, so nothing much is foretold."""
    name = "valley-coded-7"
    swapped = Fault(PartFault.PINS_SWAPPED, ("A", "B"))
    found = posterior(name, 2 * ideal_readings(faulty(shipped_family(name), swapped), METER))
    best = hypotheses_of(found)[0][0]
    assert best.faults == ()
    assert best.causes != (0,)
