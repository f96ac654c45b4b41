"""Cells that are wrong by themselves: what no fault of a whole contact or pin explains.

The readings are those that an earlier state of the model accepted; the bounds are what a bench
foreman would say of them (common practice, no source).
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest

from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.posterior import Posterior, observe, prior_of, tell
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.family.model import Pair, Role, same_pair
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value
from benchproof.shipped.read import shipped_family, shipped_meter, shipped_priors

METER = shipped_meter("ordinary-handheld")
VALLEY, HARVEST = "valley-coded-7", "harvest-ladder-8"
GEAR_CELL = "D", ("G", "H")


@cache
def tables(name: str) -> Tables:
    return tables_of(shipped_family(name), shipped_priors(name))


def good_sheet(name: str) -> list[Reading]:
    """Return a good sheet, every start permit cell that must be open read twice."""
    family = tables(name).family
    permits = {same_pair(row.pair) for row in family.rows(Role.START_PERMIT)}
    sheet = ideal_readings(shipped_family(name), METER)
    opened = [r for r in sheet if same_pair(r.pair) in permits and isinstance(r.value, OverRange)]
    return [*sheet, *opened]


def posterior(name: str, readings: Sequence[Reading]) -> Posterior:
    return tell(prior_of(tables(name)), observe(tables(name), readings, METER))


def but(
    name: str, cells: Sequence[tuple[str, Pair]], values: Sequence[Value], visit: int = 0
) -> Diagnosis:
    """Return the diagnosis of a good sheet but for the readings of some cells."""
    kept = [r for r in good_sheet(name) if (r.position, r.pair) not in cells]
    told = [Reading(*cell, value, visit=visit) for cell in cells for value in values]
    return diagnose(posterior(name, [*kept, *told]))


def ohms(*values: float) -> list[Value]:
    return [Measured(value, 0.1 if value < 400.0 else 1.0) for value in values]


def likeliest(found: Diagnosis) -> PartVerdict:
    return max(found.verdicts, key=lambda verdict: found.verdicts[verdict])


@pytest.mark.parametrize("name", [VALLEY, HARVEST])
def test_the_good_sheet_itself_is_accepted(name: str) -> None:
    found = diagnose(posterior(name, good_sheet(name)))
    assert found.decided is PartVerdict.ACCEPT
    assert found.unexplained_cells == ()


@pytest.mark.parametrize(
    ("name", "values"),
    [
        (VALLEY, ohms(2351, 2300, 2400)),
        (VALLEY, ohms(*[60] * 8)),
        (VALLEY, ohms(*[150] * 8)),
        (VALLEY, ohms(*[1200] * 3)),
        (HARVEST, ohms(*[150] * 8)),
        (HARVEST, ohms(*[500] * 8)),
        (HARVEST, ohms(*[1500] * 8)),
        (HARVEST, ohms(*[6000] * 8)),
    ],
)
def test_a_bridged_start_permit_cell_is_repair_and_a_hazard(
    name: str, values: Sequence[Value]
) -> None:
    found = but(name, [GEAR_CELL], values)
    assert found.hazard > 0.999
    assert found.verdicts[PartVerdict.REPAIR] > 0.9
    assert found.decided is not PartVerdict.ACCEPT


def test_a_start_permit_bridged_in_every_gear_position_is_repair() -> None:
    cells = [(p, ("G", "H")) for p in ("R", "D", "4", "3", "2", "1")]
    found = but(HARVEST, cells, ohms(500, 505))
    assert found.decided is PartVerdict.REPAIR
    assert found.hazard > 0.999


@pytest.mark.parametrize(
    ("cell", "values"),
    [(("P", ("L", "M")), ohms(902, 897, 910)), (("3", ("A", "W")), ohms(1500, 1502, 1499))],
)
def test_a_cell_that_keeps_reading_against_the_chart_is_not_accepted(
    cell: tuple[str, Pair], values: Sequence[Value]
) -> None:
    found = but(HARVEST, [cell], values)
    assert likeliest(found) is PartVerdict.REPAIR
    assert found.verdicts[PartVerdict.ACCEPT] < 0.01


def test_a_reverse_lamp_closed_in_drive_twice_is_not_accepted() -> None:
    found = but(VALLEY, [("D", ("J", "K"))], ohms(0.2, 0.3))
    assert found.verdicts[PartVerdict.ACCEPT] < 0.01
    assert found.decided is not PartVerdict.ACCEPT


@pytest.mark.parametrize("again", [1, 2])
def test_a_single_reading_against_the_chart_is_read_again_before_anything_else(again: int) -> None:
    """Nothing explains it but a mistake, so it is neither good nor bad until it is read again."""
    found = but(VALLEY, [("D", ("J", "K"))], ohms(2351))
    assert found.unexplained_cells == (("D", ("J", "K")),)
    assert likeliest(found) is not PartVerdict.ACCEPT
    open_after = [*ohms(2351), *[OverRange()] * again]
    resolved = but(VALLEY, [("D", ("J", "K"))], open_after)
    assert resolved.unexplained_cells == ()
    assert resolved.decided is PartVerdict.ACCEPT


def test_a_start_permit_that_conducted_once_is_not_accepted_on_two_open_readings() -> None:
    # A slipped probe reads open, never 0.1 ohm (common practice, no source).
    values: list[Value] = [*ohms(0.1, 0.1, 0.2), OverRange(), OverRange()]
    found = but(VALLEY, [GEAR_CELL], values)
    assert found.decided is not PartVerdict.ACCEPT
    assert found.hazard > 1e-3


def test_the_hazard_is_never_smaller_than_what_the_meter_says() -> None:
    for count in (1, 2, 3):
        assert but(VALLEY, [GEAR_CELL], ohms(*[9000] * count)).hazard > 0.999


def test_marks_leave_a_start_permit_undecided() -> None:
    # A buzzer is silent above some tens of ohms (common practice, no source).
    cells = [(p, ("G", "H")) for p in ("R", "D", "3", "2", "1")]
    found = but(VALLEY, cells, [Mark.OPEN, Mark.OPEN])
    assert found.decided is None
    assert 1e-6 < found.hazard < 0.01
    assert but(VALLEY, cells, [OverRange(), OverRange()]).decided is PartVerdict.ACCEPT


def test_three_visits_that_agree_are_a_defect_and_one_visit_is_a_matter_of_the_hook_up() -> None:
    values = ohms(0.2, 0.2, 0.2)
    visits = but(VALLEY, [GEAR_CELL], values)
    assert visits.verdicts[PartVerdict.REPAIR] > 0.99
    visit = but(VALLEY, [GEAR_CELL], values, visit=1)
    assert visit.verdicts[PartVerdict.HOOK_UP] > 0.5
    assert visit.verdicts[PartVerdict.ACCEPT] < 0.01
    assert visit.hazard > 0.999


@pytest.mark.parametrize("name", [VALLEY, HARVEST])
def test_readings_between_the_open_limit_and_the_top_bin_do_not_conduct(name: str) -> None:
    # Open begins at 10 kohm by the family's limits, wherever else the chart cuts.
    found = but(
        name, [GEAR_CELL], [replace(v, ohm=20e3) for v in ohms(1, 1) if isinstance(v, Measured)]
    )
    assert found.hazard < 1e-3
