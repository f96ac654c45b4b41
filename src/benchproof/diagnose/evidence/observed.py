"""Evidence as the tables know it, of whatever kind."""

from collections.abc import Iterable
from typing import overload

import numpy as np

from benchproof.diagnose.evidence.edge import ObservedEdge, ObservedStretch
from benchproof.diagnose.evidence.overlap import by_spread_alone
from benchproof.diagnose.evidence.reading import Observed, agreement
from benchproof.diagnose.tables import Tables
from benchproof.family.model import same_pair
from benchproof.reading.evidence import (
    FoundEdge,
    MeasuredOffset,
    Piece,
    SeenCondition,
    WatchedStretch,
)
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading
from benchproof.reading.warmth import growth_of

Observation = Observed | ObservedEdge | ObservedStretch | MeasuredOffset | SeenCondition


@overload
def observe(
    tables: Tables, pieces: Iterable[Reading], meter: Meter, ambient_c: float | None = None
) -> list[Observed]: ...


@overload
def observe(
    tables: Tables, pieces: Iterable[Piece], meter: Meter, ambient_c: float | None = None
) -> list[Observation]: ...


def observe(
    tables: Tables, pieces: Iterable[Piece], meter: Meter, ambient_c: float | None = None
) -> list[Observation] | list[Observed]:
    """Return pieces of evidence as the tables know them.

    Readings of pairs that the tables do not know, and edges and stretches of pairs that are not
    charted, tell nothing and are left out, as are edges that the spread of contacts alone brings
    about.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    pieces : iterable of Reading, FoundEdge, WatchedStretch, MeasuredOffset, SeenCondition
        What was found, in any order.
    meter : Meter
        What was read with.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius.
    """
    number, positions = tables.number, tables.family.positions
    observed: list[Observation] = []
    for piece in pieces:
        match piece:
            case Reading():
                k = number.get(same_pair(piece.pair))
                if k is not None:
                    p = positions.index(piece.position)
                    lean = np.sign(positions.index(piece.lean) - p) if piece.lean else 0
                    growth = growth_of(piece, tables.family)
                    seen = agreement(piece.value, tables.bins, meter, ambient_c, growth)
                    observed.append(Observed(k, p, int(lean), seen, piece.visit))
            case FoundEdge():
                k = number.get(same_pair(piece.pair), tables.charted)
                if k < tables.charted:
                    below, above = (
                        agreement(value, tables.bins, meter, ambient_c)
                        for value in (piece.below, piece.above)
                    )
                    p, at, u = positions.index(piece.position), piece.at, piece.u
                    edge = ObservedEdge(k, p, at, u, below, above, piece.series, piece.zero_u)
                    if not by_spread_alone(tables, edge):
                        observed.append(edge)
            case WatchedStretch():
                k = number.get(same_pair(piece.pair), tables.charted)
                if k < tables.charted:
                    p = positions.index(piece.position)
                    observed.append(ObservedStretch(k, p, piece.low, piece.high))
            case MeasuredOffset() | SeenCondition():
                observed.append(piece)
    return observed
