"""What the temperature of a part makes of its ohms, from the network to the verdict of a cell.

IEC 60028: annealed copper at 20 degC grows by 0.00393 of its ohms a kelvin (read in works that
quote it).
"""

from dataclasses import replace

import pytest

from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.tables import tables_of
from benchproof.diagnose.update import prior_of, tell
from benchproof.diagnose.verdict import PartVerdict
from benchproof.family.branches import CASE
from benchproof.family.model import AT_REST, Family
from benchproof.judge.cell import Result
from benchproof.judge.sheet import UNTOLD_TEMPERATURE, judge_sheet
from benchproof.network.branches.resistor import Resistor
from benchproof.network.chart import completed
from benchproof.network.temperature import Growth, warming_of
from benchproof.reading.meter import estimate, least_ohm
from benchproof.reading.value import Conditions, Measured, OverRange, Reading, Value
from benchproof.shipped.read import lever_families, shipped_family, shipped_meter, shipped_priors

METER = shipped_meter("depot-bench")
BLOCK = shipped_family("depot-coils-3")


def growth(part_c: float | None, u: float | None = None, family: Family = BLOCK) -> Growth:
    found = warming_of(family).growth(AT_REST, ("1", "C"), part_c, u)
    assert found is not None
    return found


def at(values: dict[str, Value], under: Conditions) -> list[Reading]:
    pairs = {"1": ("1", "C"), "2": ("2", "C"), "3": ("3", "C"), "case": ("C", CASE)}
    return [
        Reading(AT_REST, pairs[name], value, conditions=under) for name, value in values.items()
    ]


HOT: dict[str, Value] = {
    "1": Measured(15.3, 0.1), "2": Measured(15.2, 0.1), "3": Measured(5.3, 0.1),
    "case": OverRange(),
}  # fmt: skip
"""A good block at 60 degC: 13.2, 13.2 and 4.6 ohm times 1.1572."""


def test_copper_grows_by_its_coefficient() -> None:
    assert growth(60.0, 2.0).factor == pytest.approx(1.0 + 0.00393 * 40.0, rel=1e-12)
    assert growth(60.0, 2.0).u == pytest.approx(0.00393 * 2.0, rel=1e-9)
    assert growth(20.0, 1.0).factor == pytest.approx(1.0, rel=1e-12)


def test_where_nobody_tells_it_is_a_rectangle_of_the_room() -> None:
    # Standard uncertainty of a rectangular distribution: width / sqrt(12), JCGM 100:2008 4.3.7.
    told = growth(None)
    assert not told.told
    assert told.factor == pytest.approx(1.0, rel=1e-12)
    assert told.u == pytest.approx(0.00393 * 20.0 / 12.0**0.5, rel=1e-9)
    assert growth(20.0).u == pytest.approx(0.00393 * 2.0, rel=1e-9)


def test_beside_a_resistor_only_the_copper_grows() -> None:
    family = replace(BLOCK, branches=(*BLOCK.branches, Resistor(("1", "C"), 13.2)))
    warm = 13.2 * (1.0 + 0.00393 * 40.0)
    assert growth(60.0, 2.0, family).factor == pytest.approx(
        (warm * 13.2 / (warm + 13.2)) / 6.6, rel=1e-12
    )


def test_what_has_no_copper_is_left_alone() -> None:
    assert warming_of(BLOCK).growth(AT_REST, ("C", CASE), 60.0, 2.0) is None
    for name in lever_families():
        family = shipped_family(name)
        if family.members:
            # A unit: its coils warm, its switch does not.
            assert warming_of(family).growth("P", ("1", "5"), 60.0, 1.0) is None
            assert warming_of(family).growth("P", ("9", "11"), 60.0, 1.0) is not None
            continue
        assert not warming_of(family).matters
        assert warming_of(family).growth(family.positions[0], ("A", "E"), 60.0, 1.0) is None


def test_a_number_is_as_at_20_degrees_with_the_temperature_in_its_budget() -> None:
    value, told = Measured(15.3, 0.1), growth(60.0, 2.0)
    found, plain = estimate(value, METER, None, told), estimate(value, METER)
    assert found.ohm == pytest.approx(15.3 / 1.1572)
    (source,) = [one for one in found.budget if one.name == "part temperature"]
    assert source.u_ohm == pytest.approx(found.ohm * 0.00393 * 2.0 / 1.1572)
    assert found.u_ohm**2 == pytest.approx((plain.u_ohm / 1.1572) ** 2 + source.u_ohm**2)
    assert least_ohm(OverRange(20.0), METER, told) == pytest.approx(20.0 / 1.1572)


def test_a_hot_block_passes_at_its_temperature_and_not_without() -> None:
    told = judge_sheet(BLOCK, at(HOT, Conditions(60.0, 2.0)), METER)
    assert {cell.outcome.result for cell in told.cells} == {Result.PASS}
    assert "at 20 °C" in told.cells[0].outcome.reason
    caution = UNTOLD_TEMPERATURE.partition("{")[0]
    assert not any(one.startswith(caution) for one in told.cautions)
    untold = judge_sheet(BLOCK, at(HOT, Conditions()), METER)
    assert untold.cells[0].outcome.result is Result.UNDECIDED
    (said,) = [one for one in untold.cautions if one.startswith(caution)]
    assert "1-C, 2-C, 3-C" in said
    assert "10 to 30 °C" in said


def test_where_nobody_tells_less_passes_and_less_fails() -> None:
    for ohm, at_20 in ((14.6, Result.PASS), (15.0, Result.FAIL)):
        value: dict[str, Value] = {"1": Measured(ohm, 0.01)}
        for under, result in (
            (Conditions(20.0, 0.2), at_20),
            (Conditions(), Result.UNDECIDED),
        ):
            judged = judge_sheet(BLOCK, at(value, under), METER)
            assert judged.cells[0].outcome.result is result, (ohm, under)


@pytest.mark.parametrize(("part_c", "good"), [(60.0, True), (20.0, False)])
def test_the_diagnosis_believes_the_temperature_too(part_c: float, good: bool) -> None:
    """The same sheet is of a good part at 60 degC; at 20 its coils are high, or not its own."""
    tables = tables_of(BLOCK, shipped_priors(BLOCK.name))
    readings = [one for _ in range(2) for one in at(HOT, Conditions(part_c, 1.0))]
    found = diagnose(tell(prior_of(tables), observe(tables, readings, METER)))
    assert (found.decided is PartVerdict.ACCEPT) is good
    assert (found.verdicts[PartVerdict.ACCEPT] < 0.001) is not good


def test_a_chart_computed_of_coils_is_at_20_degrees() -> None:
    emptied = replace(BLOCK, chart=tuple(replace(row, expect=()) for row in BLOCK.chart))
    assert [row.expect[0].nominal_ohm for row in completed(emptied).chart[:3]] == pytest.approx(
        [13.2, 13.2, 4.6]
    )
