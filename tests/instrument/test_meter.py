"""A SCPI meter over a bench in memory: values, set-up, doubts, dialects."""

from decimal import Decimal

import pytest

from benchproof.family.problems import BadFile
from benchproof.instrument.dialect import Dialect, NoNumber, ohms_of, read_dialect
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.simcommands import SimBench
from benchproof.reading.value import Measured, OverRange
from benchproof.shipped.contents import DIALECTS, shipped_bytes

from .conftest import MakeLink, MemoryLink

STANDARD = Dialect("standard")


def meter_on(link: MemoryLink, dialect: Dialect = STANDARD, **more: object) -> ScpiMeter:
    return ScpiMeter(link.dialogue(dialect), dialect, **more)  # type: ignore[arg-type]


def test_it_reads_ohms_and_over_range(bench: SimBench, link: MakeLink) -> None:
    meter = meter_on(link(bench))
    assert meter.read_ohm() == OverRange()
    bench.closed.add("102")
    assert meter.read_ohm() == Measured(3300.0, 1e-5)
    assert meter.identity == "benchproof, simulated bench, invented, 1"
    assert meter.read_volt() == 0.0


def test_wires_and_range_are_set_once_and_again_after_volts(
    bench: SimBench, link: MakeLink
) -> None:
    bench.closed.add("102")
    line = link(bench)
    meter = meter_on(line, wires=4, range_ohm=1000.0)
    assert meter.read_ohm() == OverRange(1000.0)
    meter.read_ohm()
    meter.read_volt()
    meter.read_ohm()
    assert sum("CONF:FRES 1000;" in sent for sent in line.sent) == 2


@pytest.mark.parametrize("dialect", [Dialect("d", four_wire=""), Dialect("d", read="")])
def test_what_the_dialect_cannot_is_refused(
    bench: SimBench, link: MakeLink, dialect: Dialect
) -> None:
    with pytest.raises(InstrumentProblem, match="cannot do what is asked"):
        meter_on(link(bench), dialect, wires=4)


def test_the_standards_infinity_and_not_a_number() -> None:
    # SCPI-1999: 9.9E37 is infinity, 9.91E37 not a number.
    assert ohms_of(Decimal("9.90000000E+37"), STANDARD) == OverRange()
    with pytest.raises(NoNumber):
        ohms_of(Decimal("9.91E37"), STANDARD)
    for strange in ("-9.9E37", "9.8E37", "1E14"):
        with pytest.raises(Doubt):
            ohms_of(Decimal(strange), STANDARD)


def test_an_overload_that_is_a_round_number_belongs_to_the_dialect() -> None:
    assert ohms_of(Decimal("1E9"), STANDARD) == Measured(1e9, 1e9)
    assert ohms_of(Decimal("1.0E9"), Dialect("d", over_range=(Decimal("1E9"),))) == OverRange()


def test_below_zero_is_zero_within_the_null_and_refused_beyond() -> None:
    assert ohms_of(Decimal("-0.003"), STANDARD) == Measured(0.0, 0.001)
    with pytest.raises(NoNumber):
        ohms_of(Decimal("-0.06"), STANDARD)


def test_a_lost_reply_is_asked_for_again_and_a_silent_meter_given_up(
    bench: SimBench, link: MakeLink
) -> None:
    lost = ["READ?"]

    def lose_once(message: str, reply: bytes) -> bytes | None:
        return None if lost and "READ?" in message and lost.pop() else reply

    line = link(bench, lose_once)
    bench.closed.add("103")
    meter = meter_on(line)
    assert meter.read_ohm() == Measured(1.0, 1e-8)
    assert line.opened == 2
    # It was set up anew, since it may have been started anew.
    assert sum("CONF:RES" in sent for sent in line.sent) == 2
    line.tamper = lambda *_: None
    with pytest.raises(InstrumentProblem) as refused:
        meter.read_ohm()
    assert refused.value.trouble is Trouble.SILENT
    assert line.now_s < 10.0


def test_a_digit_that_flips_in_one_of_the_two_replies_is_noticed(
    bench: SimBench, link: MakeLink
) -> None:
    bench.closed.add("102")
    flips = [b"3.3", b"3.3"]

    def flip(message: str, reply: bytes) -> bytes:
        return reply.replace(flips.pop(), b"8.3", 1) if flips and "READ?" in message else reply

    assert meter_on(link(bench, flip)).read_ohm() == Measured(3300.0, 1e-5)


def test_an_error_in_the_queue_is_told_and_not_tried_again(bench: SimBench, link: MakeLink) -> None:
    dialect = Dialect("d", two_wire="CONF:NONSENSE")
    line = link(bench)
    with pytest.raises(InstrumentProblem, match="-113 Undefined header"):
        meter_on(line, dialect).read_ohm()
    assert line.opened == 1


def test_another_instrument_in_its_place_is_refused(bench: SimBench, link: MakeLink) -> None:
    line = link(bench)
    meter = meter_on(line)
    meter.read_ohm()
    swapped = [True]

    def swap(message: str, reply: bytes) -> bytes | None:
        if swapped and "READ?" in message:
            swapped.clear()
            return None
        return reply.replace(b"simulated", b"another")

    line.tamper = swap
    with pytest.raises(InstrumentProblem, match="another instrument than before"):
        meter.read_ohm()


def test_a_link_that_cannot_be_opened(dead_link: MemoryLink) -> None:
    with pytest.raises(InstrumentProblem, match="meter at memory: cannot be reached; check"):
        meter_on(dead_link).read_ohm()


def test_a_meter_of_one_query_a_message(bench: SimBench, link: MakeLink) -> None:
    bench.closed.add("102")
    dialect = read_dialect(shipped_bytes(DIALECTS, "one-query"), "one-query.toml")
    line = link(bench)
    meter = meter_on(line, dialect)
    assert meter.read_ohm() == Measured(3300.0, 1e-5)
    assert meter.read_volt() == 0.0
    assert not any(";" in sent for sent in line.sent)
    # It cannot mark its replies; what waits before a question is no answer to it.
    line.push(b"999\n12")
    assert meter.read_ohm() == Measured(3300.0, 1e-5)
    assert line.opened == 1


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ('read = "READ"', "is no query"),
        ('read = "READ?;X?"', "no single command"),
        ('over_range = ["lots"]', "is no number"),
        ('below_zero = "x"', "no resistance"),
        ("echo = false", "cannot repeat"),
        ("reed = 1", "did you mean"),
        ('ends = "cr"', "'crlf' or 'lf'"),
    ],
)
def test_a_bad_dialect_gets_a_sentence(line: str, sentence: str) -> None:
    with pytest.raises(BadFile, match=sentence) as refused:
        read_dialect(f'name = "d"\nrepeat = "FETC?"\n{line}\n'.encode(), "d.toml")
    assert str(refused.value).startswith("d.toml, line ")
