"""Before a part is read: voltage, leads, and the daily check."""

import pytest

from benchproof.family.model import Pair
from benchproof.instrument.checks import (
    RUN,
    DailyCheck,
    check_no_voltage,
    daily_check,
    drift,
    null_leads,
)
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.selector import ScpiSelector
from benchproof.instrument.simcommands import SimBench
from benchproof.reading.value import Measured, OverRange, Value

from .conftest import CHANNELS, PAIRS, MakeLink


class Fixed:
    """A meter that reads values one after another."""

    def __init__(self, *values: Value) -> None:
        self._values = [*values]

    def read_ohm(self) -> Value:
        return self._values.pop(0)


def ohms(*values: float) -> Fixed:
    return Fixed(*(Measured(value, 0.01) for value in values))


def test_no_voltage_on_any_pair(bench: SimBench, link: MakeLink) -> None:
    selector = ScpiSelector(link(bench).dialogue(), CHANNELS)
    found = check_no_voltage(lambda _: 0.001, selector, [*PAIRS.values()])
    assert found == dict.fromkeys(PAIRS.values(), 0.001)
    assert bench.closed == set()


@pytest.mark.parametrize("volt", [12.6, -12.6, float("inf")])
def test_a_live_pair_stops_everything(bench: SimBench, link: MakeLink, volt: float) -> None:
    selector = ScpiSelector(link(bench).dialogue(), CHANNELS)

    def volts(pair: Pair) -> float:
        selector.connect(pair)
        return volt if bench.closed == {"102"} else 0.001

    with pytest.raises(InstrumentProblem, match="pair B-E: carries a voltage") as refused:
        check_no_voltage(volts, selector, [*PAIRS.values()])
    assert "de-energise" in str(refused.value)
    assert bench.closed == set()


def test_the_leads_null() -> None:
    null = null_leads(ohms(0.20, 0.21, 0.19, 0.20, 0.20), "2031-05-06")
    assert null.ohm == pytest.approx(0.2)
    assert null.within_ohm == pytest.approx(0.01)
    assert null.at == "2031-05-06"


@pytest.mark.parametrize(
    ("meter", "trouble"),
    [
        (Fixed(OverRange()), Trouble.LEADS_OPEN),
        (ohms(5.0), Trouble.LEADS_OPEN),
        (ohms(0.2, 0.2, 0.4, 0.2, 0.2), Trouble.LEADS_WANDER),
    ],
)
def test_no_null_of_open_or_wandering_leads(meter: Fixed, trouble: Trouble) -> None:
    with pytest.raises(InstrumentProblem) as refused:
        null_leads(meter, "now")
    assert refused.value.trouble is trouble


def test_the_daily_check_takes_off_the_leads() -> None:
    check = daily_check(ohms(100.25), 100.0, 0.1, "monday", lead_ohm=0.2)
    assert check.error_ohm == pytest.approx(0.05)
    assert check.good
    assert not daily_check(ohms(100.35), 100.0, 0.1, "tuesday", 0.2).good
    assert not daily_check(Fixed(OverRange()), 100.0, 0.1, "wednesday").good


def checks(*errors: float) -> list[DailyCheck]:
    return [DailyCheck(100.0, 0.1, 100.0 + e, 0.0, f"{n}") for n, e in enumerate(errors)]


@pytest.mark.parametrize(
    ("errors", "word"),
    [
        ((), ""),
        ((0.0,), ""),
        ((0.0, 0.01, 0.0, -0.01, 0.0, 0.01, 0.0), ""),
        ((0.0, 0.2), "outside its limit"),
        ([0.01 * n for n in range(RUN)], "rise one after another"),
        ([-0.01 * n for n in range(RUN)], "fall one after another"),
        ([0.01 * n for n in range(RUN - 1)], ""),
        ((0.0, 0.01, 0.0, -0.01, 0.0, 0.01, 0.08), "far from those before"),
    ],
)
def test_drift_is_noticed_before_a_check_fails(errors: list[float], word: str) -> None:
    told = drift(checks(*errors))
    assert word in told
    assert bool(told) == bool(word)
