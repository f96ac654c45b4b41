"""Whether the gear of a bench is there, is safe, and reads."""

from collections.abc import Mapping
from dataclasses import dataclass

from benchproof.family.model import pair_text
from benchproof.instrument.checks import check_no_voltage
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.station import Station
from benchproof.reading.value import format_value

UNPLUGGED = "the part is off the vehicle or unplugged, and de-energised."


@dataclass(frozen=True)
class Tried:
    """What the instruments of a bench said.

    Attributes
    ----------
    gear : str
        Name of the bench.
    meter, selector : str or None
        What they call themselves; None if the meter does not say, or a person sets the probes.
    lever : str or None
        The position; empty between two; None for a person.
    volts_checked : bool
        Whether every pair was found without voltage; if not, it was not checked.
    readings : mapping of str to str
        Reading by pair, or "now"; empty if none was asked for.
    """

    gear: str
    meter: str | None
    selector: str | None
    lever: str | None
    volts_checked: bool
    readings: Mapping[str, str]

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it, a line each."""
        lever = "a person moves it and says where it is"
        if self.lever is not None:
            lever = f"stands in {self.lever or 'no position, between two'}"
        volts = (
            "No voltage stands on any pair."
            if self.volts_checked
            else "Voltage was not checked: check by hand that none stands on the pins."
        )
        return (
            f"Meter: {self.meter or 'reads'}",
            f"Selector: {self.selector or 'a person sets the probes'}",
            f"Lever: {lever}",
            volts,
            *(f"{pair}: {value}" for pair, value in self.readings.items()),
        )


def try_out(gear: str, station: Station, *, reads: bool) -> Tried:
    """Ask the instruments of a bench who they are, and whether a voltage stands on a pair.

    Parameters
    ----------
    gear : str
        Name of the bench.
    station : Station
    reads : bool
        Whether to read every pair of the selector once.

    Raises
    ------
    InstrumentProblem
        At the first that is not well.
    """
    meter, selector, lever = station.meter, station.selector, station.lever
    volts_checked = selector is not None and station.reads_volts
    if selector is not None:
        selector.open_all()
        if volts_checked:
            check_no_voltage(station.read_volt, selector, selector.pairs)
    stands = lever.position() if isinstance(lever, ScpiLever) else None
    readings: dict[str, str] = {}
    if selector is not None and reads:
        readings = {pair_text(p): format_value(station.read(p)) for p in selector.pairs}
        selector.open_all()
    elif not isinstance(meter, ScpiMeter) or reads:
        readings = {"now": format_value(meter.read_ohm())}
    return Tried(
        gear=gear,
        meter=meter.identity if isinstance(meter, ScpiMeter) else None,
        selector=None if selector is None else selector.identity,
        lever=stands,
        volts_checked=volts_checked,
        readings=readings,
    )
