"""Mistakes of a whole sheet: rows or columns swapped, everything from a position on read too soon.

They are thought of once two charted cells read against the chart. A first look takes the part to be
without fault and every reading of a cell as if taken where it belongs; the likeliest mistakes are
then put right and weighed with every explanation of the part.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.grid import window
from benchproof.diagnose.latent import words
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.update import Posterior, tell
from benchproof.family.model import pair_text
from benchproof.family.remembered import once_each
from benchproof.network.resistance import Floats, Ints

LEAST_AGAINST = 2
"""With fewer charted cells against the chart no mistake of the whole sheet is thought of."""
ROWS_RATE, COLUMNS_RATE, SHIFTED_RATE = 1e-3, 1e-3, 2e-3
"""How often two rows are swapped, two columns, or all from a position on is one off (invented)."""
MOST_WEIGHED = 3
"""So many of the likeliest mistakes are weighed in full."""
FAR_LOG = 15.0
"""A mistake that the first look finds this much less likely than the best one is left out."""


@dataclass(frozen=True)
class SheetMistake:
    """What was mistaken for what.

    Attributes
    ----------
    text : str
        In words: "rows A-E and B-E are swapped".
    log_prior : float
        Log of how often it happens.
    pair, position : array of int, shape (charted,) and (positions,)
        The pair and the position at which a reading that was noted under each really was taken.
    """

    text: str
    log_prior: float
    pair: Ints
    position: Ints


@dataclass(frozen=True)
class Rewritten:
    """A mistake of the sheet, and what the readings say once they are where they belong."""

    mistake: SheetMistake
    log_prior: float
    posterior: Posterior


def rewritten(posterior: Posterior) -> tuple[Rewritten, ...]:
    """Return the likeliest mistakes of the sheet; none unless two charted cells are against it."""
    tables = posterior.tables
    if sum(factor.against for factor in posterior.factors.values()) < LEAST_AGAINST:
        return ()
    cells = [cell for cell in posterior.cells if cell[0] < tables.charted]
    of_pair, of_position = _elsewhere(tables, [posterior.cells[cell] for cell in cells])
    k, p = np.array(cells).T
    read = np.arange(len(cells))
    best = _any_offset(tables, of_pair[read, k].sum(axis=0))
    scored = [
        (m.log_prior + _any_offset(tables, logs), m)
        for m in every_mistake(tables)
        if (logs := _moved(m, k, p, of_pair, of_position)) is not None
    ]
    scored.sort(key=lambda item: -item[0])
    best = max(best, scored[0][0] if scored else best)
    likely = [m for score, m in scored[:MOST_WEIGHED] if score > best - FAR_LOG]
    return tuple(Rewritten(m, m.log_prior, _put_right(posterior, m)) for m in likely)


def _moved(
    mistake: SheetMistake, k: Ints, p: Ints, of_pair: Floats, of_position: Floats
) -> Floats | None:
    """Return the log of all readings where a mistake has them, by offset; None if it moves none."""
    read = np.arange(len(k))
    pair, position = mistake.pair[k], mistake.position[p]
    if (pair != k).any():
        rows: Floats = of_pair[read, pair].sum(axis=0)
        return rows
    if (position != p).any():
        columns: Floats = of_position[read, position].sum(axis=0)
        return columns
    return None


def _any_offset(tables: Tables, logs: Floats) -> float:
    return float(np.logaddexp.reduce(logs + tables.grid.log_offset))


def _put_right(posterior: Posterior, mistake: SheetMistake) -> Posterior:
    """Return what is known if the readings are those of the cells where they belong."""
    charted = posterior.tables.charted
    moved = {}
    for k, p in posterior.cells:
        at = int(mistake.pair[k]) if k < charted else k, int(mistake.position[p])
        if at != (k, p):
            moved[k, p] = at
    readings = [
        replace(one, pair=at[0], position=at[1], visit=_visit(one, n))
        for n, (cell, at) in enumerate(moved.items())
        for one in posterior.cells[cell]
    ]
    return tell(posterior, readings, instead_of=moved)


def _visit(one: Observed, cell: int) -> int:
    """Return a visit's number that is no other cell's: two cells can come to be noted as one."""
    return one.visit and (cell + 1) * 1_000_000 + one.visit


def _elsewhere(tables: Tables, cells: Sequence[tuple[Observed, ...]]) -> tuple[Floats, Floats]:
    """Return the log of what each cell's readings say of a part without fault at other cells.

    Returns
    -------
    tuple of arrays
        In its position at every charted pair, (cells, charted, offsets); and of its pair in every
        position, (cells, positions, offsets).
    """
    says = [words(tables.latents, tables.pure_channel, readings) for readings in cells]
    told = np.array([one.detent for one in says])
    top = told.max(axis=1)
    told = np.exp(told - top[:, None])
    shares, charted = _healthy_shares(tables, 0), tables.charted
    k = np.array([readings[0].pair for readings in cells])
    p = np.array([readings[0].position for readings in cells])
    offsets = shares.shape[2]
    of_pair = np.empty((len(cells), charted, offsets))
    of_position = np.empty((len(cells), shares.shape[1], offsets))
    for at in np.unique(p).tolist():
        of_pair[p == at] = (shares[:, at] @ told[p == at].T).transpose(2, 0, 1)
    for at in np.unique(k).tolist():
        of_position[k == at] = (shares[at] @ told[k == at].T).transpose(2, 0, 1)
    for n, one in enumerate(says):
        for lean, of_category in one.leaned:
            peak = float(of_category.max())
            top[n] += float(np.log(peak))
            leaned = _healthy_shares(tables, lean)
            of_pair[n] *= leaned[:, p[n]] @ (of_category / peak)
            of_position[n] *= leaned[k[n]] @ (of_category / peak)
    defect = [
        np.exp(np.minimum(one.local - t, 600.0)).sum() for one, t in zip(says, top, strict=True)
    ]
    wander = np.exp(np.minimum(np.array([one.wander for one in says]) - top, 600.0))
    local, wandering = tables.latents.local[:charted], tables.latents.wandering[:charted]
    found = []
    for likely, at in ((of_pair, (slice(None), p)), (of_position, (k, slice(None)))):
        rates = [rate[at] if likely is of_position else rate[at].T for rate in (local, wandering)]
        own = rates[0] * np.array(defect)[:, None] + rates[1] * wander[:, None]
        # In place: these are the largest arrays of a sheet.
        likely *= (1.0 - rates[0] - rates[1])[..., None]
        likely += own[..., None]
        np.log(np.maximum(likely, 1e-250, out=likely), out=likely)
        likely += top[:, None, None]
        found.append(likely)
    return found[0], found[1]


def _healthy_shares(tables: Tables, lean: int) -> Floats:
    """Return the probability of each pure category of a part without fault, by cell and offset.

    Shape (charted, positions, offsets, pure categories).
    """
    known = _shares_by_lean(tables)
    if lean not in known:
        grid = tables.grid
        there = tables.healthy[: tables.charted]
        shape = *there.shape[:2], len(grid.offsets), tables.parts.shape[1]
        shares = np.zeros(shape)
        for p in range(there.shape[1]):
            steps = int(grid.lean_steps[p, (lean + 1) // 2]) if lean else 0
            by_angle = tables.parts[there[:, p]].transpose(0, 2, 1)
            if lean:
                by_angle = by_angle @ tables.leaning
            shares[:, p] = (window(grid, by_angle, steps) @ grid.spread).transpose(0, 2, 1)
        known[lean] = shares
    return known[lean]


@once_each
def _shares_by_lean(tables: Tables) -> dict[int, Floats]:
    """Return the shares that were worked out before, by lean."""
    assert tables is not None, "each tables have their own"
    return {}


@once_each
def every_mistake(tables: Tables) -> tuple[SheetMistake, ...]:
    """Return every mistake of a sheet that is thought of."""
    return tuple(_every(tables))


def _every(tables: Tables) -> Iterator[SheetMistake]:
    rows, positions = np.arange(tables.charted), np.arange(len(tables.family.positions))
    names = [pair_text(pair) for pair in tables.pairs[: tables.charted]]
    swapped = [*combinations(range(len(rows)), 2)]
    for i, j in swapped:
        text = f"rows {names[i]} and {names[j]} are swapped"
        log_prior = float(np.log(ROWS_RATE / len(swapped)))
        yield SheetMistake(text, log_prior, _exchanged(rows, i, j), positions)
    places = tables.family.positions
    exchanged = [*combinations(range(len(positions)), 2)]
    for p, q in exchanged:
        text = f"columns {places[p]} and {places[q]} are swapped"
        log_prior = float(np.log(COLUMNS_RATE / len(exchanged)))
        yield SheetMistake(text, log_prior, rows, _exchanged(positions, p, q))
    last = len(positions) - 1
    if not last:
        return
    shifts = [
        (f"from {places[q]} on the lever was one position {word}", q, step)
        for step, word in ((-1, "early"), (1, "late"))
        for q in range(0 if step > 0 else 1, last + (step < 0))
    ]
    for text, q, step in shifts:
        at = np.where(positions >= q, np.clip(positions + step, 0, last), positions)
        yield SheetMistake(text, float(np.log(SHIFTED_RATE / len(shifts))), rows, at)


def _exchanged(numbers: Ints, i: int, j: int) -> Ints:
    found = numbers.copy()
    found[[i, j]] = j, i
    return found
