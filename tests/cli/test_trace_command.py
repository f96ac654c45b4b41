"""`judge --trace` as a person uses it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.shipped.contents import shipped_bytes

ROOT = Path(__file__).parents[2]
NAME = "valley-coded-7"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with simulated sheets and traces, and the truth about them."""
    out = tmp_path_factory.mktemp("simulated") / "parts"
    arguments = ["simulate", NAME, "--count", "12", "--seed", "1", "--out", str(out), "--traces"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    return out


def run(*arguments: str, stdin: bytes | None = None) -> Result:
    result = CliRunner().invoke(main, list(arguments), input=stdin)
    # An exception that is no exit would be a traceback on the person's screen.
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def truth(folder: Path) -> list[dict[str, object]]:
    lines = (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def trace_of(folder: Path, told: dict[str, object]) -> str:
    return str(folder / str(told["file"]).replace(".csv", "-trace.csv"))


def first(folder: Path, verdict: str) -> dict[str, object]:
    return next(told for told in truth(folder) if told["verdict"] == verdict)


def test_a_good_sweep_alone_exits_0(folder: Path) -> None:
    result = run("judge", NAME, "--trace", trace_of(folder, first(folder, "accept")))
    assert result.exit_code == 0
    assert "Sweep verdict: PASS" in result.stdout
    assert "de-energised" in result.stdout
    assert "Offset:" in result.stdout


def test_with_readings_both_must_pass(folder: Path) -> None:
    good, bad = first(folder, "accept"), first(folder, "realign")
    sheet = str(folder / str(good["file"]))
    alone = run("judge", NAME, sheet)
    both = run("judge", NAME, sheet, "--trace", trace_of(folder, good))
    assert "Sweep verdict: PASS" in both.stdout
    assert both.exit_code == alone.exit_code == 0
    assert run("judge", NAME, sheet, "--trace", trace_of(folder, bad)).exit_code == 1


def test_a_misaligned_part_is_told_with_its_offset(folder: Path) -> None:
    told = first(folder, "realign")
    result = run("judge", NAME, "--trace", trace_of(folder, told), "--json")
    assert result.exit_code == 1
    found = json.loads(result.stdout)["diagnosis"]
    ((low, high),) = found["offset_deg"]["intervals95"]
    offset = told["offset"]
    assert isinstance(offset, float)
    assert low - 0.3 < offset < high + 0.3
    assert found["verdicts"]["realign"] + found["verdicts"]["accept"] > 0.9


def test_readings_and_a_sweep_are_one_body_of_evidence(folder: Path) -> None:
    """What is believed is by both: the sweep narrows the offset that the readings leave open."""
    told = first(folder, "accept")
    sheet = str(folder / str(told["file"]))
    alone = json.loads(run("judge", NAME, sheet, "--json").stdout)
    both = json.loads(run("judge", NAME, sheet, "--trace", trace_of(folder, told), "--json").stdout)

    def width(found: dict[str, dict[str, dict[str, list[list[float]]]]]) -> float:
        spans = found["diagnosis"]["offset_deg"]["intervals95"]
        return sum(high - low for low, high in spans)

    assert width(both) < 0.5 * width(alone)
    assert both["cells"][0]["reading"].startswith(alone["cells"][0]["reading"] + ", ")


def test_json_has_the_documented_keys(folder: Path) -> None:
    told = json.loads(
        run("judge", NAME, "--trace", trace_of(folder, truth(folder)[0]), "--json").stdout
    )
    assert told["verdict"] in ("pass", "fail", "incomplete", "undecided", "recheck")
    assert told["questions"] == []
    assert told["cells"][0]["reading"]
    assert told["diagnosis"]["faults"] is not None
    assert "diagnosis" not in told["trace"]
    assert told["trace"]["pairs"][0]["edges"]


def test_a_start_permit_that_conducts_in_gear_is_a_danger() -> None:
    lines = ["# N = 41", "angle_deg,G-H"]
    lines += [f"{x / 10},{'0.1' if abs(x - 580) < 20 else 'OL'}" for x in range(-100, 1180)]
    result = run("judge", NAME, "--trace", "-", stdin="\n".join(lines).encode())
    assert result.exit_code == 1
    danger = "DANGER: start permit G-H conducts from 56.1 to 59.9 deg, nearer to D"
    assert result.stdout.startswith(danger)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["judge", NAME], "give READINGS, or a sweep with --trace FILE"),
        (["judge", NAME, "-", "--trace", "-"], "only one file can come from standard input"),
        (["judge", NAME, "--trace", "nowhere.csv"], "nowhere.csv: No such file"),
        (["judge", NAME, "--trace", "."], "Is a directory"),
        (["judge", NAME, "--trace", "-"], "standard input: is empty"),
    ],
)
def test_a_mistake_exits_2_with_one_sentence(
    arguments: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*arguments, stdin=b"")
    assert result.exit_code == 2
    assert told in result.stderr
    assert not result.stdout
    assert "Traceback" not in result.stderr


def test_a_sheet_of_readings_is_no_trace() -> None:
    result = run("judge", NAME, "--trace", "-", stdin=b"pins,P,R\nA-E,0.1,OL\n")
    assert result.exit_code == 2
    assert "one column headed 'angle_deg'" in result.stderr
    assert run("judge", NAME, "--trace", "-", stdin=shipped_bytes("families", NAME)).exit_code == 2


def test_sheets_of_a_seed_are_the_same_with_traces_or_without(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "plain"
    run("simulate", NAME, "--count", "12", "--seed", "1", "--out", str(out))
    for told in truth(folder):
        name = str(told["file"])
        assert (out / name).read_bytes() == (folder / name).read_bytes()
    assert not [*out.glob("*trace*")]


def test_the_documented_file_is_read() -> None:
    """The example in docs/traces.md is a trace."""
    text = (ROOT / "docs" / "traces.md").read_text(encoding="utf-8")
    (block,) = [b for b in text.split("\n\n") if b.startswith("    # N = 43.2")]
    trace = "\n".join(line.strip() for line in block.splitlines())
    result = run("judge", NAME, "--trace", "-", "--json", stdin=trace.encode())
    assert json.loads(result.stdout)["trace"]["samples"] == 2
