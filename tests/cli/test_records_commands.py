"""The commands of the archive as a person uses them."""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner, Result
from PIL import Image

from benchproof.cli import main
from benchproof.cli.store import opened_store
from benchproof.face.catalog import SHOWN
from benchproof.proof.codec import encode
from benchproof.proof.events import Closed, Concluded, ProofOutcome
from benchproof.shop.condition import CHECKLIST

ROOT = Path(__file__).parents[2]
COMMANDS = (
    "core add", "core checklist", "core note", "core list", "core show", "unit add", "unit list",
    "unit show", "part add", "part note", "part list", "part show", "shelf list", "shelf move",
    "person add", "person list", "customer add", "customer list", "gear add", "gear list",
    "verify", "backup", "restore", "export", "import", "decide",
)  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Fill an archive with a core, a part, a unit and a person, in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", str(tmp_path / "archive.sqlite"))
    for line in (
        "person add AB --name Ada",
        "customer add K-1 --name Farm --contact gate",
        "unit add U-1 --family autobus --customer K-1 --mileage-km 412000 --codes 17",
        "unit add U-2",
        "core add C-1 --family autobus --deposit owed --missing plug",
        "part add S-1 valley-coded-7 --core C-1 --maker-class original",
    ):
        done(*line.split())
    return tmp_path


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def done(*arguments: str) -> str:
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*arguments: str) -> str:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    return result.stderr.strip()


def accepted() -> str:
    """Close a proof of S-1 as accepted, as the proof's own command does."""
    with opened_store(os.environ["BENCHPROOF_STORE"]) as store:
        tag = store.proofs.open("S-1", b"opened", mode="prove")
        store.proofs.append(tag, b"closed", 1, closed_as="accepted")
    return tag


def keys(told: dict[str, object], command: str) -> None:
    assert set(told) == set(SHOWN[command].__struct_fields__)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_documented_and_has_help(command: str) -> None:
    documented = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert f"`benchproof {command}" in documented or f"## benchproof {command}" in documented
    assert done(*command.split(), "--help").startswith("Usage:")


def test_help_stays_quick() -> None:
    """By what is imported, not by the clock: no database, no arrays."""
    program = (
        "import sys; sys.argv = ['benchproof', 'core', '--help']\n"
        "from benchproof.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(sorted({'sqlalchemy', 'alembic', 'numpy', 'polars', 'PIL'} & set(sys.modules)))"
    )
    told = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True
    ).stdout
    assert told.splitlines()[-1] == "[]"


def test_a_core_is_taken_in_and_graded(shop: Path) -> None:
    Image.new("RGB", (30, 20), "red").save(shop / "ear.jpg")
    told = done("core", "note", "C-1", "shaft corrosion=bad", "--by", "AB")
    assert "do not reuse" in told
    assert "CAUTION: do not pry a seized sensor off its shaft" in told
    told = done("core", "note", "C-1", "bent pins=slight", "--photograph", "ear.jpg")
    assert "clean first" in told
    shown = done("core", "show", "C-1")
    assert "missing: plug" in shown
    assert "consequence: do not reuse" in shown
    assert "parts: S-1" in shown
    object_ = json.loads(done("core", "show", "C-1", "--json"))
    keys(object_, "core show")
    assert [note["item"] for note in object_["conditions"]] == ["shaft corrosion", "bent pins"]
    assert object_["conditions"][1]["photograph"]
    # Looked at again, the latest grade counts.
    done("core", "note", "C-1", "shaft corrosion=sound")
    assert "consequence: clean first" in done("core", "show", "C-1")
    assert done("core", "list").split()[:2] == ["tag", "family"]
    keys(json.loads(done("core", "list", "--json")), "core list")


def test_the_checklist_is_printed_with_the_caution_first(shop: Path) -> None:
    told = done("core", "checklist", "--kind", "connector")
    assert told.startswith("CAUTION: do not pry")
    assert "shaft corrosion" not in told
    keys(json.loads(done("core", "checklist", "--json")), "core checklist")


def test_a_part_keeps_its_family_file_as_it_was(shop: Path) -> None:
    family = (ROOT / "src/benchproof/families/valley-coded-7.toml").read_bytes()
    row = json.loads(done("part", "show", "S-1", "--json"))
    keys(row, "part show")
    with opened_store(os.environ["BENCHPROOF_STORE"]) as store:
        assert store.files.get(row["family_file"]) == family
    assert "bent pins, sound -> measure" in done("part", "note", "S-1", "bent pins=sound")
    assert "S-1" in done("part", "list", "--family", "valley-coded-7")
    assert done("part", "list", "--family", "other") == "No such part is recorded.\n"
    keys(json.loads(done("part", "list", "--json")), "part list")


def test_a_part_goes_over_the_shelf(shop: Path) -> None:
    assert refused("shelf", "move", "S-1", "stock") == (
        "S-1: has no proof; only a proven part goes on the shelf. Prove it first."
    )
    tag = accepted()
    keys(json.loads(done("shelf", "move", "S-1", "stock", "--by", "AB", "--json")), "shelf move")
    assert "part S-1 reserved U-1" in done("shelf", "move", "S-1", "reserved", "--unit", "U-1")
    assert refused("shelf", "move", "S-1", "fitted", "--unit", "U-2") == (
        "S-1: is reserved for U-1, not U-2; put it back in stock first."
    )
    done("shelf", "move", "S-1", "fitted")
    assert "fitted: part S-1" in done("unit", "show", "U-1")
    keys(json.loads(done("unit", "show", "U-1", "--json")), "unit show")
    told = json.loads(done("shelf", "list", "--state", "fitted", "--json"))
    keys(told, "shelf list")
    assert (told["parts"][0]["unit"], told["parts"][0]["family"]) == ("U-1", "valley-coded-7")
    assert done("shelf", "list", "--unit", "U-2") == "No such part is on the shelf.\n"
    assert f"proof {tag}: accepted" in done("part", "show", "S-1")


def test_a_unit_is_asked_before_it_gets_a_second_range_switch(shop: Path) -> None:
    done("part", "add", "S-2", "orchard-single-7", "--say", "proposed")
    for part in ("S-1", "S-2"):
        with opened_store(os.environ["BENCHPROOF_STORE"]) as store:
            tag = store.proofs.open(part, b"opened", mode="prove")
            store.proofs.append(tag, b"closed", 1, closed_as="accepted")
        done("shelf", "move", part, "stock")
    done("shelf", "move", "S-1", "fitted", "--unit", "U-1")
    for to in ("reserved", "fitted"):
        assert refused("shelf", "move", "S-2", to, "--unit", "U-1") == (
            "U-1: has the range switch S-1 (fitted) already, and a transmission has one; move S-1 "
            "first, or say that S-2 is another."
        )
    done("shelf", "move", "S-2", "reserved", "--unit", "U-2")
    done("shelf", "move", "S-2", "fitted")
    done("shelf", "move", "S-2", "returned")
    assert "S-1 (fitted)" not in done("shelf", "list", "--unit", "U-2")


def test_a_second_range_switch_is_taken_if_it_is_said(shop: Path) -> None:
    accepted()
    done("part", "add", "S-2", "valley-coded-7")
    with opened_store(os.environ["BENCHPROOF_STORE"]) as store:
        tag = store.proofs.open("S-2", b"opened", mode="prove")
        store.proofs.append(tag, b"closed", 1, closed_as="accepted")
    for part in ("S-1", "S-2"):
        done("shelf", "move", part, "stock")
    done("shelf", "move", "S-1", "fitted", "--unit", "U-1")
    done("shelf", "move", "S-2", "fitted", "--unit", "U-1", "--another")
    assert done("unit", "show", "U-1").count("fitted: part") == 2


def test_seven_grades_are_one_command(shop: Path) -> None:
    grades = [f"{one.name}=sound" for one in CHECKLIST[:6]]
    told = done("core", "note", "C-1", *grades, f"{CHECKLIST[6].name}=slight", "--by", "AB")
    assert len([line for line in told.splitlines() if " -> " in line]) == 7
    assert done("core", "show", "C-1").count("  seen: ") == 7
    assert "is graded twice; say it once." in refused("core", "note", "C-1", grades[0], grades[0])
    assert "are of one item" in refused("core", "note", "C-1", *grades, "--remark", "so")
    # A mistake in one of them records none of them.
    assert "type bent pins=GRADE" in refused("part", "note", "S-1", "bent pins=odd", grades[1])
    assert "seen:" not in done("part", "show", "S-1")


def test_gear_that_is_overdue_says_so(shop: Path) -> None:
    done("gear", "add", "M-1", "--file", "depot-bench", "--due", "2020-01-01")
    done("gear", "add", "M-2", "--calibrated", "2020-01-01", "--due", "9999-01-01")
    first, second = done("gear", "list").splitlines()[1:]
    assert "2020-01-01 OVERDUE" in first
    assert "OVERDUE" not in second
    told = json.loads(done("gear", "list", "--json"))
    keys(told, "gear list")
    assert [row["overdue"] for row in told["gear"]] == [True, False]


def test_verify_finds_an_altered_event(shop: Path) -> None:
    tag = accepted()
    assert "Proofs 1, events 2" in done("verify")
    keys(json.loads(done("verify", "--json")), "verify")
    with closing(sqlite3.connect(shop / "archive.sqlite")) as connection:
        connection.execute("UPDATE events SET payload = x'00' WHERE seq = 2")
        connection.commit()
    result = run("verify")
    assert result.exit_code == 1
    assert f"! {tag}: Event 2 was altered." in result.stdout
    told = run("verify", "--json")
    assert told.exit_code == 1
    keys(json.loads(told.stdout), "verify")


def test_verify_holds_the_list_against_the_events(shop: Path) -> None:
    concluded = Concluded("1", "fail", (), "fail", ())
    closed = Closed(
        "2026-03-02T08:00:00+00:00", "AB", ProofOutcome.REALIGN, (), "", "", concluded, "0" * 64
    )
    with opened_store(os.environ["BENCHPROOF_STORE"]) as store:
        tag = store.proofs.open("S-1", b"opened", mode="prove")
        store.proofs.append(tag, encode(closed), 1, closed_as="realign")
    assert "all as recorded" in done("verify")
    with closing(sqlite3.connect(shop / "archive.sqlite")) as connection:
        connection.execute("UPDATE proofs SET closed_as = 'accepted'")
        connection.commit()
    result = run("verify")
    assert result.exit_code == 1
    assert f"! {tag}: The list says closed as accepted, but its events do not." in result.stdout


def test_out_and_in_again(shop: Path) -> None:
    accepted()
    done("backup", "copy.sqlite")
    done("export", "open")
    for command, source in (("restore", "copy.sqlite"), ("import", "open")):
        new = f"{command}.sqlite"
        told = done(command, source, "--store", new)
        assert "1 proofs" in told
        assert "all as recorded" in done("verify", "--store", new)
        assert done("part", "show", "S-1", "--store", new) == done("part", "show", "S-1")
        assert "holds records already" in refused(command, source, "--store", new)
    assert "is there already" in refused("export", "open")
    keys(json.loads(done("export", "again", "--json")), "export")
    assert "never overwrites" in refused("backup", "copy.sqlite")
    assert refused("restore", "nowhere", "--store", "x.sqlite").endswith(
        "No such file or directory."
    )
    assert "no manifest.json" in refused("import", "open/files", "--store", "y.sqlite")


def test_mistakes_get_one_sentence(shop: Path) -> None:
    for line, words in (
        (["part", "add", "S-1", "valley-coded-7"], "S-1: there is a part of this name already"),
        (["part", "add", "S.2", "valley-coded-7"], "'S.2': is no tag for a part"),
        (["part", "add", "S-2", "nowhere.toml"], "nowhere.toml: no such file"),
        (["part", "add", "S-2", "valley-coded-7", "--core", "C-9"], "no core of this name"),
        (["part", "show", "S-9"], "'S-9': the archive has no part of this name."),
        (["core", "show", "C-9"], "no core of this name"),
        (["core", "note", "C-9", "bent pins=bad"], "no core of this name"),
        (["core", "note", "C-1", "bent pin=bad"], "did you mean 'bent pins'?"),
        (["core", "note", "C-1", "bent pins"], "a grade of sound, slight, bad"),
        (["core", "note", "C-1", "bent pins=bad", "--photograph", "x.jpg"], "x.jpg: No such file"),
        (["unit", "add", "U-9", "--customer", "K-9"], "no customer of this name"),
        (["unit", "add", "U-9", "--mileage-km", "-1"], "--mileage-km"),
        (["gear", "add", "M-1", "--due", "tomorrow"], "type a day as 2026-01-31"),
        (
            ["gear", "add", "M-1", "--due", "2020-01-01", "--calibrated", "2021-01-01"],
            "lies before",
        ),
        (["gear", "add", "M-1", "--file", "nowhere"], "nowhere: no such file"),
        (["person", "add", "A\x1bB"], "is no tag for a person"),
        (["verify", "--store", "."], "is a folder; name a file for the archive"),
        (["verify", "--store", "mysql://x/y"], "name a file, or a PostgreSQL database"),
    ):
        told = refused(*line)
        assert words in told, told
        assert "Traceback" not in told
        assert "\x1b" not in told


def test_nothing_is_asked_of_a_photograph_that_is_none(shop: Path) -> None:
    (shop / "x.jpg").write_bytes(b"text")
    told = refused("part", "note", "S-1", "bent pins=bad", "--photograph", "x.jpg")
    assert told == "'x.jpg': is no photograph (JPEG, PNG, WEBP or TIFF)."
    assert json.loads(done("part", "show", "S-1", "--json"))["conditions"] == []


def completions(words: list[str], incomplete: str) -> list[str]:
    assert isinstance(main, click.Group)
    complete = ShellComplete(main, {}, "benchproof", "_BENCHPROOF_COMPLETE")
    return [item.value for item in complete.get_completions(words, incomplete)]


def test_tags_are_completed_from_the_archive(shop: Path) -> None:
    assert completions(["part", "show"], "S") == ["S-1"]
    assert completions(["unit", "show"], "") == ["U-1", "U-2"]
    assert completions(["shelf", "move", "S-1", "reserved", "--unit"], "U-") == ["U-1", "U-2"]
    assert completions(["core", "note", "C-1", "bent pins=bad", "--by"], "A") == ["AB"]
    assert completions(["part", "show", "--store", "nowhere.sqlite"], "S") == []
    assert not (shop / "nowhere.sqlite").exists()
    (shop / "nonsense").write_text("nonsense" * 100)
    assert completions(["part", "show", "--store", "nonsense"], "S") == []


def test_what_costs_least_is_told_with_its_figures(shop: Path) -> None:
    done("demo", "demo")
    sheets = {path.stem: str(path) for path in (shop / "demo").glob("*.csv")}
    good = next(path for name, path in sheets.items() if "good" in name)
    wrong = next(path for name, path in sheets.items() if "misaligned" in name)
    family = str(next((shop / "demo").glob("*.toml")))
    told = done("decide", family, good)
    assert told.startswith("Costs least: reuse\n")
    assert "The costs are invented" in told
    told = done("decide", family, wrong)
    assert told.startswith("WARNING: reverse lamp J-K in R reads OL")
    assert "\nCosts least: realign\n" in told
    (shop / "costs.toml").write_text("new_part = 0\ncurrency = 'EUR'\nreplace_min = 1\n")
    object_ = json.loads(done("decide", family, wrong, "--costs", "costs.toml", "--json"))
    keys(object_, "decide")
    assert (object_["best"], object_["currency"]) == ("replace", "EUR")
    (shop / "costs.toml").write_text("new_part = 'much'\n")
    told = refused("decide", family, good, "--costs", "costs.toml")
    assert told.startswith("costs.toml, line 1: 'new_part' needs a number")
    assert "standard input" in refused("decide", "-", "-")
