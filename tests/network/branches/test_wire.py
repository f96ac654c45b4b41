"""A wire of a harness: ohms by length and gauge, row in a file, faults from network to verdict."""

from functools import cache
from math import inf

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import diagnose
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.priors import read_priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.update import prior_of, tell
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.family.model import Family
from benchproof.family.problems import BadFile
from benchproof.foretell.faulttext import parse_fault
from benchproof.network.branches.base import States
from benchproof.network.branches.wire import Wire, WireFault, area_of_gauge, copper_ohm
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, PartFault, faulty, single_faults
from benchproof.network.files import read_family
from benchproof.network.states import pair_ohms
from benchproof.reading.ideal import ideal_readings
from benchproof.shipped.contents import usual_priors
from benchproof.shipped.read import shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet

METER = shipped_meter("depot-bench")
LEAD = """
name = "invented-lead"
pins = ["1", "2", "3", "4"]
inner = ["A", "B"]
branches = [
    { kind = "wire", between = "1-A", value = "0.1 ohm" },
    { kind = "wire", between = "2-B", value = "0.1 ohm" },
    { kind = "coil", between = "A-3", value = "14 ohm" },
    { kind = "coil", between = "B-4", value = "30 ohm" },
]
[[chart]]
pair = "1-3"
[[chart]]
pair = "2-4"
"""


def lead(old: str = "", new: str = "") -> Family:
    assert old in LEAD
    return completed(read_family(LEAD.replace(old, new, 1).encode(), "lead.toml"))


@cache
def tables() -> Tables:
    return tables_of(lead(), shipped_priors("invented-lead"))


# Ohms -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gauge", "ohm_per_kft"),
    [(18, 6.385), (20, 10.15), (22, 16.14), (24, 25.67), (26, 40.81), (30, 103.2), (36, 414.8)],
)
def test_ohms_of_a_gauge_are_those_of_the_table(gauge: int, ohm_per_kft: float) -> None:
    # Ohms per 1000 ft of copper wire at 20 degC (HyperPhysics wire table, read).
    assert copper_ohm(304.8, area_of_gauge(gauge)) == pytest.approx(ohm_per_kft, rel=2e-3)


def test_a_meter_of_one_square_millimeter_is_the_standard_of_copper() -> None:
    # IEC 60028, read in works that quote it: 1/58 ohm mm2/m.
    assert copper_ohm(1.0, 1.0) == pytest.approx(0.017241, rel=1e-4)


# File -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "ohm"),
    [
        ("length_m = 2.0, area_mm2 = 0.5", 4.0 / 58.0),
        ("length_m = 3.048, gauge_awg = 18", 0.06385),
        ('value = "30 mohm"', 0.03),
    ],
)
def test_its_ohms_are_told_or_follow_from_length_and_gauge(row: str, ohm: float) -> None:
    (wire, *_) = lead('value = "0.1 ohm"', row).branches
    assert isinstance(wire, Wire)
    assert wire.ohm == pytest.approx(ohm, rel=2e-3)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("length_m = 2.0", "give 'value', or 'length_m' and 'gauge_awg'"),
        ("length_m = 2.0, gauge_awg = 18, area_mm2 = 1.0", "give 'value', or 'length_m'"),
        ("gauge_awg = 18", "give 'value', or 'length_m' and 'gauge_awg'"),
        ('value = "1 ohm", length_m = 2.0', "gives a wire's 'value' and its length or gauge"),
        ('value = "open"', "is a wire that is open; leave it out."),
        ('value = "0 ohm"', "'0 ohm' is not above zero; give a small resistance."),
        ("length_m = 0", "needs a number, above 0"),
        ("length_m = 2.0, gauge_awg = 41", "at most 40"),
    ],
)
def test_what_does_not_fit_is_told_with_its_line(row: str, sentence: str) -> None:
    with pytest.raises(BadFile) as bad:
        lead('value = "0.1 ohm"', row)
    assert "lead.toml, line 6: " in str(bad.value)
    assert sentence in str(bad.value)


# Faults -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "size", "ohm"), [(WireFault.OPEN, 0.0, inf), (WireFault.HIGH, 6.0, 20.0)]
)
def test_what_a_fault_makes_of_it(kind: WireFault, size: float, ohm: float) -> None:
    family = faulty(lead(), Fault(kind, ("1", "A"), 0, size))
    states = States(np.zeros(1, dtype=np.intp), None)
    read = pair_ohms(family, [("1", "3"), ("2", "4")], states)[0].tolist()
    assert read == pytest.approx([ohm, 30.1], rel=1e-12)


def test_two_wires_can_be_in_each_others_places() -> None:
    swaps = [one for one in single_faults(lead()) if one.kind is PartFault.WIRES_SWAPPED]
    assert [one.at for one in swaps] == [("1", "2")]
    states = States(np.zeros(1, dtype=np.intp), None)
    family = faulty(lead(), swaps[0])
    assert pair_ohms(family, [("2", "3"), ("1", "4")], states)[0].tolist() == pytest.approx(
        [14.1, 30.1]
    )


def test_a_pin_with_more_than_its_wire_is_not_one_of_them() -> None:
    family = lead(
        "branches = [", 'branches = [{ kind = "coil", between = "1-4", value = "90 ohm" },'
    )
    kinds = [one.kind for one in single_faults(family)]
    assert PartFault.WIRES_SWAPPED not in kinds


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("wire open at A-1", "wire open at 1-A"),
        ("wire joint high at 1-A of 6 ohm", "wire joint high at 1-A of about 6 ohm"),
        ("wires swapped at 2-1", "wires swapped at 1-2"),
    ],
)
def test_a_fault_can_be_stated(typed: str, told: str) -> None:
    assert parse_fault(typed, tables().family).told == told


def diagnosed(fault: Fault | None) -> Diagnosis:
    family = lead() if fault is None else faulty(lead(), fault)
    sheet = ideal_readings(family, METER)
    return diagnose(tell(prior_of(tables()), observe(tables(), [*sheet, *sheet], METER)))


def test_a_good_one_is_accepted() -> None:
    assert diagnosed(None).decided is PartVerdict.ACCEPT


@pytest.mark.parametrize(
    ("fault", "alike"),
    [
        (Fault(WireFault.OPEN, ("1", "A"), 0), {"coil open at A-3", "pin open at 1"}),
        (Fault(WireFault.HIGH, ("1", "A"), 0, 60.0), {"coil high at A-3"}),
        (Fault(PartFault.WIRES_SWAPPED, ("1", "2")), {"pins swapped at 1-2"}),
    ],
)
def test_a_planted_fault_is_named_with_what_no_reading_tells_from_it(
    fault: Fault, alike: set[str]
) -> None:
    found = diagnosed(fault)
    told = {f"{one}" for claim in found.faults for one in (claim.fault, *claim.tied)}
    assert told >= {fault.name, *alike}
    assert found.verdicts[PartVerdict.ACCEPT] < 0.01


def test_simulated_parts_have_its_faults_and_are_told_right() -> None:
    rng = np.random.default_rng(20)
    source = PartSource(tables())
    seen, right, decided = set(), 0, 0
    for _ in range(250):
        part = source.draw(rng)
        kinds = {fault.kind for fault in part.faults}
        seen |= kinds
        if not kinds & {*WireFault, PartFault.WIRES_SWAPPED}:
            continue
        reader = Reader(part, tables(), METER, rng, tables().priors)
        sheet = full_sheet(tables(), reader.read, METER)
        found = diagnose(tell(prior_of(tables()), observe(tables(), sheet, METER)))
        decided += found.decided is not None
        right += found.decided is part.verdict
    assert seen >= {*WireFault}
    assert decided > 0
    assert right == decided


def test_priors_older_than_the_wire_still_replay() -> None:
    """A proof keeps its file of priors; one from before there were wires takes the usual rates."""
    now = usual_priors()
    before = b"\n".join(line for line in now.splitlines() if not line.startswith(b"wire"))
    assert b"wire_open_rate" in now
    assert b"wires_swapped_rate" in now
    assert b"wire" not in b"\n".join(x for x in before.splitlines() if not x.startswith(b"#"))
    assert read_priors(before, "priors.toml", "x") == read_priors(now, "priors.toml", "x")
