"""`benchproof foretell` as a person uses it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.value import format_value
from benchproof.shipped.read import lever_families, shipped_family, shipped_meter

ROOT = Path(__file__).parents[2]
BARE = """pins,P,R,N,D,role
A-E,closed,open,open,closed,range bit
B-E,closed,closed,open,open,range bit
G-H,closed,open,closed,open,start permit
"""


@pytest.fixture(autouse=True)
def _bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, stdin: bytes | None = None) -> Result:
    result = CliRunner().invoke(main, ["foretell", *arguments], input=stdin)
    # An exception that is no exit would be a traceback on the person's screen.
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def refused(*arguments: str) -> str:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    return result.stderr.strip()


def sheet(offset: float = 0.0, times: int = 2) -> str:
    family = shipped_family("valley-coded-7")
    readings = times * ideal_readings(family, shipped_meter("ordinary-handheld"), offset)
    rows = [
        f"{r.position},{r.pair[0]},{r.pair[1]},{format_value(r.value)},{n}"
        for n, r in enumerate(readings)
    ]
    table = "\n".join(["position,pin,pin,reading,time", *rows])
    Path("sheet.csv").write_text(table, encoding="utf-8")
    return "sheet.csv"


@pytest.mark.parametrize("name", lever_families())
def test_a_good_part_exits_0(name: str) -> None:
    result = run(name)
    assert result.exit_code == 0
    assert "No consequence is foretold." in result.stdout
    assert "DANGER" not in result.stdout
    assert "wheels chocked, parking brake on, nobody in the path" in result.stdout
    assert "Not proved: that" in result.stdout


def test_a_hazard_exits_1_and_stands_before_the_table() -> None:
    result = run("valley-coded-7", "--offset", "-6", "--fault", "contact high at A-E of 30")
    assert result.exit_code == 1
    text = result.stdout
    assert text.index("DANGER (start-in-gear)") < text.index("controller reads")
    assert text.index("controller reads") < text.index("Drivability (no-start)")
    assert "between N and D, nearer D (lever at 49.5 to 51 deg)" in text
    assert "49 CFR 571.102 S3.1.3" in text
    assert "P or no valid code" in text
    assert "Wording and use vary by edition and by maker." in text
    assert "with the lever detached" in text


def test_a_good_sheet_exits_0_and_says_what_is_not_ruled_out() -> None:
    result = run("valley-coded-7", sheet(), "--meter", "ordinary-handheld")
    assert result.exit_code == 0, result.stdout
    assert "Proved: G-H is open in R, D, 3, 2 and 1" in result.stdout
    assert "Not ruled out (start-in-gear): between " in result.stdout
    assert "No meter was named" not in result.stdout


def test_a_misaligned_sheet_is_foretold_as_read() -> None:
    result = run("valley-coded-7", sheet(6.0, times=1))
    assert result.exit_code == 1
    assert "WARNING (reverse-dark): The reverse lamps stay dark in R" in result.stdout
    assert "[as read, " in result.stdout
    assert "by the likeliest explanation" in result.stdout
    assert "No meter was named" in result.stdout


def test_an_empty_sheet_of_no_reading_tells_what_was_not_read() -> None:
    Path("few.csv").write_text("position,pin,pin,reading\nP,A,E,0.1\n", encoding="utf-8")
    result = run("valley-coded-7", "few.csv")
    assert "not read" in result.stdout
    assert "Not proved: that G-H is open in R, D, 3, 2 and 1." in result.stdout


def test_json_is_one_object_with_the_documented_keys() -> None:
    for arguments in (["--offset", "-6"], [sheet(6.0, times=1)]):
        told = json.loads(run("valley-coded-7", *arguments, "--json").stdout)
        assert list(told)[:2] == ["dangers", "questions"]
        grades = [one["grade"] for one in told["consequences"]]
        assert grades == sorted(grades, key=["hazard", "drivability", "nuisance"].index)
    assert told["explained"] > 0.5
    assert told["consequences"][0]["probability"] is not None


def test_json_tells_the_chain_from_cell_to_effect() -> None:
    told = json.loads(run("valley-coded-7", "--fault", "contact open at A-E", "--json").stdout)
    (one,) = (c for c in told["consequences"] if c["name"] == "no-code")
    assert one["chains"][0] == {
        "position": "P",
        "beside": None,
        "lever": None,
        "steps": [
            "contact open at A-E",
            "A-E is open, charted closed in P",
            "range word 0100, not 1100",
            "read as no valid code",
        ],
    }
    assert told["positions"][0]["seen"] == [
        {"word": "0100", "reads": ["no valid code"], "start": "on", "reverse": "off"}
    ]


def test_a_bare_chart_is_foretold_in_gaps_and_says_so() -> None:
    Path("chart.csv").write_text(BARE, encoding="utf-8")
    result = run("chart.csv", "--offset", "0.6")
    assert result.exit_code == 1
    assert "offset +0.6 detent gaps" in result.stdout
    assert "offsets and lever angles are in detent gaps" in result.stdout
    assert "implied" in result.stdout


def test_of_a_chart_without_roles_what_we_propose_is_foretold_and_asked() -> None:
    Path("chart.csv").write_text("pins,P,D\nA-E,closed,open\n", encoding="utf-8")
    result = run("chart.csv", "--fault", "contact stuck closed at A-E")
    assert "DANGER (start-in-gear)" in result.stdout
    assert "Which pair is the start permit" in result.stdout


def test_a_chart_of_which_it_is_said_that_it_has_no_roles_says_that_nothing_can_be_foretold() -> (
    None
):
    Path("chart.csv").write_text("pins,P,D\nA-E,closed,open\n", encoding="utf-8")
    result = run("chart.csv", "--say", "A-E=none", "--say", "start permit=none")
    assert result.exit_code == 0
    assert "Nothing can be foretold: no chart row has a role" in result.stdout
    assert "controller reads" not in result.stdout
    assert "No consequence is foretold" not in result.stdout


def test_a_very_large_chart_is_foretold_from_what_was_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("benchproof.diagnose.tables.MOST_WORK", 100.0)
    pins = [f"p{n}" for n in range(60)]
    rows = [f"{pin}-E,closed,open,range bit" for pin in pins]
    Path("chart.csv").write_text("\n".join(["pins,P,D,role", *rows]), encoding="utf-8")
    Path("few.csv").write_text("pins,P,D\np0-E,c,o\n", encoding="utf-8")
    result = run("chart.csv", "few.csv")
    assert result.exit_code == 0
    assert "Only what was read itself is foretold" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["valley-coded-7", "--fault", "contact stuck close at G-H"], "did you mean"),
        (["valley-coded-7", "--fault", "pin open at Z"], "'Z' is no pin"),
        (["valley-coded-7", "--offset", "nan"], "is no number"),
        (["valley-coded-7", "--offset", "1e9"], "is out of range"),
        (["-", "-"], "only one of FAMILY and READINGS"),
        (["nothing"], "no such file"),
        (["valley-coded-7", "nothing.csv"], "nothing.csv"),
        (["valley-coded-7", *(6 * ["--fault", "pin open at A"]), "--fault", "x"], "more than 6"),
    ],
)
def test_a_mistake_gets_one_sentence_and_exit_2(arguments: list[str], told: str) -> None:
    assert told in refused(*arguments)


def test_readings_and_a_stated_condition_do_not_mix() -> None:
    assert "not both" in refused("valley-coded-7", sheet(), "--offset", "3")


def test_a_chart_that_cannot_be_judged_against_is_refused() -> None:
    Path("chart.csv").write_text(BARE + "H-G,closed,open,closed,open,other\n", encoding="utf-8")
    assert "stands in more than one row" in refused("chart.csv")


def test_the_docs_name_every_rule() -> None:
    from benchproof.foretell.consequences import RULES

    page = (ROOT / "docs" / "foretell.md").read_text(encoding="utf-8")
    for rule in RULES:
        (row,) = (line for line in page.splitlines() if line.startswith(f"| `{rule.name}` |"))
        assert f"| {rule.grade.value} |" in row
        assert rule.code in row
