"""A bench: how long each move of the work takes, and the file that says so."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import inf, isfinite
from typing import Annotated

import msgspec
import numpy as np
from msgspec import Meta, Struct

from benchproof.family.model import Family, Pair, pair_text, same_pair
from benchproof.family.tomlfile import Text, TomlFile
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace, TakeReading


class BenchKind(StrEnum):
    """How the meter gets from pair to pair."""

    SELECTOR = "selector"
    """By a dial or relay box on which the charted pairs stand in chart order."""
    PROBES = "probes"
    """By needle probes; one that stays where it is costs nothing."""


@dataclass(frozen=True)
class Bench:
    """How long each move takes.

    Attributes
    ----------
    name : str
        Name of the bench.
    kind : BenchKind
        How the meter gets from pair to pair.
    reading_s : float
        Seconds for a reading, once everything stands right; above zero.
    detent_s : float
        Seconds for each detent that the lever moves.
    lean_s : float
        Seconds more for a reading with the lever held off its detent.
    pair_s : float
        Seconds for each step of the selector, or for each probe moved.
    off_chart_s : float
        Seconds to put the meter on a pair that the selector has no step for, and as many to put
        it back; infinite if that cannot be done. Means nothing for probes.
    note : str
        Where the figures come from.
    """

    name: str
    kind: BenchKind
    reading_s: float
    detent_s: float
    lean_s: float
    pair_s: float
    off_chart_s: float = inf
    note: str = ""


def pair_seconds(bench: Bench, pairs: Sequence[Pair], charted: int) -> Floats:
    """Return the seconds from each pair to each other, shape (pairs, pairs).

    Parameters
    ----------
    bench : Bench
        The bench.
    pairs : sequence of pair
        The charted pairs in chart order, then others.
    charted : int
        How many of them are charted.
    """
    count = len(pairs)
    if bench.kind is BenchKind.PROBES:
        pins = sorted({pin for pair in pairs for pin in pair})
        on_pin = np.array([[pin in pair for pin in pins] for pair in pairs], dtype=np.float64)
        return bench.pair_s * (2.0 - on_pin @ on_pin.T)
    step = np.arange(count)
    seconds: Floats = bench.pair_s * np.abs(step[:, None] - step)
    off = step >= charted
    seconds[off[:, None] | off] = bench.off_chart_s
    np.fill_diagonal(seconds, 0.0)
    return seconds


def first_seconds(bench: Bench, count: int, charted: int) -> Floats:
    """Return the seconds to each of some pairs while the meter is across none.

    The selector then stands at its first step; both probes are still to be set.

    Parameters
    ----------
    bench : Bench
        The bench.
    count, charted : int
        How many pairs there are, and how many of them, the first ones, are charted.
    """
    if bench.kind is BenchKind.PROBES:
        return np.full(count, 2.0 * bench.pair_s)
    seconds: Floats = bench.pair_s * np.arange(count, dtype=np.float64)
    seconds[charted:] = bench.off_chart_s
    return seconds


def reseat_seconds(bench: Bench) -> float:
    """Return the seconds to leave a pair and come back to it.

    Both probes are lifted and set again; a selector is turned off its step and back.
    """
    return 2.0 * bench.pair_s


@dataclass(frozen=True)
class Moves:
    """How long each reading of a family takes on a bench, from wherever things stand.

    Attributes
    ----------
    bench : Bench
        The bench.
    family : Family
        The family.
    number : mapping of pins to int
        The pairs that can be read.
    first : tuple of float, one a pair
        Seconds to each while the meter is across none.
    apart : tuple of tuples of float, [from][to]
        Seconds from pair to pair.
    reached : frozenset of pins
        The pairs at which the meter can stand, the charted ones among them.
    """

    bench: Bench
    family: Family
    number: Mapping[frozenset[str], int]
    first: tuple[float, ...]
    apart: tuple[tuple[float, ...], ...]
    reached: frozenset[frozenset[str]]

    def reachable(self, at: BenchPlace) -> BenchPlace:
        """Return where things stand as the plan knows it: at a pair that the bench can reach."""
        known = at.pair is None or same_pair(at.pair) in self.reached
        return at if known else BenchPlace(at.position)

    def seconds(self, at: BenchPlace, to: TakeReading) -> float:
        """Return the seconds for a reading, moves included.

        Parameters
        ----------
        at : BenchPlace
            Where the lever and the meter stand.
        to : TakeReading
            The reading.

        Raises
        ------
        ValueError
            If a position or pair is none of these.
        """
        bench, family, number = self.bench, self.family, self.number
        for position in (at.position, to.position):
            if position not in family.positions:
                raise ValueError(f"{family.name} has no position {position}")
        for pair in (at.pair, to.pair):
            if pair is not None and same_pair(pair) not in number:
                raise ValueError(f"{family.name} has no pair {pair_text(pair)} to read")
        seconds = self.first if at.pair is None else self.apart[number[same_pair(at.pair)]]
        moves = seconds[number[same_pair(to.pair)]]
        if to.again and moves == 0.0:
            moves = reseat_seconds(bench)
        detents = abs(family.positions.index(at.position) - family.positions.index(to.position))
        lean = bench.lean_s if to.lean else 0.0
        return moves + bench.detent_s * detents + lean + bench.reading_s


def moves_of(
    bench: Bench, family: Family, pairs: Sequence[Pair], known: Sequence[Pair] = ()
) -> Moves:
    """Return how long each reading takes.

    Parameters
    ----------
    bench : Bench
        The bench.
    family : Family
        The family.
    pairs : sequence of pair
        The pairs that can be read: the charted ones in chart order, then others.
    known : sequence of pair
        Other pairs across which the meter may stand.
    """
    charted = len(family.charted_pairs)
    free = bench.kind is BenchKind.PROBES or isfinite(bench.off_chart_s)
    return Moves(
        bench,
        family,
        {same_pair(pair): k for k, pair in enumerate(pairs)},
        tuple(first_seconds(bench, len(pairs), charted).tolist()),
        tuple(map(tuple, pair_seconds(bench, pairs, charted).tolist())),
        frozenset(map(same_pair, (*pairs, *(known if free else ())))),
    )


def seconds_between(
    bench: Bench, family: Family, pairs: Sequence[Pair], at: BenchPlace, to: TakeReading
) -> float:
    """Return the seconds for one reading, moves included; see `moves_of` and `Moves.seconds`."""
    return moves_of(bench, family, pairs).seconds(at, to)


Seconds = Annotated[float, Meta(ge=0, le=3600)]


class WorkFile(Struct, forbid_unknown_fields=True):
    """Seconds for the work of the hand and of the meter."""

    reading: Annotated[float, Meta(gt=0, le=3600)]
    per_detent: Seconds
    lean: Seconds


class SelectorTimesFile(
    Struct, tag_field="kind", tag=BenchKind.SELECTOR.value, forbid_unknown_fields=True
):
    """A selector: seconds for each step, and for a pair that it has no step for."""

    per_step: Seconds
    off_chart: Seconds | None = None


class ProbesFile(Struct, tag_field="kind", tag=BenchKind.PROBES.value, forbid_unknown_fields=True):
    """Needle probes: seconds for each one moved."""

    per_probe: Seconds


class BenchFile(Struct, forbid_unknown_fields=True):
    """A bench profile."""

    name: Text
    seconds: WorkFile
    pairs: SelectorTimesFile | ProbesFile
    note: str = msgspec.field(default="")


def read_bench(data: bytes, file: str) -> Bench:
    """Read a bench profile.

    Parameters
    ----------
    data : bytes
        TOML.
    file : str
        Its name, for messages.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    shaped = TomlFile(data, file).shaped(BenchFile)
    work = shaped.seconds
    match shaped.pairs:
        case SelectorTimesFile(per_step=pair_s, off_chart=off_chart):
            kind, off_chart_s = BenchKind.SELECTOR, inf if off_chart is None else off_chart
        case ProbesFile(per_probe=pair_s):
            kind, off_chart_s = BenchKind.PROBES, inf
    return Bench(
        name=shaped.name,
        kind=kind,
        reading_s=work.reading,
        detent_s=work.per_detent,
        lean_s=work.lean,
        pair_s=pair_s,
        off_chart_s=off_chart_s,
        note=shaped.note,
    )
