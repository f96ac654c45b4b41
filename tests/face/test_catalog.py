"""Every JSON object is one of the structs that docs/json.md is made from."""

import inspect
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated, get_args, get_origin, get_type_hints

import click
import jsondoc
import pytest

from benchproof.cli.main import main
from benchproof.cli.objects import print_json
from benchproof.conduct.shelflist import Shelved
from benchproof.face.aligned import WindowView
from benchproof.face.catalog import SHOWN
from benchproof.face.examined import NextView
from benchproof.face.kept import PartInFull, ShelfView, shelf_shown
from benchproof.face.proved import Proof
from benchproof.face.view import View, dangers_first, tells_in_order
from benchproof.record.rows import MoveRow
from benchproof.web.api import OPERATIONS
from benchproof.web.openapi import describe

ELSEWHERE = {
    "centre --edges": "centre",
    "gear check, without a gear file": "gear check",
    "simulate --serve": "simulate",
}
"""Objects of a command that prints two, with the words of the command."""


def commands(group: click.Command, words: str = "") -> Iterator[tuple[str, click.Command]]:
    if not isinstance(group, click.Group):
        yield words, group
        return
    with click.Context(group) as context:
        for name in group.list_commands(context):
            one = group.get_command(context, name)
            assert one is not None
            yield from commands(one, f"{words} {name}".strip())


def test_the_document_is_made_from_the_structs() -> None:
    assert jsondoc.DOC.read_text(encoding="utf-8") == jsondoc.document(), "run: make docs"


def test_every_command_that_prints_json_has_its_object_and_every_object_its_command() -> None:
    with_json = {
        words
        for words, command in commands(main)
        if any("--json" in option.opts for option in command.params)
    }
    assert with_json == {words for words, _ in commands(main)}
    assert {ELSEWHERE.get(words, words) for words in SHOWN} == with_json


def views() -> Iterator[type[View]]:
    left = [View]
    while left:
        one = left.pop()
        yield one
        left += one.__subclasses__()


def test_every_object_is_frozen_and_every_field_has_a_meaning() -> None:
    named = [one for one in views() if one is not View]
    assert set(SHOWN.values()) < set(named)
    assert len({one.__name__ for one in named}) == len(named), "components of the API share a name"
    for one in named:
        assert one.__struct_config__.frozen, one
        assert inspect.cleandoc(vars(one)["__doc__"] or "").endswith("."), one
        for field, kind in get_type_hints(one, include_extras=True).items():
            notes = kind.__metadata__ if get_origin(kind) is Annotated else ()
            assert any(note.description for note in notes), f"{one.__name__}.{field}: no meaning"


def test_what_is_no_number_is_not_printed() -> None:
    step = NextView(
        position=None, pins=None, lean=None, again=False, why="", expected_seconds=float("nan")
    )
    with pytest.raises(ValueError, match="not JSON compliant"):
        print_json(step)


def test_what_could_hurt_somebody_is_told_first(capsys: pytest.CaptureFixture[str]) -> None:
    told = {"b": 1, "questions": 2, "dangers": [{"z": 1, "danger": "x"}], "a": {"c": 1}}
    assert list(dangers_first(told)) == ["dangers", "questions", "b", "a"]
    assert list(dangers_first(told)["dangers"][0]) == ["danger", "z"]
    # Either the fields are declared in that order, or every object of it is put in order.
    assert tells_in_order(Proof)
    assert not tells_in_order(ShelfView)
    row = MoveRow("S-1", 1, "stock", None, None, datetime(2026, 3, 2, tzinfo=UTC), None, "")
    print_json(ShelfView(parts=shelf_shown([Shelved(row, "f", "DANGER")])))
    assert next(iter(json.loads(capsys.readouterr().out)["parts"][0])) == "danger"


def test_the_program_beside_the_bench_is_shown_the_same() -> None:
    """Each operation of the API answers with one of the structs, that of the command if any."""
    shown = {one.name: one.answer for one in OPERATIONS}
    for name, answer in shown.items():
        (one,) = get_args(answer) or (answer,)
        assert issubclass(one, View), name
    for name, words in {
        "get_proof": "proof show", "open_proof": "proof open", "add_reading": "proof read",
        "close_proof": "proof close", "window": "window", "foretell": "foretell",
        "get_cores": "core show", "get_parts": "part show", "get_units": "unit show",
        "move_part": "shelf move",
    }.items():  # fmt: skip
        assert shown[name] is SHOWN[words], name
    for name, words in {
        "list_proofs": "proof list", "list_shelf": "shelf list", "list_cores": "core list",
        "list_parts": "part list", "list_units": "unit list", "list_gear": "gear list",
        "list_people": "person list", "list_customers": "customer list",
    }.items():  # fmt: skip
        (rows,) = get_type_hints(SHOWN[words]).values()
        assert shown[name] == rows, name


def test_the_description_of_the_api_tells_the_same_meanings() -> None:
    components = describe(OPERATIONS)["components"]["schemas"]
    for shape in (Proof, PartInFull, WindowView):
        told = components[shape.__name__]
        assert told["description"] == inspect.getdoc(shape)
        assert set(told["properties"]) == set(shape.__struct_fields__)
    says = components["DangerView"]["properties"]["probability"]["description"]
    assert says in jsondoc.document()
