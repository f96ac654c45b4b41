"""One invented part on the simulated bench, over the real protocol."""

from collections.abc import Callable
from random import Random

import numpy as np

from benchproof.diagnose.tables import Tables
from benchproof.family.model import Pair, same_pair
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.reading.meter import Meter
from benchproof.reading.value import Measured
from benchproof.simulate.part import SimulatedPart
from benchproof.simulate.reader import Habits, Reader

FIRST_CHANNEL = 101
"""As card 1, relay 1 of many switches is named."""


def serve_part(
    part: SimulatedPart,
    tables: Tables,
    meter: Meter,
    rng: np.random.Generator,
    faults: Faults,
    chance: Random,
    port: int = 0,
    at_reading: Callable[[], None] = lambda: None,
) -> tuple[SimServer, dict[str, Pair]]:
    """Start a bench with a part on it, a channel for each pair that the tables know.

    Parameters
    ----------
    part : SimulatedPart
        The part.
    tables : Tables
        Of its family.
    meter : Meter
        With whose noise it is read.
    rng : numpy.random.Generator
        Where noise and slips come from.
    faults : Faults
        What goes wrong on the line.
    chance : random.Random
        Where its chance comes from.
    port : int
        The port; 0 for any free one.
    at_reading : callable
        Called before the part is read; may set `rng` anew.

    Returns
    -------
    tuple
        The server, and the pair of each channel.

    Raises
    ------
    OSError
        If the port cannot be had.
    """
    reader = Reader(part, tables, meter, rng, tables.priors, Habits(marks=0.0))
    number = {same_pair(pair): k for k, pair in enumerate(tables.pairs)}
    positions = tables.family.positions

    def ohms(pair: Pair, position: str, lean: str) -> float:
        at_reading()
        p = positions.index(position)
        toward = positions.index(lean) - p if lean else 0
        value = reader.read(number[same_pair(pair)], p, toward).value
        return value.ohm if isinstance(value, Measured) else float("inf")

    channels = {f"{FIRST_CHANNEL + k}": pair for k, pair in enumerate(tables.pairs)}
    bench = SimBench(Wiring(channels, positions, ohms), faults)
    return SimServer(bench, chance, port), channels
