"""Instruments that never come to an end: a dialogue ends within its time-out plus a second."""

import os
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest
import pyvisa
import pyvisa_py  # noqa: F401  (loaded beforehand: that takes a while)

from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.gearfile import Address, Carrier
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.protocols import Link
from benchproof.instrument.scpi import Lines
from benchproof.instrument.selector import ScpiSelector
from benchproof.instrument.serialline import SerialLink
from benchproof.instrument.sigrok import SigrokMeter
from benchproof.instrument.station import link_to
from benchproof.instrument.visa import VisaLink

from .conftest import CHANNELS, new_bench

TIMEOUT_S = 1.0
BUSY_S = 0.5
"""A machine that does other things too is slower than the second says."""

Send = Callable[[bytes], None]
Behaviour = Callable[[Callable[[], bytes], Send, threading.Event], None]
"""Reads what came so far, sends, until it is told to stop."""


def drips(_: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
    while not stop.wait(0.2):
        send(b"1")


def drips_lines(_: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
    while not stop.wait(0.2):
        send(b"+1.0E+00\n")


def floods(_: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
    while not stop.wait(0.001):
        send(b"\xff\x00garbage" * 400)


def floods_lines(_: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
    while not stop.wait(0.001):
        send(b"+1.0E+00\r\n" * 300)


def is_silent(_: Callable[[], bytes], __: Send, stop: threading.Event) -> None:
    stop.wait()


def answers_late(read: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
    bench, lines = new_bench(), Lines()
    while not stop.wait(0.01):
        for message in lines.feed(read()):
            reply = bench.execute(message)
            if reply is not None and not stop.wait(1.3 * TIMEOUT_S):
                send(f"{reply}\n".encode())


def drips_when_asked_for_a_reading(
    read: Callable[[], bytes], send: Send, stop: threading.Event
) -> None:
    bench, lines = new_bench(), Lines()
    while not stop.wait(0.01):
        for message in lines.feed(read()):
            if "READ" in message or "ROUT" in message:
                while not stop.wait(0.2):
                    send(b"1")
            reply = bench.execute(message)
            if reply is not None:
                send(f"{reply}\n".encode())


BEHAVIOURS = (
    drips, drips_lines, floods, floods_lines, is_silent, answers_late,
    drips_when_asked_for_a_reading,
)  # fmt: skip

Plug = Callable[[Behaviour], Link]


@pytest.fixture
def over_tcp() -> Iterator[Plug]:
    """Return what puts such an instrument at a socket of this computer."""
    with ExitStack() as plugged:

        def put(behaviour: Behaviour) -> Link:
            stop = threading.Event()
            listening = plugged.enter_context(socket.create_server(("127.0.0.1", 0)))

            def one(made: socket.socket) -> None:
                with made, suppress(OSError):
                    behaviour(lambda: _waiting(made), made.sendall, stop)

            def serve() -> None:
                with suppress(OSError):
                    while True:
                        made, _ = listening.accept()
                        threading.Thread(target=one, args=(made,), daemon=True).start()

            threading.Thread(target=serve, daemon=True).start()
            plugged.callback(stop.set)
            resource = f"TCPIP0::127.0.0.1::{listening.getsockname()[1]}::SOCKET"
            return link_to(Address(Carrier.VISA, resource, "standard", TIMEOUT_S, 9600))

        yield put


def _waiting(made: socket.socket) -> bytes:
    try:
        return made.recv(4096, socket.MSG_DONTWAIT)
    except BlockingIOError:
        return b""


@pytest.fixture
def over_serial() -> Iterator[Callable[[Behaviour], str]]:
    """Return what puts such an instrument at the end of a serial line, and names the port."""
    with ExitStack() as plugged:

        def put(behaviour: Behaviour) -> str:
            main, port = os.openpty()
            tty.setraw(port)
            os.set_blocking(main, False)
            stop = threading.Event()

            def read() -> bytes:
                try:
                    return os.read(main, 4096)
                except BlockingIOError:
                    return b""

            def send(data: bytes) -> None:
                # A line that nobody reads is full at some time.
                with suppress(BlockingIOError):
                    os.write(main, data)

            def run() -> None:
                with suppress(OSError):
                    behaviour(read, send, stop)

            thread = threading.Thread(target=run, daemon=True)
            thread.start()

            def end() -> None:
                stop.set()
                thread.join(5.0)
                os.close(main)
                os.close(port)

            plugged.callback(end)
            return os.ttyname(port)

        yield put


def ends_in_time(work: Callable[[], object], more_s: float = 0.0) -> InstrumentProblem:
    """Return what a piece of work ends in, and see that it does in time."""
    pyvisa.ResourceManager("@py")
    began = time.monotonic()
    with pytest.raises(InstrumentProblem) as problem:
        work()
    assert time.monotonic() - began < TIMEOUT_S + 1.0 + more_s + BUSY_S
    return problem.value


def meter_at(link: Link, dialect: Dialect) -> ScpiMeter:
    return ScpiMeter(Dialogue(link, "meter", dialect.conversation(), TIMEOUT_S), dialect)


DIALECTS = [Dialect("standard"), Dialect("plain", repeat="", echo=False)]


@pytest.mark.parametrize("dialect", DIALECTS, ids=["marks", "no marks"])
@pytest.mark.parametrize("behaviour", BEHAVIOURS)
def test_a_meter_over_tcp(over_tcp: Plug, behaviour: Behaviour, dialect: Dialect) -> None:
    problem = ends_in_time(meter_at(over_tcp(behaviour), dialect).read_ohm)
    assert problem.trouble in (Trouble.SILENT, Trouble.GARBLED, Trouble.LOST)


@pytest.mark.parametrize("behaviour", BEHAVIOURS)
def test_a_serial_meter(over_serial: Callable[[Behaviour], str], behaviour: Behaviour) -> None:
    link = VisaLink(f"ASRL{over_serial(behaviour)}::INSTR")
    problem = ends_in_time(meter_at(link, DIALECTS[0]).read_ohm)
    assert problem.trouble in (Trouble.SILENT, Trouble.GARBLED)


@pytest.mark.parametrize("behaviour", BEHAVIOURS)
def test_a_board(over_serial: Callable[[Behaviour], str], behaviour: Behaviour) -> None:
    start_s = 0.3
    link = SerialLink(over_serial(behaviour), start_s=start_s)
    # What a board needs to start comes on top, at most once more.
    problem = ends_in_time(meter_at(link, DIALECTS[0]).read_ohm, 2.0 * start_s)
    assert problem.trouble in (Trouble.SILENT, Trouble.GARBLED)


def test_a_selector_is_given_up_in_time_and_told_to_open_in_time(over_tcp: Plug) -> None:
    link = over_tcp(drips_when_asked_for_a_reading)
    line = Dialogue(link, "selector", DIALECTS[0].conversation(), TIMEOUT_S)
    # Two pieces of work: to connect, and the last resort of opening all.
    problem = ends_in_time(
        lambda: ScpiSelector(line, CHANNELS).connect(("A", "E")), TIMEOUT_S + 1.0
    )
    assert "switch it off" in problem.detail


PROGRAM = {
    "drips": "while true; do printf 1; sleep 0.2; done",
    "drips lines": "while true; do echo garbage; sleep 0.2; done",
    "floods": "yes garbage | tr -d '\\n'",
    "floods lines": "yes garbage",
    "is silent": "sleep 60",
    "will not end": "trap '' TERM; while true; do sleep 0.2; done",
    "leaves others behind": "sleep 60 & sleep 60",
}


@pytest.mark.parametrize("script", PROGRAM.values(), ids=PROGRAM)
def test_the_bridge_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    program = tmp_path / "sigrok-cli"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    meter = SigrokMeter("invented", timeout_s=TIMEOUT_S)
    problem = ends_in_time(meter.read_ohm)
    assert problem.trouble in (Trouble.SILENT, Trouble.GARBLED)


def test_one_lost_reply_is_asked_for_again(over_tcp: Plug) -> None:
    """The bound is on time that is lost: an instrument that lives is asked once more."""
    lost = threading.Event()

    def loses_one(read: Callable[[], bytes], send: Send, stop: threading.Event) -> None:
        bench, lines = new_bench(), Lines()
        while not stop.wait(0.01):
            for message in lines.feed(read()):
                reply = bench.execute(message)
                if "READ" in message and not lost.is_set():
                    lost.set()
                elif reply is not None:
                    send(f"{reply}\n".encode())

    began = time.monotonic()
    with closing(meter_at(over_tcp(loses_one), DIALECTS[0])) as meter:
        meter.read_ohm()
    assert lost.is_set()
    assert time.monotonic() - began < TIMEOUT_S + 1.0 + BUSY_S
