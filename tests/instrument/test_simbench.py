"""The whole program's instruments over the real protocol: TCP, pyvisa, faults on demand."""

import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress

import pytest
import pyvisa

from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.gearfile import read_gear, simulated_gear
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import FAULT_KINDS, SimBench
from benchproof.instrument.station import Station, open_station
from benchproof.instrument.visa import VisaLink
from benchproof.reading.value import Measured, OverRange

from .conftest import OHMS, PAIRS, POSITIONS, Serve

STANDARD = Dialect("standard")
TIMEOUT_S = 0.2


def meter_at(server: SimServer) -> ScpiMeter:
    link = VisaLink(server.resource)
    dialogue = Dialogue(link, "meter", STANDARD.conversation(), TIMEOUT_S)
    return ScpiMeter(dialogue, STANDARD)


def station_at(server: SimServer) -> Station:
    text = simulated_gear(server.resource, PAIRS).replace("[selector]", "[selector]\ntimeout_s=0.2")
    gear = read_gear(text.replace("[meter]", "[meter]\ntimeout_s = 0.2").encode(), "gear.toml")
    return open_station(gear, lambda _: STANDARD, lambda position, _: position, POSITIONS)


def test_a_plain_pyvisa_client_talks_with_it(bench: SimBench, serve: Serve) -> None:
    session = pyvisa.ResourceManager("@py").open_resource(
        serve(bench).resource, read_termination="\n", write_termination="\n"
    )
    assert isinstance(session, pyvisa.resources.MessageBasedResource)
    assert session.query("*IDN?").split(",")[1] == "simulated bench"
    session.write("ROUTE:CLOSE (@102)")
    assert session.query("ROUT:CLOS? (@101,102)") == "0,1"
    assert session.query_ascii_values("CONF:RES;:READ?;FETC?", separator=";") == [3300.0, 3300.0]
    assert session.query("MEASURE:RESISTANCE?") == "+3.30000000E+03"
    session.write("NONSENSE")
    assert session.query("SYSTEM:ERROR:NEXT?") == '-113,"Undefined header"'
    assert session.query("SYST:ERR?") == '0,"No error"'
    # IEEE 488.2 allows no query after *IDN? in one message (from memory).
    assert session.query("*IDN?;*OPC?").count(";") == 0
    assert session.query("SYST:ERR?").startswith("-440,")
    session.close()


@pytest.mark.parametrize(
    "wrong",
    [
        'BENC:LEV:POS "X"',
        'BENC:LEV:POS "P","N"',
        "BENC:FAUL:RATE 2",
        "BENC:FAUL:KIND NONE",
        "BENC:LAG 1E9",
        "ROUT:CLOS (@999)",
        "ROUT:CLOS 101",
        "CONF:RES lots",
    ],
)
def test_what_it_does_not_understand_is_an_error(bench: SimBench, wrong: str) -> None:
    assert bench.execute(wrong) is None
    assert str(bench.execute("SYST:ERR?")).startswith("-100,")


def test_every_cell_read_by_the_station_is_the_parts(bench: SimBench, serve: Serve) -> None:
    station = station_at(serve(bench))
    assert isinstance(station.lever, ScpiLever)
    for position in POSITIONS:
        station.lever.move(position)
        assert station.lever.position() == position
        for pair in PAIRS.values():
            ohm = OHMS.get((pair[0], position), 1.0)
            value = station.read(pair)
            assert (value.ohm if isinstance(value, Measured) else float("inf")) == ohm
    assert {station.read_volt(pair) for pair in PAIRS.values()} == {0.0}
    station.lever.move("P", "R")
    assert (bench.position, bench.lean) == ("P", "R")
    station.close()
    assert bench.closed == set()
    assert bench.most_closed == 1


@pytest.mark.parametrize("kind", [kind for kind in FAULT_KINDS if kind != "SLIP"])
def test_after_a_fault_of_the_line_the_reading_is_right(
    bench: SimBench, serve: Serve, kind: str
) -> None:
    meter = meter_at(serve(bench))
    bench.closed.add("102")
    assert meter.read_ohm() == Measured(3300.0, 1e-5)
    bench.faults.once.append(kind)
    if kind == "UNPL":
        # Unplugged, its relays fall open; a meter alone cannot know, a station can.
        assert meter.read_ohm() == OverRange()
    else:
        assert meter.read_ohm() == Measured(3300.0, 1e-5)
    meter.close()


def test_unplugged_during_a_reading_the_station_reads_again(bench: SimBench, serve: Serve) -> None:
    station = station_at(serve(bench))
    assert station.read(("B", "E")) == Measured(3300.0, 1e-5)
    # The next exchange finds the selector as it was; the one after is the reading.
    bench.faults.once.extend(("", "UNPL"))
    assert station.read(("B", "E")) == Measured(3300.0, 1e-5)
    assert bench.most_closed == 1
    station.close()


def test_at_a_rate_of_faults_no_wrong_number(bench: SimBench, serve: Serve) -> None:
    station = station_at(serve(bench))
    station.read(("B", "E"))
    bench.faults.kinds, bench.faults.rate = ("GARB", "LATE", "CUT"), 0.05
    read = 0
    for pair in [("A", "E"), ("B", "E")] * 10:
        try:
            value = station.read(pair)
        except InstrumentProblem:
            continue
        read += 1
        assert value == Measured(*((0.25, 1e-9) if pair[0] == "A" else (3300.0, 1e-5)))
    assert read > 10
    bench.faults.rate = 0.0
    station.close()
    assert bench.most_closed == 1


def test_a_slip_shows_as_open(bench: SimBench, serve: Serve) -> None:
    bench.closed.add("103")
    meter = meter_at(serve(bench))
    assert meter.read_ohm() == Measured(1.0, 1e-8)
    bench.faults.once.append("SLIP")
    assert meter.read_ohm() == OverRange()
    assert meter.read_ohm() == Measured(1.0, 1e-8)
    meter.close()


def test_a_meter_that_stays_silent_is_given_up_in_time(bench: SimBench, serve: Serve) -> None:
    meter = meter_at(serve(bench))
    meter.read_ohm()
    bench.faults.kinds, bench.faults.rate = ("SIL",), 1.0
    began = time.monotonic()
    with pytest.raises(InstrumentProblem) as refused:
        meter.read_ohm()
    assert refused.value.trouble is Trouble.SILENT
    assert time.monotonic() - began < 10.0


def test_nobody_there(bench: SimBench, serve: Serve) -> None:
    server = serve(bench)
    server.close()
    with pytest.raises(InstrumentProblem, match=r"check that it is on and plugged in"):
        meter_at(server).read_ohm()


def garbage_server(send: Callable[[socket.socket], None]) -> tuple[socket.socket, str]:
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            try:
                line, _ = listener.accept()
            except OSError:
                return
            with suppress(OSError):
                send(line)
            line.close()

    threading.Thread(target=serve, daemon=True).start()
    return listener, f"TCPIP0::127.0.0.1::{listener.getsockname()[1]}::SOCKET"


@pytest.mark.parametrize("garbage", [b"\x00\xff" * 3000, b"1\n" * 3000, b"SSH-2.0-x\r\n"])
def test_a_server_that_is_no_instrument_is_given_up_in_time(garbage: bytes) -> None:
    def flood(line: socket.socket) -> None:
        until = time.monotonic() + 2.0
        while time.monotonic() < until:
            line.sendall(garbage)
            time.sleep(0.01)

    listener, resource = garbage_server(flood)
    dialogue = Dialogue(VisaLink(resource), "meter", STANDARD.conversation(), TIMEOUT_S)
    began = time.monotonic()
    with pytest.raises(InstrumentProblem):
        ScpiMeter(dialogue, STANDARD).read_ohm()
    assert time.monotonic() - began < 10.0
    listener.close()
