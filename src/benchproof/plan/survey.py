"""Every reading that could be taken next: its worth, its time, and what it would show."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.posterior import Masses, Posterior, masses
from benchproof.diagnose.predict import LEANS
from benchproof.diagnose.tables import Bools, Tables
from benchproof.family.model import pair_text, same_pair
from benchproof.family.sentence import percent
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.bench import Bench, first_seconds, pair_seconds, reseat_seconds
from benchproof.plan.forecast import Forecast, forecast
from benchproof.plan.gain import Gains, gains_of
from benchproof.plan.weights import VERDICTS

MOST_TIMES = 3
"""The same reading is not asked for more often: the tables take each as independent of the ones
before, which a fourth no longer is."""
LEAST_TOLD = 0.005
"""An outcome is told from this probability on."""


@dataclass(frozen=True)
class Option:
    """One reading that could be taken.

    Attributes
    ----------
    reading : TakeReading
        The reading.
    gain_bit, clearing_bit, worth_bit : float
        How much it is expected to tell; see `gain.py`.
    seconds : float
        How long it takes, moves included.
    expected : int
        The bin it most likely shows.
    chance : float
        How likely that is.
    """

    reading: TakeReading
    gain_bit: float
    clearing_bit: float
    worth_bit: float
    seconds: float
    expected: int
    chance: float


@dataclass(frozen=True)
class Survey:
    """Every reading that could be taken next; arrays of shape (leans, pairs, positions).

    Attributes
    ----------
    posterior : Posterior
        What is known.
    masses : Masses
        The same as probabilities.
    at : BenchPlace
        Where the lever and the meter stand.
    ahead : Forecast
        What each reading would show.
    gains : Gains
        How much each would tell.
    seconds : array
        How long each takes, moves included.
    open : array of bool
        Whether it can be taken, and has not been taken often enough.
    """

    posterior: Posterior
    masses: Masses
    at: BenchPlace
    ahead: Forecast
    gains: Gains
    seconds: Floats
    open: Bools

    def best(self) -> Iterator[Option]:
        """Yield the readings that could be taken, worth most for their time first."""
        rate = np.where(self.open, self.gains.worth_bit / self.seconds, -1.0)
        # Readings worth the same up to rounding are taken in the order of the chart.
        top = max(float(rate.max()), 1e-300)
        falling = np.argsort(-np.round(rate.ravel().clip(-top) / top, 9), kind="stable")
        for flat in falling.tolist():
            if self.open.flat[flat]:
                number, k, p = np.unravel_index(flat, rate.shape)
                yield self.option(int(number), int(k), int(p))

    def option(self, number: int, k: int, p: int) -> Option:
        """Return the reading of a pair in a position, its lean by number of `LEANS`."""
        tables = self.posterior.tables
        positions, at = tables.family.positions, (number, k, p)
        lean = LEANS[number]
        outcome = self.ahead.joint[at].sum(axis=0)
        expected = int(outcome.argmax())
        again = not lean and (k, p) in self.posterior.cells and _is_at(tables, self.at, k, p)
        toward = positions[p + lean] if lean else ""
        return Option(
            reading=TakeReading(positions[p], tables.pairs[k], toward, again),
            gain_bit=float(self.gains.gain_bit[at]),
            clearing_bit=float(self.gains.clearing_bit[at]),
            worth_bit=float(self.gains.worth_bit[at]),
            seconds=float(self.seconds[at]),
            expected=expected,
            chance=float(outcome[expected]),
        )

    def why(self, option: Option) -> str:
        """Return what a reading is expected to show, and what each outcome would speak for."""
        bins = self.posterior.tables.bins
        joint = self.ahead.joint[index_of(self.posterior.tables, option.reading)]
        outcome, before = joint.sum(axis=0), joint.sum(axis=1)
        if self.posterior.only_prior:
            # What parts are like in general is nothing found of this one.
            return f"{'; '.join([f'{bins.word(option.expected)} is expected', *_clears(option)])}."
        parts = [f"{bins.word(option.expected)} is expected ({percent(option.chance)})"]
        likeliest = np.argsort(-outcome, kind="stable")[:3].tolist()
        for b in (b for b in likeliest if outcome[b] >= LEAST_TOLD):
            after = joint[:, b] / outcome[b]
            up = int((after - before).argmax())
            old, new = percent(float(before[up])), percent(float(after[up]))
            if old != new:
                parts.append(f"{bins.word(b)} would take {VERDICTS[up].value} from {old} to {new}")
        return "; ".join([*parts, *_clears(option)]) + "."


def _clears(option: Option) -> list[str]:
    """Return that a reading is worth most for the danger that it clears; else nothing."""
    if option.clearing_bit <= option.gain_bit:
        return []
    return ["it helps to make sure that the starter cannot turn in gear"]


def survey(posterior: Posterior, bench: Bench, at: BenchPlace) -> Survey:
    """Return every reading that could be taken next.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    bench : Bench
        How long moves take.
    at : BenchPlace
        Where the lever and the meter stand.

    Raises
    ------
    ValueError
        If the place is none of the family's.
    """
    seconds = _seconds(posterior, bench, at)
    found = masses(posterior)
    ahead = forecast(posterior, found)
    reachable = np.isfinite(seconds) & ahead.possible[:, None, :] & ~_exhausted(posterior)
    return Survey(posterior, found, at, ahead, gains_of(ahead), seconds, reachable)


def index_of(tables: Tables, reading: TakeReading) -> tuple[int, int, int]:
    """Return the number of a reading's lean, its pair and its position.

    Raises
    ------
    ValueError
        If it is none of the family's.
    """
    positions = tables.family.positions
    p = _position(tables, reading.position)
    lean = _position(tables, reading.lean) - p if reading.lean else 0
    if lean not in LEANS:
        raise ValueError(f"{reading.lean} is no neighbour of {positions[p]}")
    return LEANS.index(lean), _pair(tables, reading.pair), p


def _position(tables: Tables, name: str) -> int:
    positions = tables.family.positions
    if name not in positions:
        raise ValueError(f"{tables.family.name} has no position {name}")
    return positions.index(name)


def _pair(tables: Tables, pair: tuple[str, str]) -> int:
    known = [same_pair(other) for other in tables.pairs]
    if same_pair(pair) not in known:
        raise ValueError(f"{tables.family.name} has no pair {pair_text(pair)} to read")
    return known.index(same_pair(pair))


def _seconds(posterior: Posterior, bench: Bench, at: BenchPlace) -> Floats:
    """Return how long each reading takes, moves included, shape (leans, pairs, positions)."""
    tables = posterior.tables
    positions = len(tables.family.positions)
    here = _position(tables, at.position)
    if at.pair is None:
        moves = first_seconds(bench, len(tables.pairs), tables.charted)
    else:
        number = _pair(tables, at.pair)
        moves = pair_seconds(bench, tables.pairs, tables.charted)[number]
    detents = np.abs(np.arange(positions) - here)
    seconds = np.empty((len(LEANS), len(tables.pairs), positions))
    seconds[:] = bench.reading_s + moves[:, None] + bench.detent_s * detents
    seconds[1:] += bench.lean_s
    for k, p in posterior.cells:
        if _is_at(tables, at, k, p):
            # A probe that slipped stays so unless it is set again.
            seconds[0, k, p] += reseat_seconds(bench)
    return seconds


def _is_at(tables: Tables, at: BenchPlace, k: int, p: int) -> bool:
    """Return whether the lever and the meter stand at a cell."""
    same = at.pair is not None and same_pair(at.pair) == same_pair(tables.pairs[k])
    return same and tables.family.positions[p] == at.position


def _exhausted(posterior: Posterior) -> Bools:
    """Return what has been read often enough, shape (leans, pairs, positions)."""
    tables = posterior.tables
    times = np.zeros((len(LEANS), len(tables.pairs), len(tables.family.positions)), dtype=np.intp)
    for (k, p), readings in posterior.cells.items():
        for one in readings:
            times[LEANS.index(one.lean), k, p] += 1
    return times >= MOST_TIMES
