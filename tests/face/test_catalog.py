"""Every JSON object is one of the structs that docs/json.md is made from."""

import json
from collections.abc import Iterator

import click
import jsondoc
import msgspec
import pytest

from benchproof.cli.main import main
from benchproof.cli.output import print_json
from benchproof.face.catalog import SHOWN
from benchproof.face.proved import Proof
from benchproof.face.view import dangers_first
from benchproof.web.api import OPERATIONS

ELSEWHERE = {"centre --edges": "centre", "gear check, without a gear file": "gear check"}
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
    assert len(with_json) > 30
    assert {ELSEWHERE.get(words, words) for words in SHOWN} == with_json


def test_what_is_not_documented_is_not_printed() -> None:
    with pytest.raises(msgspec.ValidationError, match="unknown field"):
        print_json({"rows": {}, "more": 1}, "export")
    with pytest.raises(msgspec.ValidationError, match="missing required"):
        print_json({}, "export")
    with pytest.raises(ValueError, match="not JSON compliant"):
        print_json({"rows": {"parts": float("nan")}}, "export")


def test_what_could_hurt_somebody_is_told_first(capsys: pytest.CaptureFixture[str]) -> None:
    told = {"b": 1, "questions": 2, "dangers": [{"z": 1, "danger": "x"}], "a": {"c": 1}}
    assert list(dangers_first(told)) == ["dangers", "questions", "b", "a"]
    assert list(dangers_first(told)["dangers"][0]) == ["danger", "z"]
    move = {"part": "S-1", "step": 1, "state": "stock", "unit": None, "proof": None}
    row = {**move, "at": "", "by": None, "note": "", "danger": "DANGER"}
    more = {"family": "f", "override_by": None, "override_reason": None}
    print_json({"parts": [{**row, **more}]}, "shelf list")
    assert next(iter(json.loads(capsys.readouterr().out)["parts"][0])) == "danger"


def test_the_program_beside_the_bench_is_shown_the_same() -> None:
    shown = {one.name: one.answer for one in OPERATIONS}
    assert shown["get_proof"] is SHOWN["proof show"] is Proof
    assert shown["window"] is SHOWN["window"]
    assert shown["foretell"] is SHOWN["foretell"]
