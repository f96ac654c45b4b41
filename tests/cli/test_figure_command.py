"""`benchproof figure` as a person uses it."""

from pathlib import Path
from xml.etree import ElementTree

import click
import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.cli.groups import figure
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import lever_families

ROOT = Path(__file__).parents[2]
CHART = "pins,P,R,N,D\nA-E,closed,open,open,closed\nG-H,closed,open,closed,open\n"
SWEEP = """# Invented.
# scale = family
angle,G-H
-10,OL
-5,OL
-4,0.1
0,0.1
3,0.1
4,OL
30,OL
37,0.1
41,0.1
44,0.1
45,OL
60,OL
"""


@pytest.fixture(autouse=True)
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("chart.csv").write_text(CHART, encoding="utf-8")
    Path("sweep.csv").write_text(SWEEP, encoding="utf-8")


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, ["figure", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def refused(*arguments: str) -> str:
    """Run a command that must be refused; return its only sentence."""
    result = run(*arguments)
    assert result.exit_code == 2
    assert "Traceback" not in result.stderr
    return result.stderr.strip()


def drawn(name: str) -> str:
    """Return the title of a figure."""
    root = ElementTree.fromstring(Path(name).read_bytes())
    return root[0].text or ""


@pytest.mark.parametrize("family", lever_families())
@pytest.mark.parametrize("kind", ["strip", "dial"])
def test_every_family_that_comes_along_can_be_drawn(kind: str, family: str) -> None:
    result = run(kind, family, "--offset", "-1.5", "--out", "x.svg")
    assert result.exit_code == 0
    assert result.stdout.startswith("Wrote x.svg.\n")
    assert family in drawn("x.svg")


def test_the_dial_comes_with_the_cautions_of_who_turns_the_body() -> None:
    assert "Cautions:" in run("dial", "valley-coded-7", "--out", "x.svg").stdout


@pytest.mark.parametrize("kind", ["strip", "dial"])
def test_standard_output_is_the_figure_and_nothing_else(kind: str) -> None:
    result = run(kind, "valley-coded-7", "--out", "-")
    run(kind, "valley-coded-7", "--out", "x.svg")
    assert result.stdout_bytes == Path("x.svg").read_bytes()


def test_a_chart_alone_has_a_strip() -> None:
    assert run("strip", "chart.csv", "--out", "x.svg").exit_code == 0
    assert "assumed from the chart" in Path("x.svg").read_text(encoding="utf-8")


def test_a_sweep_is_drawn_as_a_trace_and_on_the_strip() -> None:
    assert run("trace", "valley-coded-7", "sweep.csv", "--out", "t.svg").exit_code == 0
    assert drawn("t.svg") == "Sweep of valley-coded-7"
    described = Path("t.svg").read_text(encoding="utf-8")
    assert "closes at -4.5 deg" in described
    result = run("strip", "valley-coded-7", "--trace", "sweep.csv", "--out", "s.svg")
    assert result.exit_code == 0
    assert drawn("s.svg").endswith("as found")


def test_a_sweep_of_an_untied_scale_has_a_trace_but_no_strip() -> None:
    Path("sweep.csv").write_text(SWEEP.replace("# scale = family\n", ""), encoding="utf-8")
    assert run("trace", "valley-coded-7", "sweep.csv", "--out", "t.svg").exit_code == 0
    assert "No detents are shown" in Path("t.svg").read_text(encoding="utf-8")
    said = refused("strip", "valley-coded-7", "--trace", "sweep.csv", "--out", "s.svg")
    assert said.startswith("sweep.csv: cannot be drawn against the detents")
    assert not Path("s.svg").exists()


def test_what_cannot_be_drawn_is_refused_in_one_sentence() -> None:
    assert "needs mark_radius_mm" in refused("dial", "chart.csv", "--out", "x.svg")
    assert "tells no detents_deg" in refused(
        "strip", "chart.csv", "--offset", "2", "--out", "x.svg"
    )
    assert "leave out --offset or --trace" in refused(
        "strip", "valley-coded-7", "--offset", "2", "--trace", "sweep.csv", "--out", "x.svg"
    )
    for offset in ("nan", "inf", "181", "x"):
        assert "--offset" in refused("dial", "valley-coded-7", "--offset", offset, "--out", "x.svg")
    assert "no such file" in refused("strip", "nowhere.toml", "--out", "x.svg")
    assert refused("strip", "valley-coded-7", "--out", "no/such/folder.svg")
    assert refused("trace", "valley-coded-7", "nowhere.csv", "--out", "x.svg")
    assert not Path("x.svg").exists()


def test_a_sweep_that_read_nothing_is_refused() -> None:
    Path("sweep.csv").write_text("# scale = family\nangle,G-H\n1,\n2,\n", encoding="utf-8")
    assert "no reading" in refused("trace", "valley-coded-7", "sweep.csv", "--out", "x.svg")
    assert run("strip", "valley-coded-7", "--trace", "sweep.csv", "--out", "x.svg").exit_code == 0


def test_a_trace_may_tell_the_detents_that_a_bare_chart_does_not() -> None:
    notes = "# P = 0\n# R = 20\n# N = 41\n# D = 60\n"
    Path("sweep.csv").write_text(SWEEP.replace("# scale = family\n", notes), encoding="utf-8")
    assert run("strip", "chart.csv", "--trace", "sweep.csv", "--out", "x.svg").exit_code == 0
    described = Path("x.svg").read_text(encoding="utf-8")
    assert "R at 20 deg" in described
    assert "assumed from the chart" in described


def test_only_a_figure_is_written_over() -> None:
    Path("mine.toml").write_bytes(shipped_bytes("families", "valley-coded-7"))
    before = Path("mine.toml").read_bytes()
    assert "is there already" in refused("strip", "mine.toml", "--out", "mine.toml")
    assert Path("mine.toml").read_bytes() == before
    for _ in range(2):
        assert run("strip", "mine.toml", "--out", "x.svg").exit_code == 0


def test_every_figure_and_option_is_documented() -> None:
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    section = text.split("## benchproof figure")[1].split("\n## ")[0]
    context = click.Context(figure)
    for name in figure.list_commands(context):
        command = figure.get_command(context, name)
        assert command is not None
        assert f"`{name}`" in section
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert f"`{parameter.opts[0]}" in section


def test_names_with_signs_of_markup_stay_text() -> None:
    data = shipped_bytes("families", "valley-coded-7").decode("utf-8")
    odd = data.replace('name = "valley-coded-7"', "name = '<a&\"b>'", 1)
    Path("odd.toml").write_text(odd, encoding="utf-8")
    for kind in ("strip", "dial"):
        assert run(kind, "odd.toml", "--out", "x.svg").exit_code == 0
        assert '<a&"b>' in drawn("x.svg")
