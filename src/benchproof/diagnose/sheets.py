"""Mistakes of a whole sheet: rows or columns swapped, everything from a position on read too soon.

They are thought of once two charted cells read against the chart. A first look takes the part to be
without fault and every reading of a cell as if taken where it belongs; the likeliest mistakes are
then put right and weighed with every explanation of the part.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import cast

import numpy as np

from benchproof.diagnose.grid import window
from benchproof.diagnose.latent import words
from benchproof.diagnose.observed import Observed, against_chart
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.told import Posterior, tell, untell
from benchproof.family.model import pair_text
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
class Mistake:
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

    mistake: Mistake
    log_prior: float
    posterior: Posterior


def rewritten(posterior: Posterior) -> tuple[Rewritten, ...]:
    """Return the likeliest mistakes of the sheet; none unless two charted cells are against it."""
    tables = posterior.tables
    if _against(posterior) < LEAST_AGAINST:
        return ()
    cells = [cell for cell in posterior.cells if cell[0] < tables.charted]
    k, p = np.array(cells).T
    says = np.stack([_anywhere(tables, posterior.cells[cell]) for cell in cells])
    read = np.arange(len(cells))
    log_own = says[read, k, p].sum(axis=0)
    scored = []
    for mistake in _mistakes(tables):
        at_pair, at_position = mistake.pair[k], mistake.position[p]
        if (at_pair != k).any() or (at_position != p).any():
            logs = says[read, at_pair, at_position].sum(axis=0) + tables.grid.log_offset
            scored.append((mistake.log_prior + float(np.logaddexp.reduce(logs)), mistake))
    if not scored:
        return ()
    scored.sort(key=lambda item: -item[0])
    best = scored[0][0]
    own = float(np.logaddexp.reduce(log_own + tables.grid.log_offset))
    likely = [m for score, m in scored[:MOST_WEIGHED] if score > max(best, own) - FAR_LOG]
    return tuple(Rewritten(m, m.log_prior, _put_right(posterior, m)) for m in likely)


def _against(posterior: Posterior) -> int:
    """Return how many charted cells read against the chart whenever they were read."""
    count = 0
    for (k, _), readings in posterior.cells.items():
        if k < posterior.tables.charted:
            detent = [one for one in readings if not one.lean]
            count += bool(detent) and all(against_chart(posterior.tables, one) for one in detent)
    return count


def _put_right(posterior: Posterior, mistake: Mistake) -> Posterior:
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
    return tell(untell(posterior, moved), readings)


def _visit(one: Observed, cell: int) -> int:
    """Return a visit's number that is no other cell's: two cells can come to be noted as one."""
    return one.visit and (cell + 1) * 1_000_000 + one.visit


def _anywhere(tables: Tables, readings: tuple[Observed, ...]) -> Floats:
    """Return the log of what a cell's readings say of a part without fault in any charted cell.

    Shape (charted, positions, offsets).
    """
    says = words(tables.latents, tables.pure_channel, readings)
    latents, charted = tables.latents, tables.charted
    top = float(says.detent.max())
    likely = _healthy_shares(tables, 0) @ np.exp(says.detent - top)
    for lean, of_category in says.leaned:
        peak = float(of_category.max())
        top += float(np.log(peak))
        likely *= _healthy_shares(tables, lean) @ (of_category / peak)
    local, wandering = latents.local[:charted, :, None], latents.wandering[:charted, :, None]
    likely *= 1.0 - local - wandering
    likely += local * float(np.exp(np.minimum(says.local - top, 600.0)).sum())
    likely += wandering * float(np.exp(min(says.wander - top, 600.0)))
    found: Floats = np.log(np.maximum(likely, 1e-250)) + top
    return found


def _healthy_shares(tables: Tables, lean: int) -> Floats:
    """Return the probability of each pure category of a part without fault, by cell and offset.

    Shape (charted, positions, offsets, pure categories).
    """
    key = "healthy shares", lean
    if key not in tables.remembered:
        grid = tables.grid
        there = tables.category[0, : tables.charted]
        shape = *there.shape[:2], len(grid.offsets), tables.parts.shape[1]
        shares = np.zeros(shape)
        for p in range(there.shape[1]):
            steps = int(grid.lean_steps[p, (lean + 1) // 2]) if lean else 0
            by_angle = tables.parts[there[:, p]].transpose(0, 2, 1)
            if lean:
                by_angle = by_angle @ tables.layout.leaning
            shares[:, p] = (window(grid, by_angle, steps) @ grid.spread).transpose(0, 2, 1)
        tables.remembered[key] = shares
    return cast("Floats", tables.remembered[key])


def _mistakes(tables: Tables) -> tuple[Mistake, ...]:
    """Return every mistake of a sheet that is thought of."""
    if Mistake not in tables.remembered:
        tables.remembered[Mistake] = tuple(_every(tables))
    return cast("tuple[Mistake, ...]", tables.remembered[Mistake])


def _every(tables: Tables) -> Iterator[Mistake]:
    rows, positions = np.arange(tables.charted), np.arange(len(tables.family.positions))
    names = [pair_text(pair) for pair in tables.pairs[: tables.charted]]
    swapped = [*combinations(range(len(rows)), 2)]
    for i, j in swapped:
        text = f"rows {names[i]} and {names[j]} are swapped"
        log_prior = float(np.log(ROWS_RATE / len(swapped)))
        yield Mistake(text, log_prior, _exchanged(rows, i, j), positions)
    places = tables.family.positions
    exchanged = [*combinations(range(len(positions)), 2)]
    for p, q in exchanged:
        text = f"columns {places[p]} and {places[q]} are swapped"
        log_prior = float(np.log(COLUMNS_RATE / len(exchanged)))
        yield Mistake(text, log_prior, rows, _exchanged(positions, p, q))
    last = len(positions) - 1
    shifts = [
        (f"from {places[q]} on the lever was one position {word}", q, step)
        for step, word in ((-1, "early"), (1, "late"))
        for q in range(0 if step > 0 else 1, last + (step < 0))
    ]
    for text, q, step in shifts:
        at = np.where(positions >= q, np.clip(positions + step, 0, last), positions)
        yield Mistake(text, float(np.log(SHIFTED_RATE / len(shifts))), rows, at)


def _exchanged(numbers: Ints, i: int, j: int) -> Ints:
    found = numbers.copy()
    found[[i, j]] = j, i
    return found
