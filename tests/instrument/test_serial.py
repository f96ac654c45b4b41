"""A meter and a relay board on a serial line: pseudo-terminals in place of the cable."""

import os
import select
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest

from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import InstrumentProblem
from benchproof.instrument.scpi import Lines, NotScpi, parse_channel_list
from benchproof.instrument.selector import ScpiSelector
from benchproof.instrument.serialline import SerialLink
from benchproof.instrument.simcommands import SimBench
from benchproof.instrument.visa import VisaLink
from benchproof.reading.value import Measured

from .conftest import CHANNELS


class RelayBoard:
    """The board that docs/instruments.md describes, with four relays and lever inputs."""

    def __init__(self) -> None:
        self.closed: set[str] = set()
        self.most_closed = 0
        self.inputs: set[int] = set()
        self._mask, self._errors = "0", list[str]()

    def execute(self, message: str) -> str | None:
        replies = [reply for part in message.split(";") if (reply := self._do(part)) is not None]
        return ";".join(replies) or None

    def _do(self, part: str) -> str | None:
        header, _, parameter = part.strip().upper().partition(" ")
        match header:
            case "*IDN?":
                return "benchproof,relay board,1,1.0"
            case "*ESE":
                self._mask = parameter
            case "*ESE?":
                return self._mask
            case "ROUT:OPEN:ALL":
                self.closed.clear()
            case "ROUT:CLOS":
                names = self._relays(parameter)
                self.closed.update(names)
                self.most_closed = max(self.most_closed, len(self.closed))
            case "ROUT:CLOS?":
                return ",".join(f"{int(n in self.closed)}" for n in self._relays(parameter))
            case "INP:LEV?":
                return f"{min(self.inputs)}" if len(self.inputs) == 1 else "0"
            case "SYST:ERR?":
                return self._errors.pop(0) if self._errors else '0,"No error"'
            case _:
                self._errors.append('-113,"Undefined header"')
        return None

    def _relays(self, parameter: str) -> list[str]:
        try:
            names = parse_channel_list(parameter)
        except NotScpi:
            names = [""]
        if not {*names} <= {"101", "102", "103", "104"}:
            self._errors.append('-222,"Data out of range"')
            return []
        return names


Plug = Callable[[SimBench | RelayBoard], tuple[str, Callable[[], None]]]


def answer(main: int, bench: SimBench | RelayBoard, stop: threading.Event) -> None:
    lines = Lines()
    while not stop.is_set():
        if not select.select([main], [], [], 0.02)[0]:
            continue
        try:
            data = os.read(main, 4096)
        except OSError:
            return
        for message in lines.feed(data):
            reply = bench.execute(message)
            if reply is not None:
                os.write(main, f"{reply}\r\n".encode())


@pytest.fixture
def plug() -> Iterator[Plug]:
    """Return what puts a bench at the end of a serial line, names the port and can pull it."""
    with ExitStack() as plugged:

        def put(bench: SimBench | RelayBoard) -> tuple[str, Callable[[], None]]:
            main, port = os.openpty()
            tty.setraw(port)
            name, stop, ends = os.ttyname(port), threading.Event(), [main, port]
            thread = threading.Thread(target=answer, args=(main, bench, stop))
            thread.start()

            def pull() -> None:
                stop.set()
                thread.join()
                while ends:
                    os.close(ends.pop())

            plugged.callback(pull)
            return name, pull

        yield put


@pytest.mark.parametrize("dialect", [Dialect("standard"), Dialect("d", repeat="", echo=False)])
def test_a_serial_meter_through_pyvisa(bench: SimBench, plug: Plug, dialect: Dialect) -> None:
    bench.closed.add("102")
    link = VisaLink(f"ASRL{plug(bench)[0]}::INSTR", 9600)
    meter = ScpiMeter(Dialogue(link, "meter", dialect.conversation(), 1.0), dialect)
    assert [meter.read_ohm() for _ in range(3)] == [Measured(3300.0, 1e-5)] * 3
    meter.close()


def test_a_relay_board_and_its_lever_share_one_line(plug: Plug) -> None:
    bench = RelayBoard()
    link = SerialLink(plug(bench)[0], start_s=0.05)
    dialogue = Dialogue(link, "relay board", Dialect("standard").conversation(), 1.0)
    selector = ScpiSelector(dialogue, CHANNELS, settle_s=0.0)
    lever = ScpiLever(dialogue, "INP:LEV?", {"1": "P", "2": "R"})
    assert not lever.moves
    with pytest.raises(InstrumentProblem, match="cannot do what is asked"):
        lever.move("P")
    selector.connect(("A", "E"))
    assert bench.closed == {"101"}
    assert lever.position() == ""
    bench.inputs = {2}
    assert lever.position() == "R"
    bench.inputs = {1, 2}
    assert lever.position() == ""
    selector.connect(("G", "H"))
    assert bench.closed == {"103"}
    selector.close()
    assert bench.closed == set()
    assert bench.most_closed == 1


def test_a_relay_that_the_board_lacks(plug: Plug) -> None:
    link = SerialLink(plug(RelayBoard())[0], start_s=0.05)
    dialogue = Dialogue(link, "relay board", Dialect("standard").conversation(), 1.0)
    selector = ScpiSelector(dialogue, {frozenset("AE"): ("109",)}, settle_s=0.0)
    with pytest.raises(InstrumentProblem):
        selector.connect(("A", "E"))


@pytest.mark.parametrize("visa", [True, False])
def test_a_cable_that_is_pulled(bench: SimBench, plug: Plug, visa: bool) -> None:
    port, pull = plug(bench)
    link = VisaLink(f"ASRL{port}::INSTR") if visa else SerialLink(port, start_s=0.05)
    dialect = Dialect("standard")
    meter = ScpiMeter(Dialogue(link, "meter", dialect.conversation(), 0.2), dialect)
    meter.read_ohm()
    pull()
    with pytest.raises(InstrumentProblem):
        meter.read_ohm()


@pytest.mark.parametrize("make", [SerialLink, lambda port: VisaLink(f"ASRL{port}::INSTR")])
def test_no_such_port(make: Callable[[str], SerialLink | VisaLink]) -> None:
    dialect = Dialect("standard")
    dialogue = Dialogue(make("/dev/benchproof-none"), "meter", dialect.conversation(), 0.1)
    with pytest.raises(InstrumentProblem, match="cannot be reached"):
        ScpiMeter(dialogue, dialect).read_ohm()
