"""`window` and `centre` as a person uses them."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.face.aligned import Centred, ProcedureView, WindowView

ROOT = Path(__file__).parents[2]
EDGES = """position,pins,scale,turned,became,toward
N,G-H,12.5,up,closed,
N,G-H,20.5,up,open,D
N,G-H,20.0,down,closed,
N,G-H,12.0,down,open,
R,J-K,13.0,up,closed,
R,J-K,20.5,up,open,
R,J-K,20.0,down,closed,
R,J-K,12.4,down,open,
"""
ODD = """pins,P,R,N,D,role
A-E,closed,open,closed,open,range bit
A-E,closed,closed,closed,open,other
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("edges.csv").write_text(EDGES, encoding="utf-8")
    Path("odd.csv").write_text(ODD, encoding="utf-8")
    return tmp_path


def run(*arguments: str, stdin: bytes | None = None) -> Result:
    result = CliRunner().invoke(main, list(arguments), input=stdin)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def refused(*arguments: str) -> str:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    return result.stderr.strip()


def test_window_prints_the_chart_s_offsets_and_what_limits_them(bench: Path) -> None:
    result = run("window", "valley-coded-7")
    assert result.exit_code == 0
    assert "-4.00..+4.00 *" in result.stdout
    assert "Window: -4.00 to +4.00 deg, centre +0.00" in result.stdout
    assert "1 deg is 0.524 mm" in result.stdout
    assert (
        "Lower end, -2.09 mm or 4.2 line widths at the marks: G-H in P, G-H in N, J-K in R"
        in result.stdout
    )
    assert "nine lower ends of ten lie in -4.20..-2.73" in result.stdout
    assert "chock the wheels" in result.stdout


def test_window_of_a_bare_chart_is_in_gaps_with_a_band(bench: Path) -> None:
    chart = b"pins,P,R,N,D\nA-E,closed,open,open,closed\n"
    result = run("window", "-", stdin=chart)
    assert result.exit_code == 0
    assert "detent gaps" in result.stdout
    assert "mm" not in result.stdout
    assert "go by the band" in result.stdout


def test_window_json_has_the_documented_keys_and_no_infinity(bench: Path) -> None:
    result = run("window", "valley-coded-7", "--json")
    told = json.loads(result.stdout, parse_constant=lambda name: pytest.fail(name))
    assert (told["low"], told["high"], told["centre"], told["unit"]) == (-4.0, 4.0, 0.0, "deg")
    assert told["width_mm"] == pytest.approx(4.189, abs=1e-3)
    assert told["width_lines"] == pytest.approx(8.378, abs=1e-3)
    assert any(cell["low"] is None for cell in told["cells"])
    assert set(told) == set(WindowView.__struct_fields__)


def test_a_position_that_nothing_ends_has_no_margin(bench: Path) -> None:
    chart = "pins,P,R,N\nA-B,any,closed,open\n"
    Path("any.csv").write_text(chart, encoding="utf-8")
    Path("any-edges.csv").write_text(
        "position,pins,scale,turned,became\nR,A-B,0,up,closed\nR,A-B,9,up,open\n", encoding="utf-8"
    )
    arguments = ("centre", "any.csv", "--edges", "any-edges.csv", "--scale", "turns")
    result = run(*arguments)
    assert result.exit_code == 0
    assert "P  nothing ends it" in result.stdout
    told = json.loads(run(*arguments, "--json").stdout)
    assert told["margins"][0] == {"position": "P", "margin": None, "at_least": None, "holds": 1.0}


def test_a_chart_without_a_window_exits_1(bench: Path) -> None:
    result = run("window", "odd.csv")
    assert result.exit_code == 1
    assert "Window: none" in result.stdout
    assert "there is no centre to set" in refused("centre", "odd.csv")


def test_centre_guides_and_puts_the_cautions_first(bench: Path) -> None:
    result = run("centre", "valley-coded-7")
    assert result.exit_code == 0
    assert result.stdout.startswith("Cautions:\n  Before you turn the body on a vehicle")
    assert "Watch: G-H in N" in result.stdout
    assert "it is notch 3" in result.stdout
    assert "clockwise" not in result.stdout


def test_centre_tells_where_to_set_and_how_good_that_is(bench: Path) -> None:
    result = run("centre", "valley-coded-7", "--edges", "edges.csv")
    assert result.exit_code == 0
    for told in (
        "G-H in N: from 12.",
        "Set at: 16.",
        "standard uncertainty",
        "The scale rising stop at",
        "by the marks it would be 0.64",
        "Every cell holds with over 99 %",
        "Tighten the two bolts alternately",
        "seen from the cover side",
    ):
        assert told in result.stdout
    # A margin in every position.
    assert all(f"\n  {p:>4}  " in result.stdout for p in ("P", "R", "N", "D", "3", "2", "1"))


def test_a_turning_direction_is_never_told_without_its_side(bench: Path) -> None:
    result = run("centre", "terrace-transit-9", "--edges", "edges.csv")
    assert "turn the way that closes it" in result.stdout
    assert "clockwise" not in result.stdout


def test_edges_that_do_not_fit_exit_1(bench: Path) -> None:
    Path("wide.csv").write_text(EDGES.replace("20.", "26."), encoding="utf-8")
    result = run("centre", "valley-coded-7", "--edges", "wide.csv")
    assert result.exit_code == 1
    assert "DOES NOT FIT: G-H in N was found closed over 14" in result.stdout
    # What must not be relied on is not offered as a setting.
    assert "Set at" not in result.stdout
    assert "Cautions:" in result.stdout
    # The same readings on a screw: its step is taken from the dwells, which agree.
    assert run("centre", "valley-coded-7", "--edges", "wide.csv", "--scale", "turns").exit_code == 0


@pytest.mark.parametrize("more", [(), ("--edges", "edges.csv")], ids=["guide", "edges"])
def test_centre_json_has_the_documented_keys(bench: Path, more: tuple[str, ...]) -> None:
    told = json.loads(run("centre", "valley-coded-7", *more, "--json").stdout)
    assert set(told) == set((Centred if more else ProcedureView).__struct_fields__)
    if more:
        assert told["fits"] is True
        assert told["interval95"][0] < told["set_at"] < told["interval95"][1]
        assert [m["position"] for m in told["margins"]] == ["P", "R", "N", "D", "3", "2", "1"]


def test_mistakes_are_refused_in_a_sentence(bench: Path) -> None:
    assert "only one of" in refused("centre", "-", "--edges", "-")
    assert "no-such.csv" in refused("centre", "valley-coded-7", "--edges", "no-such.csv")
    Path("bad.csv").write_text(EDGES.replace("12.5", "twelve"), encoding="utf-8")
    assert "line 2 column 3: 'twelve'" in refused("centre", "valley-coded-7", "--edges", "bad.csv")
    for option in ("--step", "--per-degree"):
        for value in ("nan", "inf", "0", "-1"):
            result = run("centre", "valley-coded-7", option, value)
            assert result.exit_code == 2
    coarse = refused("centre", "valley-coded-7", "--edges", "edges.csv", "--step", "9")
    assert "narrower than one step of the scale (9 deg)" in coarse
    head = EDGES.splitlines()[0]
    Path("tiny.csv").write_text(f"{head}\nN,G-H,0,up,closed,\nN,G-H,1e-300,up,open,\n")
    tiny = refused("centre", "valley-coded-7", "--edges", "tiny.csv", "--scale", "turns")
    assert "narrower than one step of the scale (0.02 turns)" in tiny
    chart = "pins,P,R,N\nA-B,closed,closed,open\nA-C,open,closed,closed\n"
    Path("long.csv").write_text(chart, encoding="utf-8")
    assert "cannot be centred electrically" in refused("centre", "long.csv")
