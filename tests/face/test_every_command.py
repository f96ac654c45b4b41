"""Every command that takes --json, run on invented data, prints what docs/json.md says of it."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner
from PIL import Image

from benchproof.cli import main
from benchproof.cli.serve import start_bench
from benchproof.cli.store import opened_store
from benchproof.face.catalog import SHOWN
from benchproof.face.done import Served
from benchproof.face.view import told
from benchproof.instrument.gearfile import simulated_gear
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.shipped.read import shipped_family, shipped_meter

pytestmark = pytest.mark.usefixtures("limited")
FAMILY = "valley-coded-7"
EDGES = """position,pins,scale,turned,became,toward
N,G-H,12.5,up,closed,
N,G-H,20.5,up,open,D
N,G-H,20.0,down,closed,
N,G-H,12.0,down,open,
"""
PREPARED = """
person add ab --name Invented
customer add K-1 --contact gate
unit add U-1 --customer K-1 --mileage-km 412000
core add C-1 --missing plug
core note C-1 bent_pins=slight --by ab
gear add M-1 --due 2020-01-01 --calibrated 2019-01-01
part add S-1 valley-coded-7 --core C-1
part add S-2 valley-coded-7
part add S-9 valley-coded-7
part note S-1 bent_pins=sound
simulate valley-coded-7 --count 1 --seed 1 --out sim --traces
"""
TOLD = {
    "judge": [f"{FAMILY} shorted.csv", f"{FAMILY} good.csv --trace trace.csv",
              f"{FAMILY} --trace trace.csv"],
    "next": [FAMILY, f"{FAMILY} shorted.csv"],
    "route": [FAMILY],
    "decide": [f"{FAMILY} shorted.csv"],
    "window": [FAMILY, "orchard-single-7"],
    "centre": [FAMILY],
    "centre --edges": [f"{FAMILY} --edges edges.csv"],
    "foretell": [f"{FAMILY} shorted.csv", f"{FAMILY} --offset 5"],
    "audit": [FAMILY, "orchard-single-7"],
    "wiring": [f"{FAMILY} --kind selector", f"{FAMILY} --kind matrix", f"{FAMILY} --kind probes"],
    "gear check, without a gear file": [""],
    "gear check": ["bench.toml --read"],
    "shop": ["", "--name Invented_Depot --paper letter"],
    "proof open": ["S-1 --lead-ohm 0.1 --meter ordinary-handheld", "S-2 --meter depot-bench"],
    "proof choose": ["S-1.1 --meter depot-bench"],
    "proof work": ["S-1.1 cleaned"],
    "proof turn": ["S-1.1 a_little"],
    "proof unturn": ["S-1.1 typed_by_mistake"],
    "proof read": ["S-1.1 D G-H 0.2", "S-1.1 --sheet shorted.csv"],
    "proof edge": ["S-1.1 N G-H --at 3.2 --u 0.2 --below 0.1 --above OL"],
    "proof offset": ["S-1.1 --at 1.4 --u 0.2"],
    "proof sweep": ["S-1.1 trace.csv"],
    "proof undo": ["S-1.1 --reason slipped"],
    "proof remark": ["S-1.1 smells"],
    "proof photograph": ["S-1.1 ear.png the_ear"],
    "proof show": ["S-1.1"],
    "proof close": ["S-1.1 --as repair"],
    "proof run": ["S-2.1 --gear bench.toml --until-failure"],
    "proof list": [""],
    "proof replay": ["S-1.1"],
    "core list": [""],
    "core show": ["C-1"],
    "core checklist": [""],
    "part list": [""],
    "part show": ["S-1", "S-2", "S-9"],
    "shelf move": ["S-9 stock --by ab", "S-9 reserved --unit U-1"],
    "shelf list": [""],
    "unit list": [""],
    "unit show": ["U-1"],
    "person list": [""],
    "customer list": [""],
    "gear list": [""],
    "verify": [""],
    "salvage": ["shop.sqlite --store salvaged.sqlite"],
    "export": ["open"],
    "core add": ["C-2"],
    "core note": ["C-2 bent_pins=slight shaft_corrosion=sound"],
    "part add": ["S-3 valley-coded-7 --core C-2"],
    "part note": ["S-3 bent_pins=sound --remark straight"],
    "unit add": ["U-2 --mileage 75000_mi"],
    "person add": ["cd"],
    "customer add": ["K-2"],
    "gear add": ["M-2 --file depot-bench --due 2030-01-01"],
    "backup": ["kept.sqlite"],
    "restore": ["kept.sqlite --store restored.sqlite"],
    "import": ["open --store imported.sqlite"],
    "certificate": ["S-1.1 --out S-1.1.html", f"--blank {FAMILY} --out blank.csv"],
    "tag": ["S-1 --out S-1.pdf"],
    "figure strip": [f"{FAMILY} --out strip.svg"],
    "figure dial": [f"{FAMILY} --out dial.svg"],
    "figure trace": [f"{FAMILY} trace.csv --out trace.svg"],
    "demo": ["shown"],
    "simulate": [f"{FAMILY} --count 1 --out more"],
}  # fmt: skip
"""What is typed after the words of each command, in this order; `_` is a blank."""


SERVED = {"bench": "--port 0 --no-open --typed", "simulate --serve": FAMILY}
"""What is served until it is ended, and what is typed after its words."""


def run(words: str, line: str, *more: str) -> str:
    typed = [one.replace("_", " ") for one in [*words.split(), *line.split()]]
    result = CliRunner().invoke(main, [*typed, *more])
    # An archive with a proof that nobody can read, or a part against its chart, exits with 1.
    assert result.exit_code in (0, 1), (typed, result.output)
    assert result.exception is None or isinstance(result.exception, SystemExit), typed
    return result.stdout


def _shop() -> None:
    readings = ideal_readings(shipped_family(FAMILY), shipped_meter("depot-bench"))
    sheet = write_readings(readings)
    Path("good.csv").write_text(sheet, encoding="utf-8")
    shorted = sheet.replace("D,G,H,OL", "D,G,H,0.2 ohm")
    assert shorted != sheet
    Path("shorted.csv").write_text(shorted, encoding="utf-8")
    Path("edges.csv").write_text(EDGES, encoding="utf-8")
    Image.new("RGB", (30, 20), "red").save("ear.png")
    for line in PREPARED.strip().splitlines():
        run("", line)
    (trace,) = Path("sim").glob("*-trace.csv")
    trace.rename("trace.csv")
    with opened_store("shop.sqlite") as store:
        # As an older version may have left it: nobody can read it, and lists say so.
        tag = store.proofs.open("S-9", b"opened", mode="prove")
        store.proofs.append(tag, b"closed", 1, closed_as="accepted")


def test_every_command_prints_its_object_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    assert set(TOLD) | set(SERVED) == set(SHOWN)
    _shop()
    server, _, channels = start_bench(FAMILY, 4, "depot-bench")
    signs: set[str] = set()
    try:
        Path("bench.toml").write_text(simulated_gear(server.resource, channels), encoding="utf-8")
        for words, lines in TOLD.items():
            command = words.removesuffix(" --edges").partition(",")[0]
            for line in lines:
                out = run(command, line, "--json")
                view = msgspec.json.decode(out, type=SHOWN[words])
                # Bound both ways: all that is printed is described, and in this order.
                assert list(json.loads(out)) == list(told(view)), (words, line)
                fields = json.loads(out)
                if "dangers" in fields:
                    assert next(iter(fields)) == "dangers", words
                    signs |= {one["signal"] for one in fields["dangers"]}
                for row in fields.get("parts", []):
                    if isinstance(row, dict):
                        assert next(iter(row)) == "danger", words
                        signs |= {f"list: {row['danger']}"}
    finally:
        server.close()
    assert {"DANGER", "list: DANGER", "list: UNREADABLE"} <= signs


@pytest.mark.parametrize("words", SERVED)
def test_what_is_served_prints_its_object_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    program = "from benchproof.cli import main; main()"
    line = [*words.split(), *SERVED[words].split(), "--json"]
    with subprocess.Popen([sys.executable, "-c", program, *line], stdout=subprocess.PIPE) as served:
        assert served.stdout is not None
        first = b"".join(iter(served.stdout.readline, b"}\n")) + b"}"
        served.send_signal(signal.SIGTERM)
        rest = served.stdout.read()
    shown = msgspec.json.decode(first, type=SHOWN[words])
    assert isinstance(shown, Served)
    assert "127.0.0.1" in shown.address
    assert rest == b""
