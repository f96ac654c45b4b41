"""All the gear of one bench, opened: takes one reading of one pair with every check around it."""

import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import TypeVar

from benchproof.family.model import Pair
from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.gearfile import (
    Address,
    BenchGear,
    Carrier,
    LeverGear,
    ScpiMeterGear,
    SelectorGear,
    SigrokGear,
    TypedGear,
)
from benchproof.instrument.lever import PersonLever, ScpiLever
from benchproof.instrument.linequeue import LineQueue
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.protocols import Lever, Link, Ohmmeter
from benchproof.instrument.selector import ScpiSelector
from benchproof.instrument.serialline import SerialLink
from benchproof.instrument.sigrok import SigrokMeter
from benchproof.instrument.socketlink import OPEN_S, socket_link
from benchproof.instrument.typed import TypedMeter
from benchproof.instrument.visa import VisaLink
from benchproof.reading.value import Value

TRIES = 3
"""A reading during which the selector was lost is taken again, so often at most."""

_Taken = TypeVar("_Taken")


class Station:
    """A meter with what puts it across a pair and what knows the lever.

    Attributes
    ----------
    meter : Ohmmeter
        The meter.
    selector : ScpiSelector or None
        None if a person sets the probes.
    lever : Lever
        What knows the lever.
    """

    def __init__(self, meter: Ohmmeter, selector: ScpiSelector | None, lever: Lever) -> None:
        self.meter, self.selector, self.lever = meter, selector, lever

    def read(self, pair: Pair) -> Value:
        """Return a reading of a pair: the selector is checked before and after it.

        Raises
        ------
        InstrumentProblem
            If no reading can be had that was of this pair beyond doubt.
        """
        return self._across(pair, self.meter.read_ohm)

    @property
    def reads_volts(self) -> bool:
        """Whether its meter can read volts."""
        return isinstance(self.meter, ScpiMeter) and self.meter.reads_volts

    def read_volt(self, pair: Pair) -> float:
        """Return the volts on a pair, checked as a reading is; infinite for more than it can read.

        Raises
        ------
        InstrumentProblem
            As for `read`, or if the meter cannot.
        """
        if not isinstance(self.meter, ScpiMeter):
            raise InstrumentProblem("meter", Trouble.CANNOT, "read volts")
        return self._across(pair, self.meter.read_volt)

    def _across(self, pair: Pair, take: Callable[[], _Taken]) -> _Taken:
        """Return what is taken while the meter stands across a pair beyond doubt."""
        if self.selector is None:
            return take()
        for attempt in range(TRIES):
            self.selector.connect(pair)
            value = take()
            try:
                self.selector.confirm()
            except InstrumentProblem as problem:
                if problem.trouble is not Trouble.CHANGED or attempt + 1 == TRIES:
                    raise
            else:
                return value
        raise AssertionError("unreachable: the last try returns or raises")

    def close(self) -> None:
        """Put the meter across nothing and let go of everything."""
        try:
            if self.selector is not None:
                self.selector.close()
        finally:
            for one in (self.meter, self.lever):
                if isinstance(one, ScpiMeter | SigrokMeter | ScpiLever):
                    with suppress(InstrumentProblem):
                        one.close()


def open_station(
    gear: BenchGear,
    dialect_of: Callable[[str], Dialect],
    ask: Callable[[str, str], str],
    positions: Sequence[str],
    marks: Mapping[str, str] | None = None,
) -> Station:
    """Return the station that a gear file describes; nothing is talked to yet.

    Parameters
    ----------
    gear : BenchGear
        The gear.
    dialect_of : callable
        The dialect of a name.
    ask : callable
        Asks a person to move the lever; see `PersonLever`.
    positions : sequence of str
        The part's positions.
    marks : mapping of str to str
        What a typing meter shows for closed and open.

    Raises
    ------
    InstrumentProblem
        If a dialect cannot do what the gear asks.
    """
    dialogues: dict[str, Dialogue] = {}
    own = (gear.meter, gear.selector, gear.lever)
    spoken = (ScpiMeterGear, SelectorGear, LeverGear)
    resources = [one.address.resource for one in own if isinstance(one, spoken)]

    def dialogue(address: Address, what: str) -> Dialogue:
        # Selector and lever sensor of one board share its line.
        if address.resource not in dialogues:
            if resources.count(address.resource) > 1:
                what = "instrument"
            dialect = dialect_of(address.dialect)
            dialogues[address.resource] = Dialogue(
                link_to(address), what, dialect.conversation(), address.timeout_s, dialect.errors
            )
        return dialogues[address.resource]

    match gear.meter:
        case ScpiMeterGear(address, wires, range_ohm):
            dialect = dialect_of(address.dialect)
            meter: Ohmmeter = ScpiMeter(dialogue(address, "meter"), dialect, wires, range_ohm)
        case SigrokGear(driver, options, timeout_s):
            meter = SigrokMeter(driver, options, timeout_s)
        case TypedGear(unit, timeout_s):
            meter = TypedMeter(LineQueue(sys.stdin), unit, marks, timeout_s)
    selector = None
    if gear.selector is not None:
        switch = gear.selector
        line = dialogue(switch.address, "selector")
        selector = ScpiSelector(line, switch.channels, switch.settle_s)
    lever: Lever
    if gear.lever is None:
        lever = PersonLever(ask, positions)
    else:
        line = dialogue(gear.lever.address, "lever sensor")
        lever = ScpiLever(line, gear.lever.query, gear.lever.replies, gear.lever.move)
    return Station(meter, selector, lever)


def link_to(address: Address) -> Link:
    """Return the link to an address; nothing is opened yet."""
    if address.carrier is Carrier.BOARD:
        return SerialLink(address.resource, address.baud)
    open_s = min(OPEN_S, address.timeout_s)
    over_tcp = socket_link(address.resource, open_s)
    return over_tcp or VisaLink(address.resource, address.baud, open_s)
