"""`benchproof proof edge`, `offset`, `sweep`, and what a part was under when it was read."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from tests.cli.test_proof_commands import done, refused, run, shop, shown

from benchproof.cli import main
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.geometry import Margins, geometry
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.reading.value import OverRange
from benchproof.shipped.read import shipped_family, shipped_meter
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.trace import sweep_of, write_trace

__all__ = ["shop"]

FAMILY = shipped_family("valley-coded-7")
OFF = 5.0
"""Degrees; the window ends at 4, the narrow tracks of start and reverse alike on both sides."""
LOST = {("P", ("G", "H")), ("N", ("G", "H")), ("R", ("J", "K"))}


@pytest.fixture
def misaligned(shop: Path) -> Path:
    """Return the folder of a shop with a sheet and a sweep of an invented part 5 degrees off."""
    meter = shipped_meter("depot-bench")
    off = [
        replace(one, value=OverRange()) if (one.position, one.pair) in LOST else one
        for one in ideal_readings(FAMILY, meter)
    ]
    Path("off.csv").write_text(write_readings(off), encoding="utf-8")
    part = SimulatedPart(geometry(FAMILY, Margins()), OFF, (), True, PartVerdict.REALIGN, False)
    pairs = [row.pair for row in FAMILY.chart]
    trace = sweep_of(part, FAMILY, pairs, np.random.default_rng(7), zero_deg=11.0)
    Path("sweep.csv").write_text(write_trace(trace, FAMILY, ("P", "N")), encoding="utf-8")
    done("open", "S-1", "--meter", "M-1")
    return shop


def test_a_sweep_turns_realign_of_unknown_direction_into_a_number(misaligned: Path) -> None:
    done("read", "S-1.1", "--sheet", "off.csv")
    before = shown()["diagnosis"]
    assert before["decided"] is None
    assert before["verdicts"]["realign"] > 0.9
    assert len(before["offset_deg"]["intervals95"]) == 2, "either way is as likely"
    assert any("Which way" in one for one in before["unknowable"])
    said = done("sweep", "S-1.1", "sweep.csv")
    assert "Recorded: sweep of " in said
    assert "20 edges found, 42 cells read; the detents of P, N are noted on it" in said
    after = shown()["diagnosis"]
    assert after["decided"] == "realign"
    ((low, high),) = after["offset_deg"]["intervals95"]
    assert low < OFF < high
    assert high - low < 1.5
    assert not any("Which way" in one for one in after["unknowable"])


def test_an_edge_or_the_marks_tell_the_direction_too(misaligned: Path) -> None:
    done("read", "S-1.1", "--sheet", "off.csv")
    told = run(
        "edge", "S-1.1", "n", "g-h", "--at", "-1", "--u", "0.3", "--below", "0.1", "--above", "OL",
        "--turned", "up",
    )  # fmt: skip
    assert "wheels chocked" in told.stderr
    assert "Recorded: edge of G-H at -1 deg from N, u 0.3: 0.1 ohm below, OL above" in told.stdout
    ((low, high),) = shown()["diagnosis"]["offset_deg"]["intervals95"]
    assert low < OFF < high
    done("undo", "S-1.1", "--kind", "wrong key")
    assert len(shown()["diagnosis"]["offset_deg"]["intervals95"]) == 2
    assert "the marks: +5 deg, u 0.5" in done("offset", "S-1.1", "--at", "5", "--u", "0.5")
    ((low, high),) = shown()["diagnosis"]["offset_deg"]["intervals95"]
    assert low < OFF < high


def test_what_is_found_stands_in_json_and_on_the_screen(misaligned: Path) -> None:
    done("edge", "S-1.1", "N", "G-H", "--at", "3", "--u", "0.2", "--below", "0.1", "--above", "OL")
    done("offset", "S-1.1", "--at", "-1.4", "--u", "0.2", "--how", "a new mark")
    done("sweep", "S-1.1", "sweep.csv", "--meter", "ordinary-handheld")
    done("undo", "S-1.1", "--reading", "3", "--kind", "wrong cell", "--reason", "other pins")
    told = shown()
    (edge,), (offset,), (sweep,) = told["edges"], told["offsets"], told["sweeps"]
    assert edge["withdrawn"] == {"reason": "other pins", "kind": "wrong cell", "by": "ab"}
    assert edge["edge"]["pins"] == ["G", "H"]
    assert (edge["edge"]["angle"], edge["unit"]) == (3.0, "deg")
    assert (offset["offset"], offset["u"], offset["how"]) == (-1.4, 0.2, "a new mark")
    assert sweep["meter"]
    assert (sweep["cells"], sweep["withdrawn"]) == (0, None)
    assert len(sweep["edges"]) == 18, "of two edges only a number tells that they are there"
    screen = done("show", "S-1.1")
    assert "Found: a new mark: -1.4 deg, u 0.2." in screen
    assert "Edge 3 (edge of G-H at +3 deg from N" in screen


def test_a_proof_with_a_sweep_replays_and_verifies(misaligned: Path) -> None:
    done("sweep", "S-1.1", "sweep.csv")
    assert "Closed as realign" in run("close", "S-1.1", "--as", "realign").stdout
    assert "the same" in done("replay", "S-1.1")


def test_what_the_part_was_under_goes_with_a_reading(misaligned: Path) -> None:
    done("read", "S-1.1", "P", "A-E", "0.1", "--temperature", "80", "--temperature-u", "2")
    (reading,) = shown()["readings"]
    assert reading["conditions"]["part_c"] == 80.0
    assert reading["conditions"]["supply_v"] is None
    assert "tell the temperature too" in refused(
        "read", "S-1.1", "P", "A-E", "0.1", "--temperature-u", "2"
    )
    assert "is out of range: at least -100 °C and at most 400 °C" in refused(
        "read", "S-1.1", "P", "A-E", "0.1", "--temperature", "4000"
    )


def test_what_the_part_is_under_goes_with_every_reading_at_the_prompt(misaligned: Path) -> None:
    typed = "0.1\ntemperature 60\n0.1\ntemperature\n0.1\nq\n"
    run("read", "S-1.1", "--temperature", "80", typed=typed)
    told = [reading["conditions"] for reading in shown()["readings"]]
    assert [one and one["part_c"] for one in told] == [80.0, 60.0, None]


def test_a_sweep_that_is_none_is_refused_and_nothing_is_kept(misaligned: Path) -> None:
    events = shown()["events"]
    Path("no.csv").write_text("what is this\n", encoding="utf-8")
    assert "no.csv" in refused("sweep", "S-1.1", "no.csv")
    assert "nowhere.csv" in refused("sweep", "S-1.1", "nowhere.csv")
    Path("large.csv").write_bytes(b"1" * 20_000_001)
    assert "is larger than 20 MB" in refused("sweep", "S-1.1", "large.csv")
    assert shown()["events"] == events


def test_at_the_prompt_all_of_it_can_be_typed(misaligned: Path) -> None:
    said = done(
        "read",
        "S-1.1",
        typed="edge N G-H 3,2 0.2 0.1 OL\nedge N\noffset 1.4 0.2\noffset x 1\nsweep sweep.csv\n"
        "sweep nowhere.csv\nu wrong cell other part\nq\n",
    )
    assert "Recorded: edge of G-H at +3.2 deg from N" in said
    assert "such as 'edge N G-H 3.2 0.2 0.1 OL'" in said
    assert "Recorded: the marks: +1.4 deg, u 0.2." in said
    assert "'x' is no number" in said
    assert "Recorded: sweep of " in said
    assert "No such file" in said
    assert "withdrawn as wrong cell by ab: other part. It stays in the record" in said
    assert [one["withdrawn"] is None for one in shown()["sweeps"]] == [False]


def test_the_certificate_tells_what_was_found(misaligned: Path) -> None:
    done("sweep", "S-1.1", "sweep.csv")
    done("turn", "S-1.1", "5 deg back")
    done("offset", "S-1.1", "--at", "0", "--u", "0.2")
    assert run("close", "S-1.1", "--as", "abandoned").exit_code == 1
    printed = CliRunner().invoke(main, ["certificate", "S-1.1", "--out", "paper.txt"])
    assert printed.exit_code == 0, printed.stderr
    paper = " ".join(Path("paper.txt").read_text(encoding="utf-8").split())
    assert "As found: sweep of 5120 points, sweep.csv, file" in paper
    assert "As left: the marks: +0 deg, u 0.2" in paper
    assert json.dumps(shown()["sweeps"][0]["file"])[1:13] in paper
