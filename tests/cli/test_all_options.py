"""What holds of the options of every command."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from benchproof.cli import main
from benchproof.cli.quantity import Quantity
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
        if isinstance(param.type, Quantity):
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
