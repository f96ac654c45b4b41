"""`benchproof wiring` as a person types it."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from benchproof.cli import main
from benchproof.shipped.contents import shipped


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["wiring", *arguments])
    return result.exit_code, result.output


def test_the_plan_lists_steps_wires_plug_and_self_test() -> None:
    code, out = run("valley-coded-7")
    assert code == 0
    for title in ("Steps", "Wires", "Dummy plug (resistors of 1 %)", "Self-test"):
        assert title in out
    assert "position 5  G-H   G               H" in out
    assert "unplugged and de-energized" in out


@pytest.mark.parametrize("name", shipped("families"))
@pytest.mark.parametrize("kind", ["selector", "matrix", "probes"])
def test_every_shipped_family_has_a_plan_to_print(name: str, kind: str, tmp_path: Path) -> None:
    out = tmp_path / "plan.pdf"
    code, _ = run(name, "--kind", kind, "--positions", "5", "--out", str(out))
    assert code == 0
    once = out.read_bytes()
    assert once.startswith(b"%PDF")
    run(name, "--kind", kind, "--positions", "5", "--out", str(out))
    assert out.read_bytes() == once


def test_the_wire_side_is_the_mirror_of_the_mating_side(tmp_path: Path) -> None:
    out = tmp_path / "plan.svg"
    assert run("valley-coded-7", "--kind", "probes", "--out", str(out))[0] == 0
    root = ElementTree.fromstring(out.read_text(encoding="utf-8"))
    texts = [(t.text, float(t.get("x", "0"))) for t in root.findall(".//{*}text")]
    pins = [(name, x) for name, x in texts if name in ("A", "B", "E")]
    seen = [dict(half) for half in (pins[:3], pins[3:6])]
    mating, wire = seen
    assert mating["A"] < mating["B"] < mating["E"]
    assert wire["A"] == pytest.approx(mating["E"])
    assert wire["E"] == pytest.approx(mating["A"])


def test_it_says_which_connector_and_how_the_plug_looks(tmp_path: Path) -> None:
    out = tmp_path / "plan.svg"
    assert run("valley-coded-7", "--kind", "probes", "--out", str(out))[0] == 0
    root = ElementTree.fromstring(out.read_text(encoding="utf-8"))
    said = " ".join(str(t.text) for t in root.findall(".//{*}text"))
    own = said.index("part's own connector from its mating side")
    plug = said.index("plug of the box looks the same from its wire side")
    back = said.index("part's own connector from its wire side")
    assert own < plug < back < said.index("plug of the box looks the same from its mating side")


@pytest.mark.parametrize(
    ("family", "poles", "positions", "switches"),
    [
        ("valley-coded-7", 2, 12, [("selector 1", "2", "6 or more")]),
        (
            "orchard-single-7",
            2,
            6,
            [("selector 1", None, "6 or more"), ("bank switch", None, "2 or more")],
        ),
    ],
)
def test_the_switches_do_not_short_and_the_boxs_own_ohms_are_written_down(
    family: str, poles: int, positions: int, switches: list[tuple[str, str | None, str]]
) -> None:
    code, out = run(family, "--poles", str(poles), "--positions", str(positions), "--json")
    assert code == 0
    tables = {table["title"]: table["rows"] for table in json.loads(out)["tables"]}
    (title,) = (title for title in tables if title.startswith("Switches to get"))
    assert "non-shorting (break before make)" in title
    got = {row["switch"]: row for row in tables[title]}
    for name, many, most in switches:
        assert got[name]["positions"] == most
        assert many in (None, got[name]["poles"])
    (own,) = (title for title in tables if title.startswith("The box's own resistance"))
    assert len(tables[own]) == len(tables["Steps"])
    assert {row["at most"] for row in tables[own]} == {"0.5 ohm"}


def test_json_is_one_object() -> None:
    code, out = run("orchard-single-7", "--positions", "6", "--json")
    found = json.loads(out)
    assert code == 0
    assert {table["title"] for table in found["tables"]} >= {"Steps", "Wires", "Self-test"}
    assert found["tables"][0]["rows"][6]["step"].startswith("bank 2")


def test_what_cannot_be_wired_is_said_in_a_sentence(tmp_path: Path) -> None:
    code, out = run("valley-coded-7", "--poles", "1")
    assert code == 2
    assert "needs 2 poles; this one has 1" in out
    code, out = run("valley-coded-7", "--out", str(tmp_path / "plan.doc"))
    assert code == 2
    assert "end the name so" in out
