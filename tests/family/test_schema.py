"""The published JSON Schema says of a family file's shape what the reader says."""

import copy
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from benchproof.family.assemblyfile import is_assembly
from benchproof.family.familyshape import assembly_shape_of, shape_of
from benchproof.family.problems import BadFile
from benchproof.family.tomlfile import TomlFile
from benchproof.network.branches.kinds import FILES
from benchproof.network.files import json_schema

FOLDER = Path(__file__).parents[2] / "src" / "benchproof" / "families"
FAMILIES = sorted(FOLDER.glob("*.toml"))
LADDER = tomllib.loads((FOLDER / "harvest-ladder-8.toml").read_text(encoding="utf-8"))
UNIT = tomllib.loads((FOLDER / "meadow-unit-6.toml").read_text(encoding="utf-8"))
CODED = tomllib.loads((FOLDER / "valley-coded-7.toml").read_text(encoding="utf-8"))

VALIDATOR = Draft202012Validator(json_schema())


def test_it_is_a_json_schema() -> None:
    Draft202012Validator.check_schema(json_schema())
    assert json_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("path", FAMILIES, ids=lambda path: path.stem)
def test_it_accepts_every_family_that_comes_along(path: Path) -> None:
    VALIDATOR.validate(tomllib.loads(path.read_text(encoding="utf-8")))


Values = dict[str, Any]


def setting(*path: str | int, to: object) -> Callable[[Values], None]:
    def change(values: Values) -> None:
        inner: Any = values
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = to

    return change


def dropping(*path: str | int) -> Callable[[Values], None]:
    def change(values: Values) -> None:
        inner: Any = values
        for step in path[:-1]:
            inner = inner[step]
        del inner[path[-1]]

    return change


OUT_OF_SHAPE = {
    "no name": dropping("name"),
    "no chart": dropping("chart"),
    "unknown key": setting("colour", to="red"),
    "unknown key of a row": setting("chart", 0, "colour", to="red"),
    "unknown key of a branch": setting("branches", 0, "colour", to="red"),
    "unknown key of the limits": setting("limits", "colour", to="red"),
    "name is a number": setting("name", to=5),
    "name is empty": setting("name", to=""),
    "a position is a number": setting("positions", 3, to=4),
    "no positions": setting("positions", to=[]),
    "too many positions": setting("positions", to=[f"{n}" for n in range(61)]),
    "one pin": setting("pins", to=["A"]),
    "a pin is a number": setting("pins", 0, to=1),
    "a pin without a name": setting("pins", 0, to={"place": [1, 1]}),
    "a place of three": setting("pins", 0, to={"name": "A", "place": [1, 1, 1]}),
    "a place at zero": setting("pins", 0, to={"name": "A", "place": [0, 1]}),
    "chart is a table": setting("chart", to={}),
    "a pair of one letter": setting("chart", 0, "pair", to="A"),
    "expectations are a text": setting("chart", 0, "expect", to="closed"),
    "an expectation is a number": setting("chart", 0, "expect", 0, to=390),
    "detents are texts": setting("detents_deg", to=["0"]),
    "a detent beyond two turns": setting("detents_deg", 0, to=-721),
    "radius is zero": setting("mark_radius_mm", to=0),
    "line is zero": setting("mark_line_mm", to=0),
    "offset grows leftward": setting("offset_grows", to="left"),
    "tolerance is all": setting("limits", "tolerance_percent", to=100),
    "an unknown kind of branch": setting("branches", 0, "kind", to="spool"),
    "a branch without a kind": dropping("branches", 0, "kind"),
    "a branch without ends": dropping("branches", 0, "between"),
    "a contact with a value": setting("branches", 0, to={"kind": "contact", "between": "A-B",
                                                         "value": "5 ohm"}),
    "a dwell of one angle": setting("branches", 0, to={"kind": "contact", "between": "A-B",
                                                       "dwells_deg": [[1]]}),
    "no dwells": setting("branches", 0, to={"kind": "contact", "between": "A-B",
                                            "dwells_deg": []}),
    "park is a text": setting("park", to="P"),
    "words are a list": setting("range_code", to={"words": ["1"]}),
    "a word of letters": setting("range_code", to={"words": {"P": "ab"}}),
    "a word with a line end": setting("range_code", to={"words": {"P": "1\n"}}),
    "no words": setting("range_code", to={}),
}  # fmt: skip


def reads(values: Values) -> bool:
    toml = TomlFile(b"", "f.toml")
    toml.values = values
    try:
        toml.shaped(assembly_shape_of(FILES) if is_assembly(toml) else shape_of(FILES))
    except BadFile:
        return False
    return True


@pytest.mark.parametrize("base", [LADDER, CODED], ids=["ladder", "coded"])
@pytest.mark.parametrize("change", OUT_OF_SHAPE.values(), ids=OUT_OF_SHAPE.keys())
def test_schema_and_reader_refuse_the_same_shapes(
    change: Callable[[Values], None], base: Values
) -> None:
    values = copy.deepcopy(base)
    assert VALIDATOR.is_valid(values)
    assert reads(values)
    change(values)
    assert not VALIDATOR.is_valid(values)
    assert not reads(values)


OUT_OF_SHAPE_WHOLE = {
    "no members": setting("members", to={}),
    "a member is a text": setting("members", "switch", to="switch"),
    "no connector": dropping("pins"),
    "a member without pins": dropping("members", "block", "pins"),
    "a member without a chart": dropping("members", "block", "chart"),
    "unknown key of a member": setting("members", "block", "colour", to="red"),
    "positions of the whole": setting("positions", to=["P", "R"]),
    "a wire of no gauge that is": setting("branches", 0, "gauge_awg", to=99),
    "a wire in letters": setting("branches", 0, "length_m", to="2 ft"),
    "an unknown kind of branch of a member": setting(
        "members", "block", "branches", 0, "kind", to="spool"
    ),
}


@pytest.mark.parametrize("change", OUT_OF_SHAPE_WHOLE.values(), ids=OUT_OF_SHAPE_WHOLE.keys())
def test_of_an_assembly_too(change: Callable[[Values], None]) -> None:
    values = copy.deepcopy(UNIT)
    assert VALIDATOR.is_valid(values)
    assert reads(values)
    change(values)
    assert not VALIDATOR.is_valid(values)
    assert not reads(values)
