"""A unit behind one connector is proved as any part is: opened, read, accepted, certified."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchproof.cli import main
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.record.rows import GearRow, PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family, shipped_meter

UNIT = "meadow-unit-6"
AT = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    with open_store("shop.sqlite", lambda: AT) as store:
        store.parts.add(PartRow("U-1", UNIT, store.files.put(shipped_bytes("families", UNIT)), AT))
        store.people.add(PersonRow("ab", "Invented Person"))
        meter = store.files.put(shipped_bytes("meters", "depot-bench"))
        store.gear.add(GearRow("M-1", "meter", meter, date(2019, 1, 1), date(2100, 1, 1)))
    readings = ideal_readings(shipped_family(UNIT), shipped_meter("depot-bench"))
    Path("good.csv").write_text(write_readings(readings), encoding="utf-8")
    return tmp_path


def done(*arguments: str) -> str:
    result = CliRunner().invoke(main, [*arguments])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_it_is_opened_read_accepted_and_certified(shop: Path) -> None:
    assert "Next: lever in P" in done("proof", "open", "U-1", "--meter", "M-1")
    read = done("proof", "read", "U-1.1", "--sheet", "good.csv", "--temperature", "20")
    assert "54 readings are recorded." in read
    assert "6-7 in R" in done("proof", "show", "U-1.1")
    for position in ("R", "D", "2", "1"):
        done("proof", "read", "U-1.1", position, "6-7", "OL", "--again")
    assert "Closed as accepted" in done("proof", "close", "U-1.1")
    assert "the same" in done("proof", "replay", "U-1.1")
    paper = done("certificate", "U-1.1", "--format", "text")
    assert "6-7" in paper
    assert "start permit" in paper


def test_a_start_in_gear_behind_the_harness_is_told_first(shop: Path) -> None:
    done("proof", "open", "U-1")
    told = CliRunner().invoke(main, ["proof", "read", "U-1.1", "D", "6-7", "0.3"]).output
    assert told.startswith("DANGER: start permit 6-7 in D reads 0.3 ohm")
    refused = CliRunner().invoke(main, ["proof", "close", "U-1.1"])
    assert refused.exit_code == 2
