"""How quickly the program starts: what its commands import, and what lists of them import."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

import benchproof
from benchproof.cli import main
from benchproof.cli.lazygroup import Later

PACKAGE = Path(benchproof.__file__).parent
# What takes long to import: numpy alone as long as everything else together.
HEAVY = {"alembic", "cryptography", "jinja2", "numpy", "openpyxl", "PIL", "polars", "sqlalchemy"}
LIGHT = ("atwork", "groups", "lazygroup", "main", "output", "refusals")


def imported(*arguments: str) -> set[str]:
    """Return the modules that a program of its own has imported when a command ends."""
    code = (
        "import atexit, json, sys\n"
        "atexit.register(lambda: print(json.dumps(list(sys.modules)), file=sys.stderr))\n"
        "from benchproof.cli import main\n"
        "main(prog_name='benchproof')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    return set(json.loads(done.stderr.splitlines()[-1]))


@pytest.mark.parametrize("line", ["--version", "--help", "proof --help"])
def test_what_lists_commands_imports_none_of_them(line: str) -> None:
    found = imported(*line.split())
    assert not found & {*HEAVY, "msgspec"}
    ours = {name for name in found if name.startswith("benchproof.cli.")}
    assert ours == {f"benchproof.cli.{name}" for name in LIGHT}


@pytest.mark.parametrize(
    ("line", "allowed"),
    [
        ("next valley-coded-7", {"numpy"}),
        ("gear check", set()),
        ("core checklist", {"numpy"}),
    ],
)
def test_a_command_imports_only_what_it_works_with(line: str, allowed: set[str]) -> None:
    assert imported(*line.split()) & HEAVY == allowed


def test_what_a_list_says_of_a_command_is_the_first_sentence_of_its_help() -> None:
    groups = [main, *(one for one in main.commands.values() if isinstance(one, click.Group))]
    for group in groups:
        context = click.Context(group)
        for name, listed in dict(group.commands).items():
            command = listed.load() if isinstance(listed, Later) else listed
            assert command is not None
            assert command.name == name
            for room in (20, 45, 1000):
                assert listed.get_short_help_str(room) == command.get_short_help_str(room)
        assert set(group.list_commands(context)) == set(group.commands)


def test_commands_are_completed_with_their_sentences() -> None:
    completed = ShellComplete(main, {}, "benchproof", "_C").get_completions([], "au")
    assert [(one.value, one.help) for one in completed] == [
        ("audit", "Check the chart of FAMILY for mistakes and...")
    ]
    within = ShellComplete(main, {}, "benchproof", "_C").get_completions(["proof"], "re")
    assert [one.value for one in within] == ["read", "remark", "replay"]


def test_a_mistyped_command_is_refused_with_the_one_that_is_like_it() -> None:
    result = CliRunner().invoke(main, ["judg"])
    assert result.exit_code == 2
    assert "No such command 'judg'. Did you mean 'judge'?" in result.stderr


def test_commands_import_at_the_top_of_their_modules() -> None:
    inside = [
        f"{path.name}: {ast.unparse(node)}"
        for path in sorted((PACKAGE / "cli").glob("*.py"))
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(function, ast.FunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert inside == []
