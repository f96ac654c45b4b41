"""Invented parts of a block of coils, which has no lever: their faults are found and told right."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from benchproof.cli.main import main
from benchproof.conduct.front import ground_for
from benchproof.diagnose.priors import read_priors
from benchproof.diagnose.tables import tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import examine
from benchproof.network.branches.coil import CoilFault
from benchproof.reading.value import Conditions
from benchproof.shipped.contents import usual_priors
from benchproof.shipped.read import shipped_family, shipped_meter
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Habits, Reader
from benchproof.simulate.sheet import full_sheet

FAMILY = shipped_family("depot-coils-3")
OFTEN = re.compile(r"^(coil_\w+_rate) = [0-9.]+", re.MULTILINE)
METER = shipped_meter("depot-bench")


def test_planted_faults_are_found() -> None:
    """Of 120 invented parts, many with a coil fault, the likeliest verdict is right."""
    usual = usual_priors().decode()
    often = read_priors(OFTEN.sub(r"\1 = 0.05", usual).encode(), "often.toml", FAMILY.name)
    source, rng = PartSource(tables_of(FAMILY, often)), np.random.default_rng(7)
    ground = ground_for(FAMILY, METER)
    assert ground.tables is not None
    right, named, faulty = 0, 0, 0
    for _ in range(120):
        part = source.draw(rng)
        reader = Reader(part, ground.tables, METER, rng, often, Habits(marks=0.0))
        sheet = full_sheet(ground.tables, reader.read, METER)
        told = [replace(one, conditions=Conditions(20.0, 0.5)) for one in sheet]
        found = examine(ground, told).believed
        assert found is not None
        assert found.offset is None
        assert PartVerdict.REALIGN not in found.verdicts
        best = max(found.verdicts, key=lambda one: found.verdicts[one])
        right += best is part.verdict
        coils = [one for one in part.faults if isinstance(one.kind, CoilFault)]
        if len(part.faults) == len(coils) == 1:
            faulty += 1
            claims = [
                (fault.kind, fault.at)
                for claim in found.faults[:1]
                for fault in (claim.fault, *claim.tied)
            ]
            named += (coils[0].kind, coils[0].at) in claims
    assert right >= 0.95 * 120
    assert faulty >= 30
    assert named >= 0.9 * faulty


def test_the_truth_says_nothing_of_a_lever(tmp_path: Path) -> None:
    out = tmp_path / "parts"
    result = CliRunner().invoke(
        main, ["simulate", "depot-coils-3", "--count", "3", "--out", f"{out}"]
    )
    assert result.exit_code == 0
    for line in (out / "truth.jsonl").read_text(encoding="utf-8").splitlines():
        assert set(json.loads(line)) == {"file", "faults", "verdict"}
    head = (out / "part-1.csv").read_text(encoding="utf-8").splitlines()[1]
    assert head == "pin,pin,reading,unit,time,note"
    judged = CliRunner().invoke(
        main, ["judge", "depot-coils-3", f"{out / 'part-1.csv'}", "--meter", "depot-bench"]
    )
    assert "1-C" in judged.output
