"""The instruments plugged into this bench: one press takes one reading of what is asked for.

Either the gear of a gear file, or the simulated bench (invented), which serves an invented part of
the proof's family over TCP. The simulated bench only ever reads parts of the families that come
along, which are invented too, so that none of its readings gets into the proof of a real part.
"""

from collections import OrderedDict
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from hashlib import sha256
from random import Random
from threading import Lock
from typing import TYPE_CHECKING

import numpy as np

from benchproof.conduct.metering import Instrument, identity_of
from benchproof.conduct.simulated import serve_part
from benchproof.family.model import AT_REST
from benchproof.instrument.dialect import Dialect, read_dialect
from benchproof.instrument.gearfile import BenchGear, TypedGear, read_gear, simulated_gear
from benchproof.instrument.lever import ScpiLever
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.simcommands import Faults
from benchproof.instrument.station import Station, open_station
from benchproof.instrument.tryout import Tried, try_out
from benchproof.instrument.typed import TypedMeter
from benchproof.network.geometry import Margins, geometry, mean_gap
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import text_of
from benchproof.shipped.contents import DIALECTS, shipped, shipped_bytes
from benchproof.simulate.part import PartSource

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from benchproof.conduct.work import ProofStanding
    from benchproof.plan.actions import TakeReading
    from benchproof.proof.state import State
    from benchproof.reading.value import Value

MOST_BENCHES = 4
"""So many proofs have a simulated bench at a time; the one longest not used is unplugged."""
SET_SD_GAPS = 0.04
"""How well an invented part is set when its body is turned, in detent gaps."""
SIMULATED_NOTE = "simulated bench, invented"


@dataclass(frozen=True)
class Plug:
    """What reads by itself.

    Attributes
    ----------
    name : str
        What the screen calls it.
    note : str
        What is noted with each reading.
    """

    name: str
    note: str = ""


class Gear:
    """The instruments of a gear file.

    Parameters
    ----------
    gear : BenchGear
        The gear.
    dialect_of : callable
        The dialect of a name.
    """

    def __init__(self, gear: BenchGear, dialect_of: "Callable[[str], Dialect]") -> None:
        self._gear, self._dialect_of = gear, dialect_of
        self._lock = Lock()
        self._station: tuple[tuple[str, ...], Station] | None = None
        self._runs = ""

    def plug(self, _: "State") -> Plug | None:
        """Return what reads this proof by itself; None if its value is typed."""
        return None if isinstance(self._gear.meter, TypedGear) else Plug(self._gear.name)

    def read(self, standing: "ProofStanding", asked: "TakeReading") -> str:
        """Return the value of the reading that is asked for, as it is recorded.

        Raises
        ------
        InstrumentProblem
            If there is none that was of this cell beyond doubt.
        """
        with self._free():
            return text_of(read_asked(self._opened(standing.state), asked))

    @property
    def which(self) -> str:
        """Which meter it says that it has; empty if it is silent."""
        return self._gear.which

    def instrument(self, state: "State") -> Instrument:
        """Return which meter reads.

        Raises
        ------
        InstrumentProblem
            If it does not reply.
        """
        with self._free():
            return Instrument(self._gear.which, identity_of(self._opened(state)))

    @property
    def name(self) -> str:
        """What it is called."""
        return self._gear.name

    @property
    def has_meter(self) -> bool:
        """Whether its meter reads by itself."""
        return not isinstance(self._gear.meter, TypedGear)

    @property
    def has_selector(self) -> bool:
        """Whether its meter reads by itself, across any pair."""
        return self.has_meter and self._gear.selector is not None

    @property
    def moves_lever(self) -> bool:
        """Whether it moves the lever by itself."""
        return self._gear.lever is not None and bool(self._gear.lever.move)

    @contextmanager
    def station(self, state: "State") -> "Iterator[Station]":
        """Give its instruments for the time of a block; nobody else reads meanwhile."""
        with self._free():
            yield self._opened(state)

    def tried(self, *, reads: bool) -> Tried:
        """Return what the instruments say, whether they are safe, and what they read if asked to.

        Raises
        ------
        InstrumentProblem
            At the first that is not well.
        """
        with self._free():
            return try_out(self._gear.name, self._at(()), reads=reads)

    @contextmanager
    def run_of(
        self, tag: str, state: "State", ask: "Callable[[str, str], str]"
    ) -> "Iterator[Station]":
        """Give its instruments to an automatic run for the time of a block, and to nobody else.

        Parameters
        ----------
        tag : str
            The proof's, of which others are told.
        ask : callable
            Asks a person to move the lever.
        """
        with self._free():
            self._let_go()
            self._runs = tag
            positions = state.ground.family.positions
            station = open_station(self._gear, self._dialect_of, ask, positions)
            try:
                yield station
            finally:
                self._runs = ""
                with suppress(InstrumentProblem):
                    station.close()

    @contextmanager
    def _free(self) -> "Iterator[None]":
        """Wait for others, but for no run: a person may be long in moving the lever."""
        if self._runs:
            raise ProofProblem(
                f"The instruments are at work on {self._runs}; stop its automatic run, or wait "
                "until it ends."
            )
        with self._lock:
            yield

    def close(self) -> None:
        """Put the meter across nothing, and let go of everything."""
        if not self._runs:
            with self._lock:
                self._let_go()

    def _let_go(self) -> None:
        if self._station is not None:
            with suppress(InstrumentProblem):
                self._station[1].close()
            self._station = None

    def _opened(self, state: "State") -> Station:
        return self._at(state.ground.family.positions)

    def _at(self, positions: tuple[str, ...]) -> Station:
        if self._station is None or self._station[0] != positions:
            if self._station is not None:
                self._station[1].close()
            # Whoever presses says that lever and probes stand as asked.
            station = open_station(self._gear, self._dialect_of, lambda at, _: at, positions)
            self._station = positions, station
        return self._station[1]


class Simulated:
    """A simulated bench for each proof of an invented family."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._benches: OrderedDict[tuple[str, int], _Bench] = OrderedDict()

    def plug(self, state: "State") -> Plug | None:
        """Return what reads this proof by itself; None if its value is typed."""
        if state.opened.family_file not in _invented() or state.ground.tables is None:
            return None
        return Plug("simulated bench (invented)", SIMULATED_NOTE)

    def read(self, standing: "ProofStanding", asked: "TakeReading") -> str:
        """Return the value of the reading that is asked for, as it is recorded.

        Raises
        ------
        InstrumentProblem
            If there is none.
        """
        state = standing.state
        key = standing.tag, len(state.settings)
        with self._lock:
            if key not in self._benches:
                self._benches[key] = _Bench(state)
            self._benches.move_to_end(key)
            while len(self._benches) > MOST_BENCHES:
                self._benches.popitem(last=False)[1].unplug()
            return self._benches[key].read(state.seq, asked)

    def instrument(self, _: "State") -> None:
        """Return None: an invented part's readings say that they are of the simulated bench."""

    def close(self) -> None:
        """Unplug every bench."""
        with self._lock:
            while self._benches:
                self._benches.popitem()[1].unplug()


Plugged = Gear | Simulated


def read_asked(station: Station, asked: "TakeReading") -> "Value":
    """Return the value of a reading, taken with the lever where it is asked for.

    Raises
    ------
    InstrumentProblem
        If a sensor says that the lever is elsewhere, or the reading cannot be had.
    """
    if isinstance(station.meter, TypedMeter):
        raise InstrumentProblem("meter", Trouble.CANNOT, "read by itself")
    lever = station.lever
    if asked.position == AT_REST:
        # Nothing moves, so no lever on the bench is asked either.
        return _read(station, asked)
    if not isinstance(lever, ScpiLever) or lever.moves:
        lever.move(asked.position, asked.lean)
    _stands(station, asked, Trouble.NOT_MOVED)
    value = _read(station, asked)
    _stands(station, asked, Trouble.MOVED)
    return value


def _read(station: "Station", asked: "TakeReading") -> "Value":
    if asked.again and station.selector is not None:
        # What stands for lifting the probes and setting them anew.
        station.selector.open_all()
    return station.read(asked.pair)


def _stands(station: Station, asked: "TakeReading", otherwise: Trouble) -> None:
    at = station.lever.position()
    # A lever held off its detent may have left the sensor's switch.
    if at != asked.position and (at or not asked.lean):
        raise InstrumentProblem("lever", otherwise, f"wanted {asked.position}, is in {at}")


def _invented() -> frozenset[str]:
    return frozenset(
        sha256(shipped_bytes("families", name)).hexdigest() for name in shipped("families")
    )


def _seed(text: str) -> int:
    return int.from_bytes(sha256(text.encode()).digest()[:8])


class _Bench:
    """An invented part, the same one for a part's tag, on a simulated bench of its own.

    What a reading comes to depends on the part, on how often its body was turned and on how many
    events the proof had before, and on nothing else: not on how often the line was asked.
    """

    def __init__(self, state: "State") -> None:
        tables, positions = state.ground.tables, state.ground.family.positions
        assert tables is not None, "without them nothing is plugged in"
        priors = tables.priors
        margins = Margins(priors.single_margin_gaps, priors.run_margin_gaps)
        library = [geometry(other, margins) for other in state.ground.library]
        turns = len(state.settings) - 1
        name = f"{state.opened.part}/{state.opened.family}"
        source, rng = PartSource(tables, library), np.random.default_rng(_seed(name))
        # A part whose readings follow nothing is no practice for anybody.
        part = next(one for one in iter(lambda: source.draw(rng), None) if one.explained)
        self._name, self._seq = f"{name}/{turns}", state.seq
        rng = np.random.default_rng(_seed(self._name))
        if turns:
            sd = SET_SD_GAPS * mean_gap(part.shape)
            part = replace(part, offset=float(rng.normal(0.0, sd)))

        def drawn_anew() -> None:
            drawn = np.random.default_rng(_seed(f"{self._name}/{self._seq}"))
            rng.bit_generator.state = drawn.bit_generator.state

        self._server, channels = serve_part(
            part,
            tables,
            state.as_left.meter,
            rng,
            Faults(),
            Random(_seed(name)),
            at_reading=drawn_anew,
        )
        gear = read_gear(simulated_gear(self._server.resource, channels).encode(), "simulated")
        self._station = open_station(
            gear,
            lambda dialect: read_dialect(shipped_bytes(DIALECTS, dialect), f"{dialect}.toml"),
            lambda at, _: at,
            positions,
        )

    def read(self, seq: int, asked: "TakeReading") -> str:
        """Return the value of a reading, after so many events."""
        self._seq = seq
        return text_of(read_asked(self._station, asked))

    def unplug(self) -> None:
        """Close its line, and serve no more."""
        with suppress(InstrumentProblem):
            self._station.close()
        self._server.close()
