"""Mistakes of the sheet: which are thought of and weighed, and where the readings then are."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from tests.diagnose.conftest import SHEETS, Cell, case, moved, observed, sheet_of, tables

from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.sheets import _elsewhere, every_mistake, rewritten
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.update import prior_of, tell
from benchproof.network.resistance import Floats

ROWS = {
    "rows A-E and B-E are swapped": [1, 0, 2],
    "rows A-E and G-H are swapped": [2, 1, 0],
    "rows B-E and G-H are swapped": [0, 2, 1],
}
COLUMNS = {
    "columns P and R are swapped": "RPND",
    "columns P and N are swapped": "NRPD",
    "columns P and D are swapped": "DRNP",
    "columns R and N are swapped": "PNRD",
    "columns R and D are swapped": "PDNR",
    "columns N and D are swapped": "PRDN",
}
# Nothing lies before P nor after D, so nothing noted there was read one too early or too late.
SHIFTS = {
    "from R on the lever was one position early": "PPRN",
    "from N on the lever was one position early": "PRRN",
    "from D on the lever was one position early": "PRNN",
    "from P on the lever was one position late": "RNDD",
    "from R on the lever was one position late": "PNDD",
    "from N on the lever was one position late": "PRDD",
}


def test_every_mistake_says_where_each_reading_was_taken_and_how_often_it_happens() -> None:
    found = every_mistake(tables())
    rows = {m.text: m.pair.tolist() for m in found if (m.pair != np.arange(3)).any()}
    places = {m.text: "".join("PRND"[p] for p in m.position) for m in found if m.text not in rows}
    assert rows == ROWS
    assert places == COLUMNS | SHIFTS
    assert all(m.position.tolist() == [0, 1, 2, 3] for m in found if m.text in rows)
    assert all(m.pair.tolist() == [0, 1, 2] for m in found if m.text in places)
    for several, rate in ((ROWS, 1e-3), (COLUMNS, 1e-3), (SHIFTS, 2e-3)):
        logs = [m.log_prior for m in found if m.text in several]
        assert logs == pytest.approx([np.log(rate / len(several))] * len(several))
    assert len(found) == len(ROWS) + len(COLUMNS) + len(SHIFTS)


def first_look(known: Tables, readings: Sequence[Observed], k: int, p: int) -> Floats:
    """Return the log of what a cell's readings say of no fault at another cell, by offset.

    It looks at the readings in the detent and at each lean apart.
    """
    at = [replace(one, pair=k, position=p) for one in readings]
    rate = known.latents.local[k, p] + known.latents.wandering[k, p]
    ones = np.ones(len(known.pure_channel))
    apart = [[one for one in at if not one.lean], *([one] for one in at if one.lean)]
    sound = (1.0 - rate) * np.prod(
        [Cell(known, k, p, part).sound_with(0, ones) / (1.0 - rate) for part in apart], axis=0
    )
    whole = Cell(known, k, p, at)
    found: Floats = np.log(sound + float(whole.defects.sum()) + whole.wanders)
    return found


@pytest.mark.parametrize("name", ["columns", "leaned", "wanders", "one visit", "read again"])
def test_the_first_look_is_each_cell_without_fault_where_a_mistake_has_it(name: str) -> None:
    known, posterior = tables(), case(name).posterior
    cells = [cell for cell in posterior.cells if cell[0] < known.charted]
    of_pair, of_position = _elsewhere(known, [posterior.cells[cell] for cell in cells])
    assert of_pair.shape[:2] == (len(cells), 3)
    assert of_position.shape[:2] == (len(cells), 4)
    for n, (k, p) in enumerate(cells):
        readings = posterior.cells[k, p]
        for at in range(3):
            assert of_pair[n, at] == pytest.approx(first_look(known, readings, at, p), abs=1e-9)
        for at in range(4):
            assert of_position[n, at] == pytest.approx(first_look(known, readings, k, at), abs=1e-9)


@pytest.mark.parametrize("name", [*SHEETS, "three far"])
def test_the_likeliest_mistakes_are_weighed_by_the_first_look(name: str) -> None:
    known = tables()
    told = SHEETS.get(name) or sheet_of({"A-E": "OL OL OL OL", "B-E": "0.2 0.2 0.2 0.2"})
    posterior = tell(prior_of(known), observed(known, told))
    charted = {cell: told for cell, told in posterior.cells.items() if cell[0] < known.charted}
    against = 0
    for (k, p), readings in charted.items():
        bad = ~known.good[k, p, : known.bins.count]
        detent = [one for one in readings if not one.lean]
        against += bool(detent) and all(one.seen[~bad].max() < 0.5 for one in detent)

    def score(pair: Sequence[int], position: Sequence[int]) -> float:
        of_cells = [
            first_look(known, readings, pair[k], position[p])
            for (k, p), readings in charted.items()
        ]
        return float(logsumexp(known.grid.log_offset + np.sum(of_cells, axis=0)))

    ranked = []
    for one in every_mistake(known):
        pair, position = one.pair.tolist(), one.position.tolist()
        if any((pair[k], position[p]) != (k, p) for k, p in charted):
            ranked.append((one.log_prior + score(pair, position), one.text))
    # Of two that are equally likely the first that is thought of.
    ranked.sort(key=lambda item: -round(item[0], 9))
    best = max([score(range(3), range(4)), *(s for s, _ in ranked)])
    likely = [text for s, text in ranked[:3] if s > best - 15.0]
    assert [one.mistake.text for one in rewritten(posterior)] == (likely if against >= 2 else [])


@pytest.mark.parametrize("name", ["too soon", "columns", "rows", "two cells", "out of line"])
def test_a_mistake_put_right_has_each_reading_in_its_cell_and_each_visit_apart(name: str) -> None:
    known, told = tables(), observed(tables(), SHEETS[name])
    posterior = tell(prior_of(known), told)
    weighed = rewritten(posterior)
    assert weighed
    for one in weighed:
        assert one.log_prior == one.mistake.log_prior
        there = tell(prior_of(known), moved(told, one.mistake))
        assert {cell: len(readings) for cell, readings in one.posterior.cells.items()} == {
            cell: len(readings) for cell, readings in there.cells.items()
        }
        for cell, readings in there.cells.items():
            visits = {reading.visit for reading in readings if reading.visit}
            kept = {reading.visit for reading in one.posterior.cells[cell] if reading.visit}
            assert len(kept) == len(visits), cell
        assert np.abs(one.posterior.log_healthy - there.log_healthy).max() < 1e-12
        assert np.abs(one.posterior.log_ratio - there.log_ratio).max() < 1e-12
        assert one.posterior.log_unexplained == pytest.approx(there.log_unexplained)


def test_two_visits_that_come_to_one_cell_stay_two() -> None:
    """From R on one late: what was noted in N and in D was read in D, each in its own visit."""
    known, told = tables(), observed(tables(), SHEETS["too soon"])
    (late,) = (
        one
        for one in rewritten(tell(prior_of(known), told))
        if one.mistake.text == "from R on the lever was one position late"
    )
    for k in range(3):
        visits = [one.visit for one in late.posterior.cells[k, 3]]
        assert all(visits)
        # Each cell was read twice in one visit and once in another.
        assert sorted(visits.count(visit) for visit in set(visits)) == [1, 1, 2, 2]
