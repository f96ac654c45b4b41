"""What holds of the options of every command."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from benchproof.cli import main
from benchproof.cli.quantity import NumberType
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes

AT = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)


def walk(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    ctx = click.Context(group)
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from walk(command, (*path, name))
        else:
            yield " ".join((*path, name)), command


COMMANDS = dict(walk(main))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_number_may_have_a_decimal_comma_and_a_unit(name: str) -> None:
    for param in COMMANDS[name].params:
        assert not isinstance(param.type, click.types.FloatParamType), param.name
        if isinstance(param.type, NumberType):
            value = param.type.convert("0,5", param, None)
            assert value in (0.5, 0)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    with open_store("shop.sqlite", lambda: AT) as store:
        key = store.files.put(shipped_bytes("families", "valley-coded-7"))
        store.parts.add(PartRow("S-1", "valley-coded-7", key, AT))
        store.people.add(PersonRow("ab", ""))
    return tmp_path


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, arguments)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize(
    ("typed", "kept"), [("120000", 120000), ("75000 mi", 120701), ("75000,4 miles", 120701)]
)
def test_miles_are_kept_as_kilometers(shop: Path, typed: str, kept: int) -> None:
    assert run("unit", "add", "U-1", "--mileage", typed)[0] == 0
    with open_store("shop.sqlite", lambda: AT) as store:
        assert store.units.get("U-1").mileage_km == kept


def test_a_number_that_is_none_gets_one_sentence(shop: Path) -> None:
    for typed, said in (
        ("75000 leagues", "'75000 leagues' is no number of km, mi, mile, miles; type such as 1.5."),
        ("-1", "'-1' is out of range: at least 0 km and at most 1e+07 km."),
        ("75,000", "'75,000' could be 75.000 or 75000; type one of these."),
    ):
        code, _, err = run("unit", "add", "U-1", f"--mileage={typed}")
        assert code == 2
        assert said in err


def test_degrees_fahrenheit_and_a_decimal_comma(shop: Path) -> None:
    said = run("judge", "valley-coded-7", "-", "--ambient", "200 F")[2]
    assert "'200 F' is out of range: at least -40 °C and at most 60 °C." in said
    assert run("proof", "open", "S-1", "--meter", "depot-bench", "--ambient", "86,0 °F",
               "--lead-ohm", "0,2")[0] == 0  # fmt: skip


def completed(monkeypatch: pytest.MonkeyPatch, words: str, beginning: str) -> list[str]:
    """Return what a shell is told after words; as click's own tests of completion do."""
    monkeypatch.setenv("_BENCHPROOF_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", f"benchproof {words} {beginning}")
    monkeypatch.setenv("COMP_CWORD", str(len(words.split()) + 1))
    told = CliRunner().invoke(main, prog_name="benchproof").stdout
    return [line.split(",", 1)[1] for line in told.splitlines() if line.startswith("plain")]


@pytest.mark.parametrize(
    ("words", "beginning", "found"),
    [
        ("audit", "val", ["valley-coded-7"]),
        ("judge", "or", ["orchard-single-7"]),
        ("part add S-2", "har", ["harvest-ladder-8"]),
        ("figure strip", "ter", ["terrace-transit-9"]),
        ("judge valley-coded-7 --meter", "dep", ["depot-bench"]),
        (
            "proof open S-1 --meter",
            "",
            ["M-1", "depot-bench", "ordinary-handheld", "workshop-dial"],
        ),
        ("proof open", "S", ["S-1"]),
        ("proof show", "S", ["S-1.1"]),
        ("route valley-coded-7 --bench", "rel", ["relay-matrix"]),
    ],
)
def test_the_shell_completes_tags_families_and_meters(
    shop: Path, monkeypatch: pytest.MonkeyPatch, words: str, beginning: str, found: list[str]
) -> None:
    assert run("gear", "add", "M-1", "--file", "depot-bench")[0] == 0
    assert run("proof", "open", "S-1", "--meter", "M-1")[0] == 0
    assert completed(monkeypatch, words, beginning) == found


OF_UNITS = {"core add", "unit add", "part list"}
"""Commands whose family is that of a unit, as the shop calls it, or of a list."""
NAMED = {"meter", "bench", "gear", "part", "proof", "unit", "customer", "core"}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_family_meter_and_tag_is_completed(name: str) -> None:
    wanted = NAMED if name in OF_UNITS else NAMED | {"family"}
    for param in COMMANDS[name].params:
        # The gear file of `simulate --serve` is written.
        if param.name in wanted and param.type is click.STRING:
            assert param._custom_shell_complete is not None, param.name
