"""A sweep trace of a part, as a meter and an angle pickup would log it, with the truth about it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.family.model import Family, Pair, pair_text
from benchproof.family.safetext import csv_text
from benchproof.network.faults import faulty
from benchproof.network.resistance import Floats
from benchproof.simulate.part import SimulatedPart, ohms_at


@dataclass(frozen=True)
class Dropout:
    """A place where a pair opens though its contact is closed: pair number, middle and width."""

    pair: int
    at_deg: float
    width_deg: float


@dataclass(frozen=True)
class Logger:
    """How a sweep is made and logged.

    Attributes
    ----------
    beyond_deg : float
        How far beyond the end detents the lever goes, degrees.
    spacing_deg : float
        From sample to sample, degrees.
    passes : int
        Sweeps there and back count two.
    tremble_deg : float
        Standard deviation of the angle logged about the true one, degrees.
    bounce_deg : float
        So wide about an edge a contact makes and breaks, degrees.
    hysteresis_deg : float
        How much later an edge comes with the angle rising than falling, degrees.
    noise_ohm : float
        Standard deviation of a reading, ohms.
    noise_part : float
        The same, as a part of the reading.
    top_ohm : float
        Above this the meter is over range, ohms.
    """

    beyond_deg: float = 10.0
    spacing_deg: float = 0.05
    passes: int = 2
    tremble_deg: float = 0.01
    bounce_deg: float = 0.2
    hysteresis_deg: float = 0.3
    noise_ohm: float = 0.005
    noise_part: float = 0.002
    top_ohm: float = 40e6


@dataclass(frozen=True)
class SimulatedTrace:
    """A trace.

    Attributes
    ----------
    pairs : tuple of pair
        The pairs.
    zero_deg : float
        Where the scale shows the family's own zero, degrees.
    angle_deg : array, shape (samples,)
        On that scale, degrees.
    ohm : array, shape (samples, pairs)
        Ohms; infinite where over range.
    """

    pairs: tuple[Pair, ...]
    zero_deg: float
    angle_deg: Floats
    ohm: Floats


def sweep_of(
    part: SimulatedPart,
    family: Family,
    pairs: Sequence[Pair],
    rng: np.random.Generator,
    logger: Logger = Logger(),
    dropouts: Sequence[Dropout] = (),
    zero_deg: float = 0.0,
) -> SimulatedTrace:
    """Return a sweep of a part.

    Parameters
    ----------
    part : SimulatedPart
        The part.
    family : Family
        What it was made as, with detents.
    pairs : sequence of pair
        What is logged.
    rng : numpy Generator
        Where all chance comes from.
    logger : Logger
        How it is made and logged.
    dropouts : sequence of Dropout
        Planted, at angles of the lever; each shows in every pass.
    zero_deg : float
        Where the scale shows the family's own zero, degrees.
    """
    detents = family.detents_deg
    assert detents is not None, "a geometry has detents"
    low, high = detents[0] - logger.beyond_deg, detents[-1] + logger.beyond_deg
    there = np.linspace(low, high, max(2, round((high - low) / logger.spacing_deg)))
    lever = np.concatenate([there if n % 2 == 0 else there[::-1] for n in range(logger.passes)])
    way = np.concatenate([np.full(len(there), 1.0 - 2.0 * (n % 2)) for n in range(logger.passes)])
    # A contact that bounces or lags sees the angle a little off.
    off = rng.uniform(-0.5, 0.5, len(lever)) * logger.bounce_deg
    seen = lever + part.offset + off - 0.5 * way * logger.hysteresis_deg
    ohm = ohms_at(part.family, pairs, seen)
    for fault in filter(None, (fault.by_turns for fault in part.faults)):
        opened = faulty(part.family, fault)
        broken = _telegraph(rng, len(lever), logger.spacing_deg)
        ohm = np.where(broken[:, None], ohms_at(opened, pairs, seen), ohm)
    for one in dropouts:
        ohm[np.abs(lever - one.at_deg) <= 0.5 * one.width_deg, one.pair] = np.inf
    over = ohm > logger.top_ohm
    ohm = np.where(over, 0.0, ohm)
    noise = np.hypot(logger.noise_ohm, logger.noise_part * ohm)
    ohm = np.maximum(ohm + rng.normal(0.0, 1.0, ohm.shape) * noise, 0.0)
    angle = lever + zero_deg + rng.normal(0.0, logger.tremble_deg, len(lever))
    return SimulatedTrace(tuple(pairs), zero_deg, angle, np.where(over, np.inf, ohm))


def _telegraph(rng: np.random.Generator, samples: int, spacing_deg: float) -> np.ndarray:
    """Return when a chattering contact is open: about 0.2 deg at a time, once in 2 degrees."""
    flips = rng.random(samples)
    broken = np.zeros(samples, dtype=np.bool_)
    state = False
    for i, flip in enumerate(flips.tolist()):
        if flip < spacing_deg / (0.2 if state else 2.0):
            state = not state
        broken[i] = state
    return broken


def write_trace(trace: SimulatedTrace, family: Family, noted: Sequence[str] = ()) -> str:
    """Return a trace as CSV text, the detents of positions noted above it."""
    detents = family.detents_deg
    assert detents is not None, "a geometry has detents"
    lines = ["# Invented: simulated."]
    lines += [
        f"# {name} = {detents[family.positions.index(name)] + trace.zero_deg:.3f}" for name in noted
    ]
    lines.append(csv_text([["angle_deg", *map(pair_text, trace.pairs)]]).rstrip("\n"))
    columns = [[f"{x:.3f}" for x in trace.angle_deg.tolist()]]
    columns += [
        ["OL" if x == float("inf") else f"{x:.3f}" for x in column.tolist()]
        for column in trace.ohm.T
    ]
    lines += map(",".join, zip(*columns, strict=True))
    return "\n".join(lines) + "\n"
