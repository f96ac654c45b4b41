"""`benchproof proof` as a person uses it."""

import json
import sqlite3
import threading
import time
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from benchproof.cli import main
from benchproof.cli.groups import proof
from benchproof.cli.proof import OUTCOMES
from benchproof.cli.proofwork import work_on
from benchproof.proof.events import ProofOutcome, Remarked
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.record.rows import GearRow, PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family, shipped_meter

ROOT = Path(__file__).parents[2]
FAMILY = "valley-coded-7"
AT = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    with open_store("shop.sqlite", lambda: AT) as store:
        key = store.files.put(shipped_bytes("families", FAMILY))
        store.parts.add(PartRow("S-1", FAMILY, key, AT))
        for initials, name in (("ab", "Invented Person"), ("cd", ""), ("Jo", "")):
            store.people.add(PersonRow(initials, name))
        meter = store.files.put(shipped_bytes("meters", "depot-bench"))
        for tag, due in (("M-1", date(2100, 1, 1)), ("M-2", date(2020, 1, 1))):
            store.gear.add(GearRow(tag, "meter", meter, date(2019, 1, 1), due))
        store.gear.add(GearRow("J-1", "other"))
    family = shipped_family(FAMILY)
    readings = ideal_readings(family, shipped_meter("depot-bench"))
    Path("good.csv").write_text(write_readings(readings), encoding="utf-8")
    return tmp_path


def run(*arguments: str, typed: str | None = None) -> Result:
    result = CliRunner().invoke(main, ["proof", *arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result


def done(*arguments: str, typed: str | None = None) -> str:
    result = run(*arguments, typed=typed)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def refused(*arguments: str) -> str:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    return result.stderr.strip()


def shown(tag: str = "S-1.1") -> dict[str, Any]:
    told = json.loads(done("show", tag, "--json"))
    assert isinstance(told, dict)
    return told


def test_what_the_intake_saw_is_told_with_what_is_believed(shop: Path) -> None:
    with open_store("shop.sqlite", lambda: AT) as store:
        store.conditions.note(part="S-1", item="bent pins", grade="bad", by="ab")
    done("open", "S-1", "--meter", "M-1")
    told = "bent pins (bad), seen by eye: pin open 5 times likelier at each place."
    assert f"Seen by eye, and counted:\n  {told}" in done("show", "S-1.1")
    assert shown()["diagnosis"]["seen"] == [told]


def start_permits_again() -> None:
    for position in ("R", "D", "3", "2", "1"):
        done("read", "S-1.1", position, "G-H", "OL", "--again")


def test_a_part_is_proved_and_accepted(shop: Path) -> None:
    opened = done("open", "S-1", "--meter", "M-1", "--bench", "needle-probes")
    assert opened.startswith("S-1.1 is open.")
    assert "de-energised" in opened
    assert "Next: lever in P" in opened
    read = done("read", "S-1.1", "p", "a-e", "0,1")
    assert "+ 4: A-E in P 0.1: pass" in read
    assert "Next: lever in R, read A-E" in read
    assert "42 readings are recorded." in done("read", "S-1.1", "--sheet", "good.csv")
    assert "or over-range twice, the probes set anew" in done("show", "S-1.1")
    start_permits_again()
    assert "Nothing stands against accepting it" in done("show", "S-1.1")
    closed = done("close", "S-1.1")
    assert "Closed as accepted" in closed
    assert "S-1.1  prove" in done("list")
    assert "accepted" in done("list")
    assert "the same" in done("replay", "S-1.1")
    assert "Noted." in done("remark", "S-1.1", "shipped")
    assert "closed as accepted; open a new one" in refused("read", "S-1.1", "P", "A-E", "0.1")


def test_an_override_stands_in_the_record(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-2")
    done("read", "S-1.1", "--sheet", "good.csv")
    start_permits_again()
    assert "M-2 was due for calibration on 2020-01-01" in refused("close", "S-1.1")
    assert "needs both" in refused("close", "S-1.1", "--override-by", "Invented Person")
    told = json.loads(
        done("close", "S-1.1", "--override-by", "Jo", "--reason", "checked since", "--json")
    )
    assert told["closed"]["override_by"] == "Jo"
    assert told["closed"]["override_reason"] == "checked since"
    assert len(told["closed"]["reasons"]) == 1
    assert "OVERRIDE by Jo: checked since" in done("show", "S-1.1")


def test_what_is_not_accepted_exits_1(shop: Path) -> None:
    done("open", "S-1", "--mode", "find")
    result = run("close", "S-1.1", "--as", "abandoned")
    assert result.exit_code == 1
    assert "Closed as abandoned" in result.stdout


def test_the_prompt_takes_readings_undoes_and_leaves(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    typed = "0.1\nbla\nOL\nu probe slipped\n0.1\nD F-E 0.1\n?\nwhy\nremark stiff lever\nu\nq\n"
    said = done("read", "S-1.1", typed=typed)
    assert "+ 3: A-E in P 0.1: pass" in said
    assert "'bla' is no reading" in said
    assert "probes set anew" in said
    assert "F-E in D 0.1: pass" in said
    assert "u: withdraw the last reading" in said
    assert "Against accepting it:" in said
    assert "go on with: benchproof proof read S-1.1" in said
    told = shown()
    readings = told["readings"]
    assert isinstance(readings, list)
    assert [one["withdrawn"] for one in readings] == [
        None,
        "probe slipped",
        None,
        "no reason given",
    ]
    assert [one["text"] for one in told["remarks"]] == ["stiff lever"]


def test_what_a_nulled_meter_shows_is_a_reading(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    # The meter can be wrong by 0.0405 ohm at zero.
    assert "A-E in P -0.02: pass, 0 ohm ±" in done("read", "S-1.1", "P", "A-E", "-0.02")
    assert "B-E in P -0.01: pass" in done("read", "S-1.1", typed="-0.01\n")
    assert [one["value"] for one in shown()["readings"]] == ["-0.02", "-0.01"]
    assert refused("read", "S-1.1", "P", "A-E", "-5") == (
        "'-5' is further below zero than depot bench meter can be wrong (0.0405 ohm); null "
        "the leads and read again."
    )
    assert "No such option '--lena'" in refused("read", "S-1.1", "P", "A-E", "0.1", "--lena", "R")


def test_a_re_read_is_told_by_its_own_value_and_a_slip_is_one_key(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    said = done("read", "S-1.1", typed="OL\n0.1\ns\n")
    assert "! 3: A-E in P OL: fail, over-range" in said
    assert "+ 4: A-E in P 0.1: pass, 0.1 ohm ±" in said
    assert "! The cell still fails, by reading 3 (OL)." in said
    assert "If reading 3 (OL) was a slipped probe: s at the prompt" in said
    assert "withdrawn as slip by ab: the probe slipped. It stays in the record and still " in said
    assert "2 readings since must agree against it" in said
    told = shown()["readings"]
    assert [one["withdrawn"] for one in told] == ["the probe slipped", None]
    # One reading against it does not take it back: it counts until the rules are met.
    assert [one["counts"] for one in told] == [True, True]


@pytest.mark.parametrize("typed", ["s\n", "OL\ns\n", "OL\nOL\ns\n"])
def test_what_was_not_read_again_is_no_slip(shop: Path, typed: str) -> None:
    done("open", "S-1", "--meter", "M-1")
    assert "Only a reading that is open against the chart" in done("read", "S-1.1", typed=typed)
    assert all(one["withdrawn"] is None for one in shown()["readings"])


def test_what_conducts_where_it_must_not_is_no_slip(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    said = done("read", "S-1.1", typed="D G-H 0.1\nD G-H OL\ns\n")
    assert "slipped probe: s" not in said
    assert "Only a reading that is open against the chart" in said
    assert "DANGER" in said


def test_the_prompt_keeps_up_with_one_reading_a_second(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    sheet = Path("good.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in sheet.splitlines()[1:]]
    typed = "".join(f"{at} {a}-{b} {value}\n" for at, a, b, value, *_ in rows)
    started = time.monotonic()
    said = done("read", "S-1.1", typed=typed)
    assert time.monotonic() - started < len(rows)
    assert said.count(": pass, ") == len(rows) == 42


def test_a_sheet_tells_how_many_fail(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    assert "42 readings are recorded. Every cell passes." in done(
        "read", "S-1.1", "--sheet", "good.csv"
    )
    done("open", "S-1", "--another", "--meter", "M-1")
    Path("bad.csv").write_text("pins,P,R\nA-E,OL,OL\nB-E,0.1,2.0\n", encoding="utf-8")
    said = done("read", "S-1.2", "--sheet", "bad.csv")
    assert "4 readings are recorded. 1 cell fails: A-E in P. 1 cell undecided: B-E in R." in said
    assert (
        "38 cells not read: A-E in N, A-E in D, A-E in 3, A-E in 2, A-E in 1, B-E in N and" in said
    )


def test_a_forgotten_k_is_asked_for_and_nothing_is_changed(shop: Path) -> None:
    with open_store("shop.sqlite", lambda: AT) as store:
        key = store.files.put(shipped_bytes("families", "harvest-ladder-8"))
        store.parts.add(PartRow("H-1", "harvest-ladder-8", key, AT))
    done("open", "H-1", "--meter", "M-1")
    family = shipped_family("harvest-ladder-8")
    at, pair = family.positions[-1], "-".join(family.chart[0].pair)
    charted = f"{family.chart[0].expect[-1]}"
    assert charted.startswith("3640 ohm")
    said = refused("read", "H-1.1", at, pair, "3.64")
    assert said == (
        f"{pair} in {at} is charted {charted}: type 3.64k, or '3.64 ohm' if the meter shows just "
        "that. Nothing is recorded yet."
    )
    assert "Nothing is recorded yet" in done("read", "H-1.1", typed=f"{at} {pair} 3,64\n")
    assert shown("H-1.1")["readings"] == []
    assert ": pass" in done("read", "H-1.1", at, pair, "3.64k")
    said = done("read", "H-1.1", at, pair, "3.64 ohm", "--again")
    assert ": fail" in said
    assert "was 3.64 kohm meant? Look at the meter's unit" in said


def test_the_end_of_input_leaves_everything_recorded(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    said = done("read", "S-1.1", typed="0.1\n")
    assert "Everything is recorded" in said
    assert len(shown()["readings"]) == 1


def test_at_the_prompt_a_hazard_is_told_at_once(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    said = done("read", "S-1.1", typed="D G-H 0.1\nq\n")
    assert "DANGER: start permit G-H in D reads 0.1" in said


def test_before_turning_the_caution_is_said_and_after_it_nothing_is_left(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "--sheet", "good.csv")
    result = run("turn", "S-1.1", "2 mm clockwise")
    assert "wheels chocked, parking brake on" in result.stderr
    assert "47 readings are left" in result.stdout
    said = done("read", "S-1.1", typed="turn back again\nq\n")
    assert "wheels chocked" in said
    told = shown()
    assert told["as_found"]["verdict"] == "pass"
    assert told["verdict"] == "incomplete"
    page = done("show", "S-1.1")
    assert "As found" in page
    assert "2 mm clockwise" in page


def test_undo_withdraws_the_last_or_the_one_named(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    assert "none to withdraw" in refused("undo", "S-1.1")
    done("read", "S-1.1", "P", "A-E", "OL")
    done("read", "S-1.1", "P", "B-E", "0.1")
    result = run("undo", "S-1.1", "--reading", "3", "--reason", "probe slipped")
    assert "Reading 3 (A-E in P, OL) withdrawn as other by ab: probe slipped. It" in result.stderr
    assert "withdrawn before ('probe slipped')" in refused("undo", "S-1.1", "--reading", "3")
    assert "There is no reading 77" in refused("undo", "S-1.1", "--reading", "77")
    run("undo", "S-1.1")
    assert "none to withdraw" in refused("undo", "S-1.1")


def test_undo_takes_what_the_reading_is_put_down_to(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "D", "G-H", "0.1")
    gone = run("undo", "S-1.1", "--kind", "slip", "--reason", "slid off")
    assert "still counts: a slipped probe reads open, never that." in gone.stderr
    told = shown()
    assert told["verdict"] == "fail"
    (reading,) = told["readings"]
    assert (reading["withdrawn_as"], reading["withdrawn_by"]) == ("slip", "ab")
    assert reading["counts"] is True
    said = done("show", "S-1.1")
    assert "Reading 3 (G-H in D, 0.1 ohm) withdrawn as slip by ab: slid off; it still" in said
    done("read", "S-1.1", typed="P A-E OL\nu wrong key I typed OL\nwork pin straightened\nq\n")
    last = shown()["readings"][-1]
    assert (last["withdrawn_as"], last["withdrawn"]) == ("wrong key", "I typed OL")
    assert [one["what"] for one in shown()["work"]] == ["pin straightened"]


def test_work_needs_a_name_and_clears_what_an_earlier_proof_found(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "D", "G-H", "0.1")
    run("close", "S-1.1", "--as", "abandoned")
    done("open", "S-1", "--meter", "M-1")
    (other,) = shown("S-1.2")["other_proofs"]
    assert (other["proof"], other["outcome"]) == ("S-1.1", "abandoned")
    assert other["starts_in_gear"]
    assert "other-proof-safe" in [one["rule"] for one in shown("S-1.2")["against"]]
    assert "Say who did it" in refused("work", "S-1.2", "contact replaced", "--by", "")
    done("work", "S-1.2", "contact replaced")
    assert "other-proof-safe" not in [one["rule"] for one in shown("S-1.2")["against"]]


def test_two_at_one_proof_both_go_on(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    done("open", "S-1", "--meter", "M-1")
    with open_store("shop.sqlite", lambda: AT) as one, open_store("shop.sqlite", lambda: AT) as two:
        first, second = work_on(one, "S-1.1"), work_on(two, "S-1.1")
        first.record(Remarked(AT.isoformat(), "ab", "first"))
        second.record(Remarked(AT.isoformat(), "cd", "second"))
        assert first.catch_up()
        assert not first.catch_up()
        assert first.state == second.state
    assert "somebody else added to this proof meanwhile (1 events)" in capsys.readouterr().err
    remarks = shown()["remarks"]
    assert [one["text"] for one in remarks] == ["first", "second"]


def test_many_at_one_proof_lose_nothing(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    with open_store("shop.sqlite", lambda: AT) as store:
        for initials in ("a", "b", "c"):
            store.people.add(PersonRow(initials, ""))

    def work(by: str) -> None:
        with open_store("shop.sqlite", lambda: AT) as store:
            mine = work_on(store, "S-1.1")
            for number in range(5):
                mine.record(Remarked(AT.isoformat(), by, f"{by} {number}"))

    threads = [threading.Thread(target=work, args=(by,)) for by in ("a", "b", "c")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    remarks = shown()["remarks"]
    for by in ("a", "b", "c"):
        mine = [one["text"] for one in remarks if one["by"] == by]
        assert mine == [f"{by} {number}" for number in range(5)]


def test_the_meter_is_chosen_until_the_first_reading(shop: Path) -> None:
    assert "No meter was named" in done("open", "S-1")
    done("choose", "S-1.1", "--meter", "M-1", "--bench", "relay-matrix")
    told = shown()
    assert told["meter"]["tag"] == "M-1"
    assert told["meter"]["due_on"] == "2100-01-01"
    assert told["bench"] == "relay matrix"
    done("read", "S-1.1", "P", "A-E", "0.1")
    assert "another meter" in refused("choose", "S-1.1", "--meter", "workshop-dial")
    assert "name a meter" in refused("choose", "S-1.1")


def test_what_the_intake_says_is_in_the_proof(shop: Path) -> None:
    with open_store("shop.sqlite", lambda: AT) as store:
        store.conditions.note(part="S-1", item="bent pins", grade="bad", remark="two", by="ab")
    told = json.loads(done("open", "S-1", "--meter", "M-1", "--json"))
    (seen,) = told["inspections"]
    assert (seen["item"], seen["grade"]) == ("bent pins", "do not reuse")
    assert "inspection" in {one["rule"] for one in told["against"]}


def test_a_photograph_is_added(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    picture = BytesIO()
    Image.new("RGB", (40, 30), "grey").save(picture, "PNG")
    Path("pins.png").write_bytes(picture.getvalue())
    done("photograph", "S-1.1", "pins.png", "pins, mating side")
    assert [one["what"] for one in shown()["photographs"]] == ["pins, mating side"]
    Path("no.png").write_bytes(b"no picture")
    assert "no.png" in refused("photograph", "S-1.1", "no.png")
    assert "none.png" in refused("photograph", "S-1.1", "none.png")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("open", "S-9"), "no part of this name"),
        (("open", "S-1", "--meter", "nothing"), "nothing: no such file"),
        (("open", "S-1", "--meter", "J-1"), "is no meter with a file"),
        (("open", "S-1", "--bench", "nothing"), "nothing: no such file"),
        (("open", "S-1", "--ambient", "20"), "name it with --meter"),
        (("show", "S-1.7"), "no proof of this name"),
        (("read", "S-1.1", "P", "A-E"), "give POSITION PAIR VALUE"),
        (("read", "S-1.1", "Q", "A-E", "1"), "'Q' is no position"),
        (("read", "S-1.1", "P", "A-Z", "1"), "'Z' is no pin"),
        (("read", "S-1.1", "P", "A-E", "\x1b[31m"), "is no reading"),
        (("read", "S-1.1", "P", "A-E", "1", "--lean", "D"), "not next to P"),
        (("read", "S-1.1", "--again"), "go with one reading"),
        (("read", "S-1.1", "--json"), "not with the prompt"),
        (("read", "S-1.1", "--sheet", "none.csv"), "none.csv"),
        (("remark", "S-1.1", ""), "its text is empty; type it"),
        (("remark", "S-1.1", "x" * 3000), "its text is longer than 2000 letters"),
        (("turn", "S-1.1", "x", "--by", "zz"), "'zz': nobody in this archive has these initials"),
        (("close", "S-1.1"), "Nothing is decided yet"),
        (("close", "S-1.1", "--as", "accepted"), "Not accepted"),
    ],
)
def test_a_mistake_gets_a_sentence(shop: Path, arguments: tuple[str, ...], said: str) -> None:
    done("open", "S-1", "--meter", "M-1")
    before = shown()["hash"]
    result = run(*arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert "\x1b" not in result.stderr
    assert shown()["hash"] == before


def test_words_cannot_take_over_a_terminal(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "P", "A-E", "0.1")
    run("undo", "S-1.1", "--reason", "\x1b[2Jreason")
    run("turn", "S-1.1", "\x1b[2Jnote")
    done("remark", "S-1.1", "\x1b[2Jwords\nFAKE LINE")
    page = done("show", "S-1.1")
    assert all(word in page for word in ("reason", "note", "words"))
    assert "\x1b" not in page
    assert "\nFAKE" not in page


def test_a_turn_typed_by_mistake_is_taken_back(shop: Path) -> None:
    """The record and the paper keep it; what was read counts as left again."""
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "--sheet", "good.csv")
    turned = run("turn", "S-1.1", "two mm")
    assert 'If it was not turned: benchproof proof unturn S-1.1 "WHY" --by' in turned.stderr
    assert shown()["verdict"] == "incomplete"
    back = run("unturn", "S-1.1", "meant S-2", "--by", "ab")
    assert back.exit_code == 0
    assert back.stderr.startswith("The turn of event 45 is taken back and stays in the record. ")
    assert "What was read before it counts as left again." in back.stderr
    told = shown()
    assert (told["verdict"], told["as_found"]) == ("pass", None)
    (turn,) = told["turns"]
    assert (turn["event"], turn["note"], turn["taken_back"]) == (45, "two mm", "meant S-2")
    assert (turn["taken_back_by"], told["readings"][0]["turn"]) == ("ab", 0)
    line = "Turned by ab: two mm; taken back by ab (event 46), the body was not turned: meant S-2"
    assert line in done("show", "S-1.1")
    start_permits_again()
    done("close", "S-1.1")
    paper = CliRunner().invoke(main, ["certificate", "S-1.1"]).stdout
    assert line in " ".join(paper.split())
    assert done("replay", "S-1.1").endswith("the same.\n")


def test_at_the_prompt_a_turn_is_taken_back_with_the_readings_since(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    typed = "0.1\nturn oops\n0.2\nunturn pressed the wrong key\nq\n"
    said = done("read", "S-1.1", typed=typed)
    assert "If it was not turned, type: unturn" in said
    assert "The 1 reading since it stays and counts together with those before it" in said
    assert "If the body was turned after all, note the turn again" in said
    assert [one["value"] for one in shown()["readings"]] == ["0.1", "0.2"]
    assert shown()["turns"][0]["taken_back"] == "pressed the wrong key"
    again = done("read", "S-1.1", typed="unturn\nq\n")
    assert "No turn of the body is noted, so there is none to take back." in again


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("unturn", "S-1.1"), "No turn of the body is noted"),
        (("unturn", "S-1.1", "--turn", "2"), "Event 2 is no turn of the body"),
        (("unturn", "S-1.1", "--turn", "2", "--by", ""), "Say who takes the turn back"),
    ],
)
def test_what_cannot_be_taken_back(shop: Path, arguments: tuple[str, ...], said: str) -> None:
    done("open", "S-1", "--meter", "M-1")
    assert said in refused(*arguments)


@pytest.mark.parametrize(
    "arguments",
    [
        ("open", "S-1"),
        ("choose", "S-1.1", "--meter", "M-1"),
        ("read", "S-1.1"),
        ("read", "S-1.1", "P", "A-E", "0.1"),
        ("read", "S-1.1", "--sheet", "good.csv"),
        ("run", "S-1.1", "--gear", "relay-board"),
        ("undo", "S-1.1"),
        ("work", "S-1.1", "cleaned"),
        ("turn", "S-1.1"),
        ("unturn", "S-1.1"),
        ("remark", "S-1.1", "so"),
        ("photograph", "S-1.1", "good.png"),
        ("close", "S-1.1", "--as", "abandoned"),
    ],
)
def test_initials_are_somebodys(shop: Path, arguments: tuple[str, ...]) -> None:
    """Of one of the people, who are completed; or else a sentence says how to add that person."""
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "P", "A-E", "0.1")
    Image.new("RGB", (8, 8)).save("good.png")
    before = shown()["hash"]
    command = proof.get_command(click.Context(proof), arguments[0])
    assert command is not None
    (by,) = (one for one in command.params if one.name == "by")
    ctx = click.Context(command)
    ctx.params["store"] = "shop.sqlite"
    assert [one.value for one in by.shell_complete(ctx, "a")] == ["ab"]
    said = "'zz': nobody in this archive has these initials; add them with benchproof person add zz"
    assert said in refused(*arguments, "--by", "zz")
    assert shown()["hash"] == before


def test_one_proof_of_a_part_is_open_at_a_time_unless_asked(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    said = (
        "S-1: proof S-1.1 of this part is open; go on with it (benchproof proof read S-1.1), or "
        "open another all the same by asking for it (--another; in the API another)."
    )
    assert refused("open", "S-1", "--mode", "find") == said
    assert [one["proof"] for one in json.loads(done("list", "--json"))["proofs"]] == ["S-1.1"]
    assert done("open", "S-1", "--another").startswith("S-1.2 is open.")
    assert "proof S-1.2 of this part is open" in refused("open", "S-1")
    for tag in ("S-1.1", "S-1.2"):
        run("close", tag, "--as", "abandoned")
    assert done("open", "S-1").startswith("S-1.3 is open.")


def test_an_override_is_somebodys(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-2")
    done("read", "S-1.1", "--sheet", "good.csv")
    start_permits_again()
    override = ("close", "S-1.1", "--reason", "checked since", "--override-by")
    assert "'No One': nobody in this archive has this name" in refused(*override, "No One")
    assert "Closed as accepted" in done(*override, "Invented Person")


def test_a_sheet_is_recorded_whole_or_not_at_all(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    Path("bad.csv").write_text("pins,P,R\nA-E,0.1,maybe\n", encoding="utf-8")
    assert "bad.csv" in refused("read", "S-1.1", "--sheet", "bad.csv")
    assert shown()["readings"] == []


def test_an_event_that_this_version_does_not_know_is_told(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    with open_store("shop.sqlite", lambda: AT) as store:
        store.proofs.append("S-1.1", b'{"event":"weighed","kg":1}', 2)
    assert "newer benchproof wrote it" in refused("show", "S-1.1")


def test_json_has_the_documented_keys(shop: Path) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("read", "S-1.1", "--sheet", "good.csv")
    run("turn", "S-1.1")
    done("read", "S-1.1", "--sheet", "good.csv")
    start_permits_again()
    told = json.loads(done("close", "S-1.1", "--json"))
    assert told["closed"]["outcome"] == "accepted"
    assert [len(told[key]) for key in ("turns", "against")] == [1, 0]
    assert told["as_found"]["verdict"] == "pass"
    assert told["meter"]["tag"] == "M-1"
    replayed = json.loads(done("replay", "S-1.1", "--json"))
    assert replayed["identical"]
    assert json.loads(done("list", "--json"))["proofs"][0]["closed_as"] == "accepted"
    done("open", "S-1")
    assert shown("S-1.2")["against"][0]["sentence"]


COMMON = {"--by", "--store", "--json"}


def test_every_command_and_option_is_documented() -> None:
    documented = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    context = click.Context(proof)
    for name in proof.list_commands(context):
        command = proof.get_command(context, name)
        assert command is not None
        section = documented.split(f"## benchproof proof {name}")[1].split("\n## ")[0]
        options = {p.opts[0] for p in command.params if isinstance(p, click.Option)}
        missing = {option for option in options if f"`{option}" not in section}
        assert missing <= (set() if name == "open" else COMMON), name


def test_the_outcomes_of_the_command_are_those_of_the_proof() -> None:
    assert tuple(ProofOutcome) == OUTCOMES


def test_the_shell_completes_tags_of_proofs(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    done("open", "S-1", "--meter", "M-1")
    done("open", "S-1", "--meter", "M-1", "--another")

    def completed(words: str) -> str:
        monkeypatch.setenv("_BENCHPROOF_COMPLETE", "bash_complete")
        monkeypatch.setenv("COMP_WORDS", words)
        monkeypatch.setenv("COMP_CWORD", str(len(words.split()) - 1))
        result = CliRunner().invoke(main, prog_name="benchproof")
        monkeypatch.delenv("_BENCHPROOF_COMPLETE")
        return result.stdout

    assert completed("benchproof proof show S").split() == ["plain,S-1.1", "plain,S-1.2"]
    assert completed("benchproof proof show Z").split() == []
    nowhere = completed("benchproof proof show --store nowhere.sqlite S")
    assert nowhere.split() == []
    assert not Path("nowhere.sqlite").exists()
    Path("broken.sqlite").write_bytes(b"no database at all" * 100)
    assert completed("benchproof proof show --store broken.sqlite S").split() == []


def test_a_reading_is_on_disk_before_it_is_acknowledged(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done("open", "S-1", "--meter", "M-1")
    counts = []

    def acknowledged(*_: object) -> None:
        # Another connection sees only what was committed.
        with sqlite3.connect("shop.sqlite") as other:
            counts.append(other.execute("SELECT count(*) FROM events").fetchone()[0])
        other.close()

    monkeypatch.setattr("benchproof.cli.proofprompt.print_last_reading", acknowledged)
    done("read", "S-1.1", typed="0.1\nOL\nq\n")
    assert counts == [3, 4]
