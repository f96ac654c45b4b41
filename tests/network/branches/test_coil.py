"""A copper coil: ohms by temperature, row in a family file, faults from network to verdict."""

from dataclasses import replace
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
from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pin
from benchproof.family.problems import BadFile
from benchproof.foretell.faulttext import parse_fault
from benchproof.network.branches.base import States
from benchproof.network.branches.coil import Coil, CoilFault
from benchproof.network.chart import completed
from benchproof.network.faults import Fault, faulty
from benchproof.network.files import read_family
from benchproof.network.states import pair_ohms
from benchproof.reading.ideal import ideal_readings
from benchproof.shipped.contents import usual_priors
from benchproof.shipped.read import shipped_meter, shipped_priors
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Reader
from benchproof.simulate.sheet import full_sheet

METER = shipped_meter("depot-bench")
BLOCK = """
name = "invented-coil-and-switch"
positions = ["P", "R", "N", "D"]
detents_deg = [0.0, 20.0, 40.0, 60.0]
pins = ["A", "B", "C", "D", "E"]
note = "Invented: a pump's coil beside a switch, and a solenoid that returns through its body."
[[chart]]
pair = "A-B"
[[chart]]
pair = "C-case"
[[chart]]
pair = "D-E"
role = "start permit"
[[branches]]
kind = "coil"
between = "A-B"
value = "14 ohm"
[[branches]]
kind = "coil"
between = "C-case"
value = "5.2 ohm"
[[branches]]
kind = "contact"
between = "D-E"
closed_in = ["P", "N"]
"""


def block() -> Family:
    return completed(read_family(BLOCK.encode(), "block.toml"))


@cache
def tables() -> Tables:
    return tables_of(block(), shipped_priors(block().name))


def ohms_at(ohm: float, *celsius: float) -> list[float]:
    """Return what a coil alone reads at some temperatures."""
    family = Family("one", ("P",), (Pin("A"), Pin("B")), (), branches=(Coil(("A", "B"), ohm),))
    states = States(np.zeros(len(celsius), dtype=np.intp), None, np.array(celsius))
    return [*pair_ohms(family, [("A", "B")], states)[:, 0].tolist()]


# Ohms -------------------------------------------------------------------------------------


def test_ohms_at_20_degrees_are_its_own() -> None:
    assert ohms_at(14.0, 20.0) == [14.0]


def test_each_kelvin_adds_the_copper_share() -> None:
    # IEC 60028, read in works that quote it: 0.00393 per kelvin of the ohms at 20 degC.
    assert ohms_at(100.0, 21.0, 120.0, -30.0) == pytest.approx([100.393, 139.3, 80.35], rel=1e-12)


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 25.0, 75.0, 120.0])
def test_it_is_the_law_of_machine_windings(celsius: float) -> None:
    # Ohms of copper windings go as 234.5 + t (IEEE 112, from memory): the same, rounded otherwise.
    (ohm,) = ohms_at(1.0, celsius)
    assert ohm == pytest.approx((234.5 + celsius) / (234.5 + 20.0), abs=2e-4)


def test_where_no_temperature_is_told_it_is_20_degrees() -> None:
    coil = Coil(("A", "B"), 14.0)
    assert coil.conductance_s(States(np.arange(3), None), ()).tolist() == [1.0 / 14.0] * 3


def test_a_cold_at_which_no_ohms_are_left_is_refused() -> None:
    with pytest.raises(ValueError, match="so cold"):
        ohms_at(14.0, -240.0)


def test_a_fault_is_sized_at_one_temperature() -> None:
    coil = Coil(("A", "B"), 10.0)
    warm = States(np.arange(2), None, np.array([120.0, 120.0]))
    unit, shows = coil.of_size(warm, ())
    assert unit == pytest.approx(13.93, rel=1e-12)
    assert shows.tolist() == [True, True]
    with pytest.raises(ValueError, match="one temperature"):
        coil.of_size(replace(warm, temperature_c=np.array([20.0, 120.0])), ())


# File -------------------------------------------------------------------------------------


def test_its_row_is_read_and_its_chart_computed() -> None:
    family = block()
    assert family.branches[:2] == (Coil(("A", "B"), 14.0), Coil(("C", CASE), 5.2))
    assert [str(e) for e in family.chart[0].expect] == ["14 ohm"] * 4
    assert [str(e) for e in family.chart[1].expect] == ["5.2 ohm"] * 4


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("open", "is a coil that is open; give its ohms at 20 degrees Celsius."),
        ("0 ohm", "'0 ohm' is not above zero; give a small resistance."),
        ("warm", "'warm'"),
    ],
)
def test_a_value_that_is_none_is_told_with_its_line(value: str, sentence: str) -> None:
    with pytest.raises(BadFile) as bad:
        read_family(BLOCK.replace("14 ohm", value).encode(), "block.toml")
    line = BLOCK.splitlines().index('value = "14 ohm"') + 1
    assert f"block.toml, line {line}: " in str(bad.value)
    assert sentence in str(bad.value)


# Faults -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "size", "ohm"),
    [(CoilFault.OPEN, 0.0, inf), (CoilFault.SHORTED, 0.6, 8.4), (CoilFault.HIGH, 1.6, 22.4)],
)
def test_what_a_fault_makes_of_it(kind: CoilFault, size: float, ohm: float) -> None:
    family = faulty(block(), Fault(kind, ("A", "B"), 0, size))
    states = States(np.zeros(1, dtype=np.intp), np.zeros(1))
    read = pair_ohms(family, [("A", "B"), ("C", CASE)], states)[0].tolist()
    assert read == pytest.approx([ohm, 5.2], rel=1e-12)


def test_a_fault_of_another_kind_of_branch_is_refused() -> None:
    with pytest.raises(ValueError, match="branch 2 is not what coil open at D-E wants"):
        faulty(block(), Fault(CoilFault.OPEN, ("D", "E"), 2))


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("coil open at A-B", "coil open at A-B"),
        ("Coil turns shorted at B-A to 0.5", "coil turns shorted at A-B to about 0.5 of its value"),
        ("coil high at case-C to 3", "coil high at C-case to about 3 of its value"),
    ],
)
def test_a_fault_can_be_stated(typed: str, told: str) -> None:
    assert parse_fault(typed, tables().family).told == told


def diagnosed(fault: Fault | None) -> Diagnosis:
    family = block() if fault is None else faulty(block(), fault)
    sheet = ideal_readings(family, METER)
    return diagnose(tell(prior_of(tables()), observe(tables(), [*sheet, *sheet], METER)))


def test_a_good_one_is_accepted() -> None:
    assert diagnosed(None).decided is PartVerdict.ACCEPT


@pytest.mark.parametrize("branch", [0, 1], ids=["to a pin", "to the case"])
@pytest.mark.parametrize(
    ("kind", "size", "words"),
    [
        (CoilFault.OPEN, 0.0, "coil open at"),
        (CoilFault.SHORTED, 0.5, "coil turns shorted at"),
        (CoilFault.HIGH, 2.0, "coil high at"),
    ],
)
def test_a_planted_fault_is_found(kind: CoilFault, size: float, words: str, branch: int) -> None:
    """Never takes it for a part out of line: no lever moves a coil."""
    ends = block().branches[branch].ends
    found = diagnosed(Fault(kind, ends, branch, size))
    assert found.decided is PartVerdict.REPAIR
    assert found.verdicts[PartVerdict.REALIGN] < 0.01
    claimed = [claim.fault for claim in found.faults[:1]] + [*found.faults[0].tied]
    assert (kind, ends) in [(fault.kind, fault.at) for fault in claimed]
    assert any(fault.name.startswith(words) for fault in claimed)


def test_simulated_parts_have_its_faults_and_are_told_right() -> None:
    rng = np.random.default_rng(20)
    source = PartSource(tables())
    seen, right, decided = set(), 0, 0
    for _ in range(250):
        part = source.draw(rng)
        seen |= {fault.kind for fault in part.faults}
        if not any(isinstance(fault.kind, CoilFault) for fault in part.faults):
            continue
        reader = Reader(part, tables(), METER, rng, tables().priors)
        sheet = full_sheet(tables(), reader.read, METER)
        found = diagnose(tell(prior_of(tables()), observe(tables(), sheet, METER)))
        decided += found.decided is not None
        right += found.decided is part.verdict
    assert seen >= set(CoilFault)
    assert decided > 0
    assert right == decided


def test_priors_older_than_the_coil_still_replay() -> None:
    """A proof keeps its file of priors; one from before there were coils takes the usual rates."""
    now = usual_priors()
    before = b"\n".join(line for line in now.splitlines() if not line.startswith(b"coil_"))
    assert b"coil_open_rate" in now
    assert b"coil_open_rate" not in before
    assert read_priors(before, "priors.toml", "x") == read_priors(now, "priors.toml", "x")
