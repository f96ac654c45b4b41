"""What is said of a posterior, against all its hypotheses spelt out one by one."""

import numpy as np
import pytest
from tests.diagnose.conftest import EVERY, METER, Case, case

from benchproof.diagnose.diagnosis import gate, hazard, stated, verdict_masses
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.update import prior_of, tell
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.chart import completed
from benchproof.network.faults import PartFault
from benchproof.network.files import read_family
from benchproof.reading.value import OverRange, Reading, parse_value
from benchproof.shipped.read import shipped_priors


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_the_masses_are_those_of_the_hypotheses(name: str, gear: str) -> None:
    one = case(name, gear)
    found = masses(one.posterior)
    single = np.array([one.spelt.weights[i,] for i in range(len(found.single))]) / one.total
    assert np.abs(found.single - single).max() < 1e-9
    twofold = np.zeros_like(single)
    for causes, weight in one.spelt.weights.items():
        if len(causes) == 2:
            twofold[list(causes)] += weight / one.total
    assert np.abs(found.twofold - twofold).max() < 1e-9
    assert found.unexplained == pytest.approx(one.spelt.unexplained / one.total, abs=1e-9)
    assert found.log_evidence == pytest.approx(np.log(one.total), abs=1e-9)
    of_sheets = [prior * right.explained / one.total for prior, right in one.sheets]
    assert [sheet.probability for sheet in found.sheets] == pytest.approx(of_sheets, abs=1e-9)
    by_offset = sum(one.spelt.weights.values()) / one.total
    for prior, right in one.sheets:
        by_offset = by_offset + prior * sum(right.weights.values()) / one.total
    assert np.abs(found.by_offset - by_offset).max() < 1e-9


def expected_verdicts(one: Case) -> dict[PartVerdict, float]:
    """Return the verdicts spelt out."""
    spelt, known = one.spelt, one.spelt.known
    good = {at: cell.good() for at, cell in spelt.charted.items()}
    charted = {
        at: cell.conducts(0) if known.charted_hazard[at] else good[at]
        for at, cell in spelt.charted.items()
    }
    accept = spelt.no_fault(good)
    sound = spelt.no_fault({at: cell.unharmed() for at, cell in spelt.charted.items()})
    chart = spelt.no_fault(charted) - accept if known.charted_hazard.any() else 0.0
    found = dict.fromkeys(PartVerdict, 0.0)
    found[PartVerdict.ACCEPT], found[PartVerdict.CHART] = accept, chart
    found[PartVerdict.REALIGN] = sound - accept - chart
    found[PartVerdict.REPAIR] = float(spelt.weights[0,].sum()) - sound
    hook_up = {PartFault.PINS_SWAPPED, PartFault.LEVER_OFF, PartFault.DETENT_PLAY}
    for causes, weight in spelt.weights.items():
        cause = known.causes[causes[0]]
        if cause is not None:
            of = PartVerdict.HOOK_UP if cause.kind in hook_up else PartVerdict.REPAIR
            found[of] += float(weight.sum())
    found[PartVerdict.HOOK_UP] += sum(prior * right.explained for prior, right in one.sheets)
    found[PartVerdict.UNEXPLAINED] = spelt.unexplained
    return {verdict: value / one.total for verdict, value in found.items()}


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_the_verdicts_are_those_of_the_hypotheses(name: str, gear: str) -> None:
    one = case(name, gear)
    found = verdict_masses(one.posterior, masses(one.posterior))
    assert found == pytest.approx(expected_verdicts(one), abs=1e-9)


def expected_hazard(one: Case) -> float:
    """Return the hazard spelt out: of a mistaken sheet it is that of its part, or the meter's."""
    found = one.spelt.unsafe() / one.total
    for prior, right in one.sheets:
        own = min(max(right.unsafe() / right.explained, right.gate()), 1.0)
        found += prior * right.explained * own / one.total
    return found


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_the_hazard_is_that_of_the_hypotheses(name: str, gear: str) -> None:
    one = case(name, gear)
    found = hazard(one.posterior, masses(one.posterior))
    assert found == pytest.approx(expected_hazard(one), abs=1e-13, rel=1e-7)
    assert gate(one.posterior) == pytest.approx(one.spelt.gate(), abs=1e-12)


@pytest.mark.parametrize(("name", "gear"), EVERY)
def test_what_is_stated_leaves_out_that_every_reading_of_a_cell_was_mistaken(
    name: str, gear: str
) -> None:
    one = case(name, gear)
    found = masses(one.posterior)
    verdicts, danger = stated(
        one.posterior, found, verdict_masses(one.posterior, found), hazard(one.posterior, found)
    )
    cells = one.spelt.charted
    good = {at: cell.good() for at, cell in cells.items()}
    accept = one.spelt.no_fault(good) / one.total
    read = {at: good[at] - cell.misread() for at, cell in cells.items()}
    left = one.spelt.no_fault(read) / one.total
    placed = {at: good[at] - cell.misplaced() for at, cell in cells.items()}
    hook_up = accept - one.spelt.no_fault(placed) / one.total
    expected = expected_verdicts(one)
    slips = accept - left - hook_up
    of_slips = min(slips, max(0.9 - expected[PartVerdict.UNEXPLAINED], 0.0))
    expected[PartVerdict.ACCEPT] = left
    expected[PartVerdict.HOOK_UP] += hook_up + slips - of_slips
    expected[PartVerdict.UNEXPLAINED] += of_slips
    assert verdicts == pytest.approx(expected, abs=1e-7)
    assert danger == pytest.approx(max(expected_hazard(one), one.spelt.gate()), rel=1e-6)


@pytest.mark.parametrize("doubt", [0.0, 0.3, 0.85, 0.95])
def test_slips_are_not_explained_up_to_nine_in_ten_and_the_rest_is_of_the_hook_up(
    doubt: float,
) -> None:
    """Whatever the verdicts before: those of accept and not explained are given here."""
    one = case("in gear")
    cells = one.spelt.charted
    good = {at: cell.good() for at, cell in cells.items()}
    accept = one.spelt.no_fault(good)
    read = one.spelt.no_fault({at: good[at] - cell.misread() for at, cell in cells.items()})
    placed = one.spelt.no_fault({at: good[at] - cell.misplaced() for at, cell in cells.items()})
    given = dict.fromkeys(PartVerdict, 0.0)
    given |= {PartVerdict.ACCEPT: 1.0 - doubt, PartVerdict.UNEXPLAINED: doubt}
    found, _ = stated(one.posterior, masses(one.posterior), given, 0.0)
    left, hook_up = read / accept, 1.0 - placed / accept
    slips = (1.0 - doubt) * (1.0 - left - hook_up)
    of_slips = min(slips, max(0.9 - doubt, 0.0))
    assert slips > of_slips or doubt < 0.5
    expected = dict.fromkeys(PartVerdict, 0.0)
    expected[PartVerdict.ACCEPT] = (1.0 - doubt) * left
    expected[PartVerdict.UNEXPLAINED] = doubt + of_slips
    expected[PartVerdict.HOOK_UP] = (1.0 - doubt) * hook_up + slips - of_slips
    assert found == pytest.approx(expected, abs=1e-7)


def bare(chart: str) -> Tables:
    return tables_of(completed(read_family(chart.encode(), "bare.csv")), shipped_priors("bare"))


def test_a_part_of_one_contact_has_no_two_faults_at_a_time() -> None:
    """All that can be wrong with it is seen by the one pair there is."""
    known = bare("pins,P,R\nA-B,closed,open\nstart permit,none\n")
    found = masses(
        tell(prior_of(known), observe(known, [Reading("P", ("A", "B"), OverRange())], METER))
    )
    assert not known.twofold.count
    assert not found.twofold.any()
    assert found.single.sum() + found.unexplained == pytest.approx(1.0, abs=1e-12)


def test_a_chart_without_a_start_permit_has_no_hazard_at_all() -> None:
    known = bare("pins,P,R,N\nA-E,closed,open,closed\nB-E,open,closed,closed\nstart permit,none\n")
    for text in ("0.2", "OL", "300"):
        told = [Reading(at, ("A", "E"), parse_value(text)) for at in "PRN"]
        posterior = tell(prior_of(known), observe(known, told, METER))
        assert hazard(posterior, masses(posterior)) == 0.0
        assert gate(posterior) == 0.0
