"""The commands as a person uses them."""

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.cli.files import MOST_BYTES
from benchproof.shipped.contents import shipped, shipped_bytes

ROOT = Path(__file__).parents[2]
CHART = """pins,P,R,N,D,role
A-E,closed,open,open,270 ohm,range bit
G-H,closed,open,closed,open,start permit
"""
GOOD = "pins,P,R,N,D\nA-E,0.1,OL,OL,271\nG-H,0.1,OL,0.2,OL\n"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("chart.csv").write_text(CHART, encoding="utf-8")
    Path("good.csv").write_text(GOOD, encoding="utf-8")
    return tmp_path


def run(*arguments: str, stdin: bytes | None = None) -> Result:
    result = CliRunner().invoke(main, list(arguments), input=stdin)
    # An exception that is no exit would be a traceback on the person's screen.
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def refused(*arguments: str, stdin: bytes | None = None) -> str:
    """Run a command that must be refused; return its only sentences."""
    result = run(*arguments, stdin=stdin)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    return result.stderr.strip()


def test_a_good_sheet_exits_0_and_says_pass(bench: Path) -> None:
    result = run("judge", "chart.csv", "good.csv")
    assert result.exit_code == 0
    assert "Verdict: PASS" in result.stdout
    assert "No meter was named" in result.stdout


def test_a_bad_sheet_exits_1_and_names_the_cell(bench: Path) -> None:
    Path("bad.csv").write_text(GOOD.replace("0.2,OL", "0.2,0.1"), encoding="utf-8")
    result = run("judge", "chart.csv", "bad.csv", "--meter", "depot-bench")
    assert result.exit_code == 1
    assert "! G-H in D: 0.1 ohm" in result.stdout
    assert "DANGER" in result.stdout
    assert "No meter was named" not in result.stdout


def test_json_is_one_object_with_the_documented_keys(bench: Path) -> None:
    result = run("judge", "chart.csv", "good.csv", "--json")
    told = json.loads(result.stdout)
    assert told["verdict"] == "pass"
    assert told["cells"][0] == {
        "position": "P",
        "pins": ["A", "E"],
        "expected": "closed",
        "reading": "0.1",
        "result": "pass",
        "reason": "0.1 ohm ± 0.37 ohm, allowed is at most 2 ohm; risk under 0.01 %",
    }
    diagnosis = told["diagnosis"]
    assert sum(diagnosis["verdicts"].values()) == pytest.approx(1.0)
    assert set(diagnosis["offset_deg"]) == {"best", "intervals95", "sign_known", "unit"}


def test_audit_json_has_the_documented_keys(bench: Path) -> None:
    told = json.loads(run("audit", "terrace-transit-9", "--json").stdout)
    assert told["findings"]
    # Nine positions make 36 pairs of them.
    assert len(told["distances"]) == 36


def test_a_cell_not_read_is_null_in_json(bench: Path) -> None:
    Path("part.csv").write_text("pins,P\nA-E,0.1\n", encoding="utf-8")
    told = json.loads(run("judge", "chart.csv", "part.csv", "--json").stdout)
    assert told["verdict"] == "incomplete"
    assert told["cells"][1]["reading"] is None


def test_standard_input_stands_for_either_file(bench: Path) -> None:
    assert run("judge", "chart.csv", "-", stdin=GOOD.encode()).exit_code == 0
    assert run("judge", "-", "good.csv", stdin=CHART.encode()).exit_code == 0
    assert run("audit", "-", stdin=shipped_bytes("families", "valley-coded-7")).exit_code == 0
    assert "only one" in refused("judge", "-", "-")


def test_a_name_of_a_shipped_family_stands_for_its_file(bench: Path) -> None:
    assert shipped("families")
    for name in shipped("families"):
        assert run("audit", name).exit_code == 0


def test_an_error_in_the_chart_exits_1(bench: Path) -> None:
    Path("odd.csv").write_text(
        CHART.replace("closed,open,closed,open", "closed,open,closed,closed")
    )
    result = run("audit", "odd.csv")
    assert result.exit_code == 1
    assert "ERROR start-outside" in result.stdout


def test_the_schema_is_json(bench: Path) -> None:
    shapes = json.loads(run("audit", "--schema").stdout)["anyOf"]
    assert all(one["$ref"] for one in shapes)


@pytest.mark.parametrize(
    ("sheet", "told"),
    [
        (
            b"hello there\n",
            "good.csv, line 1 column 1: starts no readings; type 'pins, P, R, N, D'",
        ),
        (b"pins,P,X\nA-E,0.1,OL\n", "good.csv, line 1 column 3: 'X' is no position of this family"),
        (b"pins,P\nA-E,0.1\nE-A,0.1\n", "good.csv, line 3 column 1: reads E-A again"),
        (b"pins,P\nA-Z,0.1\n", "good.csv, line 2 column 1: 'Z' is no pin of this family"),
        (
            b"pins,P\nA-E,-5\n",
            "good.csv, line 2 column 2: '-5' is further below zero than",
        ),
        (b"pins,P\nA-E,\xff\n", "good.csv, line 2: is not UTF-8 text"),
        (b"pins,P\nA-E,banana\n", "good.csv, line 2 column 2: 'banana' is no reading"),
        (b"", "good.csv: is empty"),
    ],
)
def test_a_sheet_that_cannot_be_used_gets_one_sentence(
    bench: Path, sheet: bytes, told: str
) -> None:
    Path("good.csv").write_bytes(sheet)
    message = refused("judge", "chart.csv", "good.csv")
    assert message.startswith(told)
    assert "\n" not in message


def test_several_mistakes_are_told_at_once(bench: Path) -> None:
    Path("good.csv").write_bytes(b"pins,P,R\nA-E,-1,banana\nA-Z,0,0\n")
    assert len(refused("judge", "chart.csv", "good.csv").splitlines()) == 3


def test_a_50_mb_file_is_refused_without_reading_it_all(bench: Path) -> None:
    with Path("huge.csv").open("wb") as file:
        file.truncate(50_000_000)
    for arguments in (("judge", "chart.csv", "huge.csv"), ("audit", "huge.csv")):
        message = refused(*arguments)
        assert message.startswith("huge.csv: is larger than 5 MB")
        assert "\n" not in message


def test_more_than_the_most_is_refused_from_standard_input_too(bench: Path) -> None:
    message = refused("audit", "-", stdin=b"x" * (MOST_BYTES + 1))
    assert message.startswith("standard input: is larger")


def test_a_missing_file_lists_what_comes_along(bench: Path) -> None:
    assert "valley-coded-7" in refused("audit", "nosuch")
    assert "workshop-dial" in refused("judge", "chart.csv", "good.csv", "--meter", "nosuch")
    assert refused("judge", "chart.csv", "nosuch.csv") == "nosuch.csv: No such file or directory."


def test_a_folder_is_no_file(bench: Path) -> None:
    assert "Is a directory" in refused("audit", ".")


def test_audit_without_a_family_says_what_to_name(bench: Path) -> None:
    assert refused("audit").startswith("audit: name a family file")


@pytest.mark.parametrize("option", ["--lead-ohm", "--ambient"])
@pytest.mark.parametrize("value", ["nan", "inf", "-999", "x"])
def test_impossible_numbers_are_refused(bench: Path, option: str, value: str) -> None:
    assert option in refused("judge", "chart.csv", "good.csv", option, value)


def test_leads_not_nulled_are_taken_off(bench: Path) -> None:
    Path("good.csv").write_text(GOOD.replace("0.1", "3.1").replace("0.2", "3.0"))
    assert run("judge", "chart.csv", "good.csv").exit_code == 1
    assert run("judge", "chart.csv", "good.csv", "--lead-ohm", "3").exit_code == 0


def test_the_demo_writes_and_judges_and_can_run_again(bench: Path) -> None:
    for _ in range(2):
        result = run("demo", "here")
        assert result.exit_code == 0
        assert "Verdict: PASS" in result.stdout
        assert "3 cells against the chart: G-H in P, G-H in N, J-K in R." in result.stdout
    assert sorted(p.name for p in Path("here").iterdir()) == [
        "good.csv",
        "misaligned.csv",
        "valley-coded-7.toml",
    ]
    assert run("judge", "here/valley-coded-7.toml", "here/good.csv").exit_code == 0
    assert run("judge", "here/valley-coded-7.toml", "here/misaligned.csv").exit_code == 1


def test_the_demo_never_overwrites_a_changed_file(bench: Path) -> None:
    run("demo", "here")
    changed = Path("here/good.csv")
    changed.write_text("mine", encoding="utf-8")
    assert "is already there and differs" in refused("demo", "here")
    assert changed.read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a full disk")
@pytest.mark.parametrize("command", [["audit", "valley-coded-7"], ["demo", "here"]])
def test_a_full_disk_gets_a_sentence(bench: Path, command: list[str]) -> None:
    program = Path(sys.executable).parent / "benchproof"
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [program, *command], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "standard output: No space left on device.\n"


def test_a_screen_that_knows_only_ascii_gets_no_traceback() -> None:
    program = Path(sys.executable).parent / "benchproof"
    done = subprocess.run(
        [program, "audit", "valley-coded-7"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"},
        check=False,
    )
    assert done.returncode == 0
    assert done.stderr == b""


def loaded(group: click.Group) -> dict[str, click.Command]:
    """Return the commands of a group, imported."""
    context = click.Context(group)
    found = {name: group.get_command(context, name) for name in group.list_commands(context)}
    return {name: command for name, command in found.items() if command is not None}


def test_every_command_and_option_is_documented() -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    sections = text.split("\n## ")
    # Every command has it, which is said once, before the first of them.
    everywhere = "--json"
    missing = [] if f"Every command takes `{everywhere}`" in sections[0] else [everywhere]
    for name, command in loaded(main).items():
        section = "".join(s for s in sections if f"benchproof {name}" in s)
        inner = loaded(command) if isinstance(command, click.Group) else {}
        missing += [f"{name} {sub}" for sub in inner if sub not in section]
        for each in (command, *inner.values()):
            for parameter in each.params:
                named = parameter.metavar or (parameter.name or "").upper()
                if isinstance(parameter, click.Option):
                    missing += [
                        f"{name} {o}" for o in parameter.opts[:1] if o not in section + everywhere
                    ]
                elif not any(word in section for word in {named, (parameter.name or "").upper()}):
                    missing.append(f"{name} {named}")
    assert missing == []


def test_next_without_readings_tells_the_first_one(bench: Path) -> None:
    told = json.loads(run("next", "valley-coded-7", "--json").stdout)
    assert set(told) == {"dangers", "questions", "diagnosis", "next"}
    assert told["next"]["position"] == "P"
    assert told["next"]["expected_seconds"] > 0.0


def test_next_after_a_misaligned_sheet_asks_for_a_lean(bench: Path) -> None:
    run("demo", "here")
    told = json.loads(
        run("next", "here/valley-coded-7.toml", "here/misaligned.csv", "--json").stdout
    )
    assert told["next"]["lean"] is not None
    assert max(told["diagnosis"]["verdicts"], key=told["diagnosis"]["verdicts"].get) == "realign"
    assert told["diagnosis"]["offset_deg"]["sign_known"] is False


def test_next_after_a_good_proof_stops_and_says_prove(bench: Path) -> None:
    run("demo", "here")
    good = Path("here/good.csv").read_text(encoding="utf-8")
    header, *rows = good.splitlines()[1:]
    again = [f"{row}again" for row in rows if row.split(",")[1:3] == ["G", "H"]]
    numbered = [
        ",".join([*row.split(",")[:5], f"t{n}", "", ""]) for n, row in enumerate(rows + again)
    ]
    Path("twice.csv").write_text("\n".join([header, *numbered]) + "\n", encoding="utf-8")
    told = json.loads(run("next", "here/valley-coded-7.toml", "twice.csv", "--json").stdout)
    assert told["next"]["position"] is None
    assert told["next"]["why"] == "likely good; prove before shipping"


def test_route_reads_every_cell_and_the_start_permit_twice(bench: Path) -> None:
    told = json.loads(run("route", "valley-coded-7", "--json").stdout)
    cells = [(r["position"], *r["pins"]) for r in told["readings"]]
    assert len(set(cells)) == 42
    assert len(cells) == 42 + 5


def test_route_with_probes_goes_along_the_pairs(bench: Path) -> None:
    selector = run("route", "valley-coded-7").stdout
    probes = run("route", "valley-coded-7", "--bench", "needle-probes", "--from", "D").stdout
    assert selector.splitlines()[2].startswith("   P: ")
    assert len(probes.splitlines()) > 3 * len(selector.splitlines())


def test_simulate_writes_sheets_that_can_be_judged(bench: Path) -> None:
    assert (
        run("simulate", "valley-coded-7", "--count", "4", "--seed", "5", "--out", "s").exit_code
        == 0
    )
    truths = [json.loads(line) for line in Path("s/truth.jsonl").read_text().splitlines()]
    assert [truth["file"] for truth in truths] == [f"part-{n}.csv" for n in range(1, 5)]
    for truth in truths:
        assert run("judge", "valley-coded-7", f"s/{truth['file']}").exit_code in (0, 1)
    run("simulate", "valley-coded-7", "--count", "4", "--seed", "5", "--out", "again")
    for file in Path("s").iterdir():
        assert file.read_bytes() == (Path("again") / file.name).read_bytes()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("route", "valley-coded-7", "--bench", "nosuch"), "selector-box"),
        (("route", "valley-coded-7", "--from", "X"), "no position of this family"),
        (("next", "valley-coded-7", "--priors", "nosuch.toml"), "No such file"),
        (("simulate", "valley-coded-7", "--out", "."), "is not empty"),
        (("simulate", "valley-coded-7", "--out", "s", "--count", "0"), "--count"),
    ],
)
def test_mistakes_with_the_plan_get_a_sentence(
    bench: Path, arguments: tuple[str, ...], told: str
) -> None:
    assert told in refused(*arguments)


def test_a_priors_file_replaces_some_of_the_priors(bench: Path) -> None:
    run("demo", "here")
    Path("p.toml").write_text("misaligned_rate = 0.01\n[family.other]\nslip_rate = 0.1\n")
    sheet = ("judge", "here/valley-coded-7.toml", "here/misaligned.csv", "--json")
    usual = json.loads(run(*sheet).stdout)["diagnosis"]["verdicts"]["realign"]
    rarer = json.loads(run(*sheet, "--priors", "p.toml").stdout)["diagnosis"]["verdicts"]["realign"]
    assert rarer < usual
    Path("p.toml").write_text("misaligned_rate = 2\nno_such = 1\n")
    assert len(refused(*sheet, "--priors", "p.toml").splitlines()) == 2


def wide_chart(pairs: int, positions: int) -> tuple[str, str]:
    """Return an invented chart of pairs that share no pin, and a good sheet for it."""
    names = ",".join(f"q{number}" for number in range(positions))
    rows = [
        (f"a{k}-b{k}", ["closed" if (k + n) % 3 else "open" for n in range(positions)])
        for k in range(pairs)
    ]
    chart = "\n".join([f"pins,{names}", *(",".join([pair, *row]) for pair, row in rows)])
    return chart, chart.replace("closed", "0.1").replace("open", "OL")


@pytest.mark.parametrize(("pairs", "positions", "diagnosed"), [(60, 4, True), (100, 30, False)])
def test_a_large_chart_is_judged_with_as_much_diagnosis_as_fits(
    bench: Path, pairs: int, positions: int, diagnosed: bool
) -> None:
    chart, sheet = wide_chart(pairs, positions)
    Path("wide.csv").write_text(chart)
    Path("sheet.csv").write_text(sheet)
    result = run("judge", "wide.csv", "sheet.csv", "--json")
    told = json.loads(result.stdout)
    assert told["verdict"] == "pass"
    assert (told["diagnosis"] is not None) is diagnosed
    assert any("No diagnosis" in caution for caution in told["cautions"]) is not diagnosed
    if not diagnosed:
        assert "too many for a diagnosis" in refused("next", "wide.csv")
