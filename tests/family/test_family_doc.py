"""The whole family file of docs/family.md, read as it stands."""

import re
from pathlib import Path

import pytest

from benchproof.conduct.families import usable, vehicle_read
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.family.audit.finding import Severity
from benchproof.family.audit.whole import audit
from benchproof.reading.ideal import ideal_readings
from benchproof.shipped.read import shipped_meter

DOC = Path(__file__).parents[2] / "docs" / "family.md"
TEXT = DOC.read_text(encoding="utf-8")
FILE = re.findall(r"```toml\n(.*?)```", TEXT, re.S)[-1]
NAME = "hill-loader-4"


def test_it_is_read_and_the_audit_finds_nothing_to_mend() -> None:
    family = usable(FILE.encode(), NAME)
    assert family.name == NAME
    errors = [one.sentence for one in audit(family) if one.severity is not Severity.NOTE]
    assert errors == []


def test_every_line_of_it_says_something() -> None:
    lines = [line for line in FILE.splitlines() if line.strip()]
    assert sum("#" in line for line in lines) > 15


def test_a_good_part_of_it_passes_and_its_own_consequence_is_known() -> None:
    family = usable(FILE.encode(), NAME)
    meter = shipped_meter("depot-bench")
    found = examine(ground_for(family, meter), ideal_readings(family, meter))
    assert found.judged.verdict.value == "pass"
    assert "creep-alarm-silent" in {one.name for one in vehicle_read(FILE.encode(), NAME).rules}


KEYS = re.findall(r"^\| `\[*([a-z_]+)\]*`", TEXT.partition("## A family file (TOML)")[2], re.M)


@pytest.mark.parametrize("key", KEYS)
def test_every_key_of_the_table_stands_in_it(key: str) -> None:
    assert len(KEYS) > 15
    # `said` is written by `audit --keep`.
    assert key == "said" or re.search(rf"\b{key}\b", FILE), key
