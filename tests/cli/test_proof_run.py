"""`benchproof proof run` as a person uses it, on the simulated bench."""

import json
import signal
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from benchproof.cli import main
from benchproof.cli.serve import start_bench
from benchproof.instrument.gearfile import simulated_gear
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.station import Station
from benchproof.record.rows import GearRow, PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes

pytestmark = pytest.mark.usefixtures("limited")
FAMILY = "valley-coded-7"
SEED = 4


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SimServer]:
    """Serve a bench; its gear file is bench.toml, and hand.toml without the lever."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    with open_store("shop.sqlite", lambda: datetime.now(UTC)) as store:
        key = store.files.put(shipped_bytes("families", FAMILY))
        store.parts.add(PartRow("S-1", FAMILY, key, datetime.now(UTC)))
        store.people.add(PersonRow("ab", "invented"))
    server, _, channels = start_bench(FAMILY, SEED, "depot-bench")
    text = simulated_gear(server.resource, channels)
    Path("bench.toml").write_text(text, encoding="utf-8")
    head, rest = text.split("[lever]")
    Path("hand.toml").write_text(f"{head}{rest[rest.index('[selector]') :]}", encoding="utf-8")
    opened = CliRunner().invoke(main, ["proof", "open", "S-1", "--meter", "depot-bench"])
    assert opened.exit_code == 0
    yield server
    server.close()


def run(*arguments: str, typed: str | None = None) -> Result:
    result = CliRunner().invoke(main, ["proof", "run", "S-1.1", *arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "Traceback" not in result.output
    return result


def shown() -> dict[str, Any]:
    result = CliRunner().invoke(main, ["proof", "show", "S-1.1", "--json"])
    told = json.loads(result.stdout)
    assert isinstance(told, dict)
    return told


def test_it_runs_to_its_end_and_says_each_reading(bench: SimServer) -> None:
    result = run("--gear", "bench.toml")
    told = shown()
    lines = result.stdout.splitlines()
    assert lines[0].startswith("! Before you hook up the meter: part unplugged")
    assert "! The bench moves the lever by itself: keep hands and sleeves clear of it." in lines
    assert "depot bench meter: no voltage, 0 V, good" in lines
    assert "LEVER TO  P." in lines
    for one in told["readings"]:
        assert any(f" {one['seq']}: {'-'.join(one['pins'])}" in line for line in lines)
        assert one["source"] == "meter"
    assert [check["what"] for check in told["checks"]] == ["no voltage"]
    assert result.exit_code == int(bool(told["against"]))
    again = run("--gear", "bench.toml")
    assert again.exit_code == result.exit_code
    assert shown()["events"] == told["events"]


def test_json_is_one_object_and_everything_else_is_aside(bench: SimServer) -> None:
    result = run("--gear", "bench.toml", "--json")
    told = json.loads(result.stdout)
    assert told["run"] == {
        "complete": True,
        "ended": told["run"]["ended"],
        "problem": None,
    }
    assert told["proof"] == "S-1.1"
    assert "LEVER TO" in result.stderr


def test_lever_moves_are_asked_for_in_one_clear_line(bench: SimServer) -> None:
    # The simulated lever stays in P, so cells of R and further read as in P.
    result = run("--gear", "hand.toml", typed="\n" * 20)
    assert ">>>>>>  LEVER TO  P  <<<<<<" in result.stdout
    assert "Press Enter once it is in P, or type where it is" in result.output


def test_a_wrong_lever_position_is_told(bench: SimServer) -> None:
    result = run("--gear", "hand.toml", typed="X\nn\n")
    assert result.exit_code == 2
    assert "lever: is not where it is asked for (N)" in result.stderr
    assert "go on with: benchproof proof run S-1.1 --gear hand.toml" in result.stderr
    assert shown()["readings"] == []


def test_without_anybody_to_ask_it_stops(bench: SimServer) -> None:
    result = run("--gear", "hand.toml", typed="")
    assert result.exit_code == 2
    assert "Stopped. Every reading is recorded; go on with: benchproof proof run" in result.stderr


def test_ctrl_c_stops_it_safely_and_it_goes_on(
    bench: SimServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, count = Station.read, [0]

    def interrupted(station: Station, pair: tuple[str, str]) -> Any:  # noqa: ANN401
        count[0] += 1
        if count[0] == 4:
            raise KeyboardInterrupt
        return read(station, pair)

    monkeypatch.setattr(Station, "read", interrupted)
    result = run("--gear", "bench.toml")
    assert result.exit_code == 2
    assert "Stopped. Every reading is recorded" in result.stderr
    assert len(shown()["readings"]) == 3
    assert run("--gear", "bench.toml").exit_code in (0, 1)
    assert len(shown()["readings"]) > 3
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_an_instrument_that_is_off_gets_a_sentence(bench: SimServer) -> None:
    bench.close()
    result = run("--gear", "bench.toml")
    assert result.exit_code == 2
    assert "cannot be reached" in result.stderr


def test_a_known_resistor_and_leads_are_checked_where_asked(bench: SimServer) -> None:
    """A-E in P is closed, so it stands for the short of the leads; its ohms are no 100."""
    result = run("--gear", "bench.toml", "--null-leads", "--check", "100", typed="\n\n\n")
    assert result.exit_code == 2
    assert "With the part not joined yet: join the tips, a short across A-E" in result.stdout
    assert "The resistor of 100 ohm reads" in result.stderr
    told = shown()
    assert [(check["what"], check["ok"]) for check in told["checks"]] == [
        ("leads", True),
        ("known resistor", False),
    ]
    assert told["meter"]["lead_ohm"] == told["checks"][0]["value"]
    assert told["readings"] == []


def test_what_does_not_fit_is_refused(bench: SimServer) -> None:
    assert "name it with --check OHM" in run("--gear", "bench.toml", "--check-limit", "1").stderr
    typing = run("--gear", "typing-meter")
    assert typing.exit_code == 2
    assert "This gear has no selector; read the proof by hand" in typing.stderr
    nothing = run("--gear", "nowhere.toml")
    assert nothing.exit_code == 2
    assert "no such file" in nothing.stderr


def test_until_failure(bench: SimServer) -> None:
    result = run("--gear", "bench.toml", "--until-failure")
    failed = "Stopped at the first failure" in result.stdout
    fails = [one for one in shown()["cells"] if one["result"] == "fail"]
    assert failed is bool(fails)
    assert result.exit_code == int(failed or bool(shown()["against"]))


def test_the_gear_file_says_which_meter_it_is_and_that_one_is_recorded(bench: SimServer) -> None:
    """A run by one instrument was recorded as another meter's, calibration date included."""
    with open_store("shop.sqlite", lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("meters", "depot-bench"))
        for tag, due in (("M-1", date(2100, 1, 1)), ("M-2", date(2020, 1, 1))):
            store.gear.add(GearRow(tag, "meter", file, date(2019, 1, 1), due))
    plain = Path("bench.toml").read_text(encoding="utf-8")
    for tag in ("M-1", "M-2"):
        named = plain.replace("[meter]\n", f'[meter]\nwhich = "{tag}"\n')
        Path(f"{tag}.toml").write_text(named, encoding="utf-8")
    opened = CliRunner().invoke(main, ["proof", "choose", "S-1.1", "--meter", "M-1"])
    assert opened.exit_code == 0
    silent = run("--gear", "bench.toml")
    assert silent.exit_code == 2
    assert 'add which = "M-1" to its [meter] table' in silent.stderr
    assert shown()["readings"] == []
    run("--gear", "M-2.toml")
    told = shown()
    assert (told["meter"]["tag"], told["meter"]["due_on"]) == ("M-2", "2020-01-01")
    assert told["meter"]["identity"]
    assert "meter-calibrated" in [one["rule"] for one in told["against"]]
    # A reading withdrawn is to be read again, but not by another meter.
    undone = CliRunner().invoke(main, ["proof", "undo", "S-1.1", "--by", "ab"])
    assert undone.exit_code == 0
    other = run("--gear", "M-1.toml")
    assert other.exit_code == 2
    assert "S-1.1 has readings of M-2, and this meter is M-1; open a new proof" in other.stderr
