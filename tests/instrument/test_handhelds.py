"""Meters read by sigrok-cli, and meters that type."""

import os
import shutil
from collections.abc import Iterable
from contextlib import closing

import pytest

from benchproof.instrument.linequeue import LineQueue
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.sigrok import NotALine, SigrokMeter, parse_line
from benchproof.instrument.typed import TypedMeter
from benchproof.reading.value import Mark, Measured, OverRange

needs_sigrok = pytest.mark.skipif(
    shutil.which("sigrok-cli") is None and not os.environ.get("CI"),
    reason="sigrok-cli is not installed: run tools/setup oracles",
)


def demo(quantity: str = "resistance", offset: float = 270.0) -> tuple[str, ...]:
    """Return the arguments that make the program's demo show one value ten times a second."""
    shown = f"channel_group=A0:measured_quantity={quantity}:amplitude=0:offset={offset}"
    return ("--config", "samplerate=10", "--config", shown, "--channels", "A0")


@needs_sigrok
@pytest.mark.parametrize("ohm", [0.25, 270.0, 3300.0])
def test_the_demo_driver_end_to_end(ohm: float) -> None:
    with closing(SigrokMeter("demo", demo(offset=ohm))) as meter:
        values = [meter.read_ohm() for _ in range(3)]
        meter.close()
        values.append(meter.read_ohm())
    # The program computes with floats of 24 bits.
    ohms = [value.ohm for value in values if isinstance(value, Measured)]
    assert ohms == pytest.approx([ohm] * 4, rel=1e-6)


@needs_sigrok
def test_a_meter_that_shows_volts_is_refused() -> None:
    meter = SigrokMeter("demo", demo("voltage", 5.0))
    with (
        closing(meter),
        pytest.raises(InstrumentProblem, match=r"shows no ohms .* V\); set it to resistance"),
    ):
        meter.read_ohm()


@needs_sigrok
def test_a_driver_that_is_not_there() -> None:
    with pytest.raises(InstrumentProblem) as refused:
        SigrokMeter("benchproof-none").read_ohm()
    assert refused.value.trouble is Trouble.NOT_THERE


def test_without_the_program(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(InstrumentProblem, match="install the package sigrok-cli"):
        SigrokMeter("demo").read_ohm()


@pytest.mark.parametrize(
    ("line", "value"),
    [
        # As the program's demo prints them.
        ("A0: 270.0000 Ω", Measured(270.0, 1e-4)),
        ("A0: 0.0 mΩ", Measured(0.0, 1e-4)),
        ("A0: 3.3000 kΩ", Measured(3300.0, 0.1)),
        # As it prints a meter's flags; from memory.
        ("P1: 1.2345 MΩ AUTO HOLD", Measured(1234500.0, 100.0)),
        ("P1: inf Ω AUTO", OverRange()),
    ],
)
def test_lines_of_ohms(line: str, value: Measured | OverRange) -> None:
    assert parse_line(line) == value


@pytest.mark.parametrize(
    ("line", "trouble"),
    [
        ("A0: 5.0000 V DC", Trouble.NOT_OHMS),
        ("A0: -5.0 Ω", Trouble.BELOW_ZERO),
        ("A0: -inf Ω", Trouble.GARBLED),
        ("A0: 9999999999999.0 MΩ", Trouble.GARBLED),
        ("A0: 27", Trouble.GARBLED),
        ("A0: 270.0000 Ω A0: 270.0000 Ω", Trouble.GARBLED),
        ("270.0000 Ω", Trouble.GARBLED),
        ("; CSV generated", Trouble.GARBLED),
        ("", Trouble.GARBLED),
    ],
)
def test_lines_that_are_no_ohms(line: str, trouble: Trouble) -> None:
    with pytest.raises(NotALine) as refused:
        parse_line(line)
    assert refused.value.trouble is trouble


@pytest.mark.parametrize("length", range(len("P1: 1.2345 k")))
def test_a_line_cut_short_is_refused(length: int) -> None:
    with pytest.raises(NotALine):
        parse_line("P1: 1.2345 kΩ"[:length])


class Keys:
    """Lines that are typed one after another; None is a while in which none is."""

    def __init__(self, lines: Iterable[str | None]) -> None:
        self._lines = iter(lines)
        self.now_s, self.dropped = 0.0, 0

    def next(self, timeout_s: float) -> str | None:
        try:
            line = next(self._lines)
        except StopIteration:
            raise EOFError from None
        self.now_s += timeout_s if line is None else 0.1
        return line

    def drop(self) -> None:
        self.dropped += 1


def test_a_meter_that_types() -> None:
    keys = Keys(["0.3", "", "  ", "OL", "1.2k", "o", "1"])
    meter = TypedMeter(keys, marks={"1": "open"}, clock=lambda: keys.now_s)
    assert [meter.read_ohm() for _ in range(5)] == [
        Measured(0.3, 0.1),
        OverRange(),
        Measured(1200.0, 100.0),
        Mark.OPEN,
        Mark.OPEN,
    ]
    assert keys.dropped == 5


def test_what_is_typed_wrong_and_what_is_not_typed() -> None:
    keys = Keys(["hello", None])
    meter = TypedMeter(keys, timeout_s=5.0, clock=lambda: keys.now_s)
    with pytest.raises(InstrumentProblem, match="hello"):
        meter.read_ohm()
    with pytest.raises(InstrumentProblem, match="does not answer"):
        meter.read_ohm()
    with pytest.raises(InstrumentProblem, match="went away"):
        meter.read_ohm()


def test_lines_of_a_stream_without_its_cut_last_one() -> None:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8") as stream:
        lines = LineQueue(stream)
        assert lines.next(0.01) is None
        os.write(write, b"0.3\n12")
        assert lines.next(5.0) == "0.3"
        os.close(write)
        with pytest.raises(EOFError):
            lines.next(5.0)
        lines.drop()
        with pytest.raises(EOFError):
            lines.next(0.0)
