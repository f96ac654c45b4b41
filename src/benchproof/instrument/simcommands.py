"""What the simulated bench understands: messages in, replies out, no I/O.

One bench is meter, selector and lever in one, with the commands of SCPI-1999 that a program needs,
and a subsystem of its own, ``BENCh``, which moves the lever and makes faults on demand.
"""

import re
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from benchproof.family.model import Pair
from benchproof.instrument.scpi import (
    NotScpi,
    parse_channel_list,
    parse_number,
    parse_string,
    quoted_string,
    split_reply,
)

IDENTITY = "benchproof,simulated bench,invented,1"
INFINITE = "+9.90000000E+37"
MOST_ERRORS = 20
VOLT = "+0.00000000E+00"

Ohms = Callable[[Pair, str, str], float]
"""What the meter would show of a pair in a position, leaned toward a neighbour or not, ohms."""


@dataclass(frozen=True)
class Wiring:
    """What does not change: which channel puts the meter across which pair, and the part."""

    channels: Mapping[str, Pair]
    positions: Sequence[str]
    ohms: Ohms


@dataclass
class Faults:
    """What goes wrong on the line: at a rate, and once more for each kind that was asked for."""

    rate: float = 0.0
    kinds: tuple[str, ...] = ()
    once: deque[str] = field(default_factory=deque)
    lag_s: float = 0.0
    slips: int = 0


FAULT_KINDS = {
    "GARB": "bytes of the reply are changed",
    "CUT": "the line is closed in the middle of the reply",
    "SIL": "no reply",
    "LATE": "the reply comes after the next question",
    "UNPL": "the line is closed and nobody listens for a while",
    "SLIP": "a probe slips: the meter shows open",
}
"""The kinds of fault on demand, and what each does."""


class SimBench:
    """A bench as its connections see it; one state for all of them.

    Parameters
    ----------
    wiring : Wiring
        The part and how it is wired.
    faults : Faults
        What goes wrong; the server asks it too.
    """

    def __init__(self, wiring: Wiring, faults: Faults) -> None:
        self._wiring, self.faults = wiring, faults
        self.closed: set[str] = set()
        self.position, self.lean = wiring.positions[0], ""
        self.most_closed = 0
        """The most channels that ever were closed together."""
        self.readings = 0
        self._volts = False
        self._range_ohm = float("inf")
        self._last = INFINITE
        self._mask = 0
        self._errors: deque[str] = deque(maxlen=MOST_ERRORS)

    def execute(self, message: str) -> str | None:
        """Return the reply to a message of one or more commands; None if none of them asks."""
        replies = []
        path, named = "", False
        for part in split_reply(message):
            header, _, parameters = part.partition(" ")
            if named and header.endswith("?"):
                self._errors.append('-440,"Query UNTERMINATED after indefinite response"')
                continue
            named = named or header.upper() == "*IDN?"
            if not header.startswith("*"):
                full = header[1:] if header.startswith(":") else path + header
                path, _, _ = full.rpartition(":")
                path = f"{path}:" if path else ""
                header = full
            try:
                reply = self._command(header, parameters.strip())
            except NotScpi as error:
                self._errors.append(f'-100,"Command error: {_plain(f"{error}")}"')
                reply = None
            if reply is not None:
                replies.append(reply)
        return ";".join(replies) if replies else None

    def _command(self, header: str, parameters: str) -> str | None:
        for pattern, action in _COMMANDS:
            if re.fullmatch(pattern, header, re.IGNORECASE):
                return action(self, parameters)
        if header.strip():
            self._errors.append('-113,"Undefined header"')
        return None

    def identify(self, _: str) -> str:
        """Return who it is."""
        return IDENTITY

    def clear(self, _: str) -> None:
        """Forget errors."""
        self._errors.clear()

    def reset(self, _: str) -> None:
        """Start anew: all channels open, ohms, own choice of range."""
        self.closed.clear()
        self._volts, self._range_ohm = False, float("inf")

    def done(self, _: str) -> str:
        """Return that all is done."""
        return "1"

    def set_mask(self, parameters: str) -> None:
        """Keep the event mask."""
        self._mask = int(parse_number(parameters)) & 255

    def mask(self, _: str) -> str:
        """Return the event mask."""
        return f"{self._mask}"

    def next_error(self, _: str) -> str:
        """Return the oldest error."""
        return self._errors.popleft() if self._errors else '0,"No error"'

    def set_ohms(self, parameters: str) -> None:
        """Set to ohms, on a range if one is told."""
        self._volts = False
        automatic = parameters.upper() in ("", "DEF", "AUTO")
        self._range_ohm = float("inf") if automatic else float(parse_number(parameters))

    def read(self, _: str) -> str:
        """Take a reading."""
        self.readings += 1
        self._last = VOLT if self._volts else self._ohms()
        return self._last

    def measure_ohms(self, parameters: str) -> str:
        """Set to ohms and take a reading."""
        self.set_ohms(parameters)
        return self.read("")

    def measure_volts(self, _: str) -> str:
        """Set to volts and take a reading: nothing stands on the part."""
        self._volts = True
        return self.read("")

    def fetch(self, _: str) -> str:
        """Return the last reading again."""
        return self._last

    def close_channels(self, parameters: str) -> None:
        """Close channels beside those that are closed."""
        self.closed |= {*self._channels(parameters)}
        self.most_closed = max(self.most_closed, len(self.closed))

    def open_channels(self, parameters: str) -> None:
        """Open channels."""
        self.closed -= {*self._channels(parameters)}

    def open_all(self, _: str) -> None:
        """Open all channels."""
        self.closed.clear()

    def are_closed(self, parameters: str) -> str:
        """Return 1 for each channel that is closed, else 0."""
        names = self._channels(parameters)
        return ",".join("1" if name in self.closed else "0" for name in names)

    def lever(self, _: str) -> str:
        """Return where the lever stands."""
        return quoted_string(self.position)

    def move_lever(self, parameters: str) -> None:
        """Move the lever, leaned toward a neighbour if one is named."""
        position, *more = [parse_string(word) for word in parameters.split(",")]
        positions = self._wiring.positions
        lean = more[0] if more else ""
        if position not in positions or len(more) > 1:
            raise NotScpi(f"no position {position}")
        here = positions.index(position)
        beside = {positions[n] for n in (here - 1, here + 1) if 0 <= n < len(positions)}
        if lean and lean not in beside:
            raise NotScpi(f"{lean} is no neighbour of {position}")
        self.position, self.lean = position, lean

    def most(self, _: str) -> str:
        """Return the most channels that ever were closed together."""
        return f"{self.most_closed}"

    def set_rate(self, parameters: str) -> None:
        """Make faults at a rate, one in so many replies."""
        rate = float(parse_number(parameters))
        if not 0.0 <= rate <= 1.0:
            raise NotScpi("a rate lies between 0 and 1")
        self.faults.rate = rate

    def set_kinds(self, parameters: str) -> None:
        """Choose the kinds of fault that are made at the rate."""
        self.faults.kinds = _kinds(parameters)

    def fault_once(self, parameters: str) -> None:
        """Make faults once each, in order, from the next reading on."""
        self.faults.once.extend(_kinds(parameters))

    def set_lag(self, parameters: str) -> None:
        """Reply later by so many seconds."""
        lag_s = float(parse_number(parameters))
        if not 0.0 <= lag_s <= 60.0:
            raise NotScpi("a lag lies between 0 and 60 s")
        self.faults.lag_s = lag_s

    def _channels(self, parameters: str) -> list[str]:
        names = parse_channel_list(parameters)
        unknown = [name for name in names if name not in self._wiring.channels]
        if unknown:
            raise NotScpi(f"no channel {unknown[0]}")
        return names

    def _ohms(self) -> str:
        if self.faults.slips:
            self.faults.slips -= 1
            return INFINITE
        if not self.closed:
            return INFINITE
        # Two pairs at once would put them in parallel; a program must never do it.
        siemens = 0.0
        for name in sorted(self.closed):
            ohm = self._wiring.ohms(self._wiring.channels[name], self.position, self.lean)
            siemens += 1.0 / max(ohm, 1e-9)
        ohm = 1.0 / siemens if siemens else float("inf")
        ohm = 0.0 if ohm <= 1e-9 else ohm
        return INFINITE if ohm > self._range_ohm or ohm > 9e36 else f"{ohm:+.8E}"


def _kinds(parameters: str) -> tuple[str, ...]:
    kinds = tuple(word.strip().upper() for word in parameters.split(",") if word.strip())
    for kind in kinds:
        if kind not in FAULT_KINDS:
            raise NotScpi(f"no fault {kind}; known are {', '.join(FAULT_KINDS)}")
    return kinds


def _plain(text: str) -> str:
    return text.replace('"', "'")


_COMMANDS: tuple[tuple[str, Callable[[SimBench, str], str | None]], ...] = (
    (r"\*IDN\?", SimBench.identify),
    (r"\*CLS", SimBench.clear),
    (r"\*RST", SimBench.reset),
    (r"\*OPC\?", SimBench.done),
    (r"\*ESE", SimBench.set_mask),
    (r"\*ESE\?", SimBench.mask),
    (r"SYST(EM)?:ERR(OR)?(:NEXT)?\?", SimBench.next_error),
    (r"CONF(IGURE)?:F?RES(ISTANCE)?", SimBench.set_ohms),
    (r"READ\?", SimBench.read),
    (r"FETC(H)?\?", SimBench.fetch),
    (r"MEAS(URE)?:F?RES(ISTANCE)?\?", SimBench.measure_ohms),
    (r"MEAS(URE)?:VOLT(AGE)?(:DC)?\?", SimBench.measure_volts),
    (r"ROUT(E)?:CLOS(E)?", SimBench.close_channels),
    (r"ROUT(E)?:CLOS(E)?\?", SimBench.are_closed),
    (r"ROUT(E)?:OPEN", SimBench.open_channels),
    (r"ROUT(E)?:OPEN:ALL", SimBench.open_all),
    (r"BENC(H)?:LEV(ER)?:POS(ITION)?\?", SimBench.lever),
    (r"BENC(H)?:LEV(ER)?:POS(ITION)?", SimBench.move_lever),
    (r"BENC(H)?:CLOS(ED)?:MOST\?", SimBench.most),
    (r"BENC(H)?:FAUL(T)?:RATE", SimBench.set_rate),
    (r"BENC(H)?:FAUL(T)?:KIND", SimBench.set_kinds),
    (r"BENC(H)?:FAUL(T)?:ONCE", SimBench.fault_once),
    (r"BENC(H)?:LAG", SimBench.set_lag),
)
"""The commands, as SCPI spells them short or long, and what each does."""
