"""Dangers: what is told of readings and beliefs, and whether the part or the hook-up is checked."""

from typing import TYPE_CHECKING

import pytest

from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine.dangers import Subject, dangers_of
from benchproof.family.danger import LAMP_RULE, STARTER_RULE, Danger, Signal
from benchproof.family.safety import safety_of
from benchproof.judge.sheet import judge_sheet
from benchproof.network.files import read_family
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value

if TYPE_CHECKING:
    from collections.abc import Mapping

METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
TOLD = (
    "pins,P,R,N,D,role\nG-H,closed,open,closed,open,start permit\n"
    "J-K,open,closed,open,open,reverse lamp\nA-E,closed,open,open,closed,other\n"
)
OL, LOW = OverRange(), Measured(0.1, 0.1)
Read = tuple[str, str, Value]


def dangers(
    *read: Read,
    chart: str = TOLD,
    verdicts: "Mapping[PartVerdict, float] | None" = None,
    hazard: float = 0.0,
) -> tuple[Danger, ...]:
    family = read_family(chart.encode(), "chart.csv")
    readings = [Reading(at, (pair[0], pair[-1]), value) for at, pair, value in read]
    judged = judge_sheet(family, readings, METER)
    return dangers_of(Subject(safety_of(family), judged, verdicts, hazard))


def test_a_permit_that_conducts_in_gear() -> None:
    (found,) = dangers(("D", "G-H", LOW), ("R", "G-H", Measured(60.0, 0.1)))
    assert found == Danger(
        Signal.DANGER,
        "start-in-gear",
        "start permit G-H in R reads 60.0 ohm; G-H in D reads 0.1 ohm: the engine could be cranked "
        f"in gear and the vehicle move ({STARTER_RULE}). Do not fit this part as it is.",
        ("G-H in R", "G-H in D"),
    )


@pytest.mark.parametrize("ohm", [0.1, 2.0, 60.0, 150.0, 2351.0, 9000.0, 10_000.0])
def test_any_number_below_the_open_limit_is_one(ohm: float) -> None:
    found = dangers(("D", "G-H", OL), ("D", "G-H", Measured(ohm, 0.1)), ("D", "G-H", OL))
    assert [one.signal for one in found] == [Signal.DANGER]
    assert "OL" not in found[0].sentence.split(":")[0]


@pytest.mark.parametrize(
    ("values", "is_one"),
    [
        ((OL,), False),
        ((Mark.OPEN,), False),
        ((Mark.OPEN, Mark.OPEN), False),
        ((Mark.CLOSED,), True),
        ((Measured(50_000.0, 10.0),), False),
        ((Mark.OPEN, Measured(10_000.0, 10.0)), True),
        # Over-range below the open limit shows as little as a silent buzzer.
        ((OverRange(2000.0),), False),
        ((OverRange(2000.0), Mark.OPEN), False),
        ((OverRange(2000.0), Measured(10_000.0, 10.0)), True),
    ],
)
def test_marks_and_open_readings(values: tuple[Value, ...], is_one: bool) -> None:
    """A buzzer's silence shows neither danger nor the lack of it (common practice, no source)."""
    found = dangers(*(("D", "G-H", value) for value in values))
    assert bool(found) is is_one


def test_elsewhere_a_permit_may_conduct() -> None:
    assert dangers(("P", "G-H", LOW), ("N", "G-H", LOW), ("R", "A-E", LOW)) == ()
    assert dangers(("P", "G-H", OL)) == ()


def test_what_may_be_the_permit_is_one_too() -> None:
    (found,) = dangers(("R", "G-H", LOW), chart="pins,P,R,N,D\nG-H,closed,open,closed,open\n")
    assert found.sentence.startswith(
        "what may be the start permit, for nobody has said, G-H in R reads 0.1 ohm: the engine"
    )
    two = TOLD.replace("A-E,closed,open,open,closed,other", "L-M,closed,open,closed,open,")
    (both,) = dangers(("R", "G-H", LOW), ("R", "L-M", LOW), chart=two)
    assert both.sentence.startswith("what may be the start permit")
    (told,) = dangers(("R", "G-H", LOW), chart=two)
    assert told.sentence.startswith("start permit G-H in R")


@pytest.mark.parametrize("charted", ["closed", "100 ohm", "any"])
def test_a_chart_that_lets_it_conduct_hides_none(charted: str) -> None:
    chart = TOLD.replace("G-H,closed,open", f"G-H,closed,{charted}")
    assert [one.rule for one in dangers(("R", "G-H", LOW), chart=chart)] == ["start-in-gear"]
    near = Measured(10_000.0, 10.0)
    for read in ((near,), (OL, near), (near, OL)):
        found = dangers(*(("R", "G-H", value) for value in read), chart=chart)
        assert [one.rule for one in found] == ["start-in-gear"]
    assert dangers(("R", "G-H", OL), chart=chart) == ()
    assert dangers(("R", "G-H", OL), ("R", "G-H", Mark.OPEN), chart=chart) == ()
    assert dangers(("R", "G-H", Mark.OPEN), chart=chart) == ()


@pytest.mark.parametrize(("hazard", "told"), [(0.005, False), (0.0051, True), (0.4, True)])
def test_a_danger_that_is_only_believed(hazard: float, told: bool) -> None:
    found = dangers(hazard=hazard)
    assert bool(found) is told
    if told:
        (one,) = found
        assert (one.signal, one.rule) == (Signal.DANGER, "start-in-gear")
        assert (one.probability, one.cells) == (hazard, ())
        assert one.sentence.startswith("the start permit may conduct in gear (")
        assert "Do not fit this part as it is." in one.sentence
    # What was read is told in its place.
    (read,) = dangers(("D", "G-H", LOW), hazard=hazard)
    assert read.probability is None


def test_a_chart_that_lets_it_start_in_gear_is_named_as_the_reason() -> None:
    chart = TOLD.replace("G-H,closed,open,closed,open", "G-H,closed,closed,closed,closed")
    (found,) = dangers(chart=chart, hazard=0.9)
    assert found.cells == ("G-H in R", "G-H in D")
    assert "lets the start permit conduct in gear (G-H in R, G-H in D)" in found.sentence


def test_lamps() -> None:
    (lit,) = dangers(("D", "J-K", LOW))
    assert (lit.signal, lit.rule, lit.cells) == (Signal.WARNING, "lamp-lit", ("J-K in D",))
    assert lit.sentence == (
        "reverse lamp J-K in D reads 0.1 ohm: lit while the vehicle does not back, it misleads "
        f"those behind ({LAMP_RULE})."
    )
    (dark,) = dangers(("R", "J-K", OL))
    assert (dark.signal, dark.rule, dark.cells) == (Signal.WARNING, "lamp-dark", ("J-K in R",))
    assert dark.sentence == (
        "reverse lamp J-K in R reads OL: dark or dim while the vehicle backs, nobody behind is "
        f"warned ({LAMP_RULE})."
    )
    assert dangers(("R", "J-K", LOW), ("D", "J-K", OL), ("R", "A-E", LOW), ("P", "A-E", OL)) == ()
    # In park and neutral a lamp that is lit misleads nobody's driving.
    assert dangers(("P", "J-K", LOW), ("N", "J-K", LOW)) == ()
    worst_first = dangers(("R", "J-K", OL), ("D", "J-K", LOW), ("D", "G-H", LOW))
    assert [one.rule for one in worst_first] == ["start-in-gear", "lamp-lit", "lamp-dark"]


def test_a_lamp_charted_lit_elsewhere_is_the_chart_s_fault() -> None:
    chart = TOLD.replace("J-K,open,closed,open,open", "J-K,open,closed,open,closed")
    assert [one.rule for one in dangers(("D", "J-K", OL), chart=chart)] == ["lamp-dark"]


CHECK = "The hook-up, the sheet or the chart is likelier wrong than the part ({}): check that first"


@pytest.mark.parametrize(
    ("hook_up", "chart", "told"),
    [
        (0.5, 0.0, ""),
        (0.6, 0.0, "60.0 %"),
        (0.0, 0.6, "60.0 %"),
        (0.3, 0.3, "60.0 %"),
        (0.2, 0.3, ""),
    ],
)
def test_what_is_likelier_wrong_is_checked_first(hook_up: float, chart: float, told: str) -> None:
    """Issue: "do not fit" stood beside "check the hook-up 99.8 %"."""
    verdicts = {
        PartVerdict.HOOK_UP: hook_up,
        PartVerdict.CHART: chart,
        PartVerdict.REPAIR: 1 - hook_up - chart,
    }
    read = (("D", "G-H", LOW), ("D", "J-K", LOW), ("R", "J-K", OL))
    found = dangers(*read, verdicts=verdicts)
    assert len(found) == 3
    for one in found:
        assert one.check_first.startswith(CHECK.format(told)) if told else not one.check_first
    assert ("until then" in found[0].sentence) is bool(told)
    assert ("as it is" in found[0].sentence) is not bool(told)
    (believed,) = dangers(verdicts=verdicts, hazard=0.2)
    assert bool(believed.check_first) is bool(told)
    assert dangers(*read, verdicts={})[0].check_first == ""


def test_each_value_is_told_once() -> None:
    (found,) = dangers(("D", "G-H", LOW), ("D", "G-H", LOW), ("D", "G-H", Mark.CLOSED))
    assert found.sentence.startswith("start permit G-H in D reads 0.1 ohm, closed: the engine")
