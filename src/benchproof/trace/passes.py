"""The passes of a sweep: where its angle turns back."""

from dataclasses import dataclass

import numpy as np

from benchproof.family.problems import TooLarge
from benchproof.network.resistance import Floats

MOST_PASSES = 20_000
_FIRST, _MOST = 64, 1 << 15
"""Samples looked at in one go: few after a turn, more and more while there is none."""


@dataclass(frozen=True)
class Pass:
    """A stretch of the trace in one direction.

    Attributes
    ----------
    rising : bool
        Whether the angle rises.
    from_deg, to_deg : float
        Where it begins and ends, degrees on the trace's scale.
    samples : int
        How many samples it has.
    """

    rising: bool
    from_deg: float
    to_deg: float
    samples: int


class PassCutter:
    """Cuts a stream of angles into passes, a turn being told once the angle went back enough."""

    def __init__(self, turn_deg: float) -> None:
        self._turn_deg = turn_deg
        self._passes: list[tuple[bool, float, float, int]] = []
        self._rising: bool | None = None
        self._low = self._high = self._from = float("nan")
        self._count = 0

    def cut(self, angle: Floats) -> list[tuple[int, int]]:
        """Return (first sample, number of the pass) of each pass within a piece.

        The samples between a turn and where it is told count to the pass before it: they are
        within `turn_deg` of the turn.
        """
        starts = [(0, len(self._passes))]
        at = 0
        if self._rising is None and not self._count:
            self._low = self._high = float(angle[0])
            self._from = float(angle[0])
        reach = _FIRST
        while at < len(angle):
            part = angle[at : at + reach]
            told = self._turn_in(part)
            if told is None:
                at += len(part)
                self._count += len(part)
                reach = min(2 * reach, _MOST)
                continue
            self._count += told
            at += told
            self._close()
            starts.append((at, len(self._passes)))
            reach = _FIRST
        # A turn told at the first sample leaves the pass before it none here.
        return list(dict(starts).items())

    def _turn_in(self, part: Floats) -> int | None:
        """Return where in a part a turn is told, None if nowhere; note how far it reached."""
        top = float(part.max())
        bottom = float(part.min())
        if self._rising is None:
            low, high = min(self._low, bottom), max(self._high, top)
            if high - low < self._turn_deg:
                self._low, self._high = low, high
                return None
            # The direction is that of the first move large enough.
            highs = np.maximum(np.maximum.accumulate(part), self._high)
            lows = np.minimum(np.minimum.accumulate(part), self._low)
            at = int(np.argmax(highs - lows >= self._turn_deg))
            self._rising = bool(part[at] >= highs[at])
            self._low, self._high = float(lows[at]), float(highs[at])
            turn = self._turn_in(part[at:])
            return None if turn is None else at + turn
        if self._rising:
            # Most parts hold no turn: then two numbers tell it.
            if max(self._high, top) - bottom >= self._turn_deg:
                highs = np.maximum(np.maximum.accumulate(part), self._high)
                back = highs - part >= self._turn_deg
                if back.any():
                    at = int(np.argmax(back))
                    self._high, self._low = float(highs[at]), float(part[at])
                    return at
            self._high = max(self._high, top)
            return None
        if top - min(self._low, bottom) >= self._turn_deg:
            lows = np.minimum(np.minimum.accumulate(part), self._low)
            back = part - lows >= self._turn_deg
            if back.any():
                at = int(np.argmax(back))
                self._low, self._high = float(lows[at]), float(part[at])
                return at
        self._low = min(self._low, bottom)
        return None

    def _close(self) -> None:
        rising = bool(self._rising)
        end = self._high if rising else self._low
        self._passes.append((rising, self._from, end, self._count))
        if len(self._passes) > MOST_PASSES:
            raise TooLarge(
                f"the trace turns back more than {MOST_PASSES} times; is the angle column right?"
            )
        self._from = end
        self._rising = not rising
        self._count = 0

    def finished(self) -> tuple[Pass, ...]:
        """Return all the passes."""
        rising = self._rising is not False
        end = self._high if rising else self._low
        last = (rising, self._from, end, self._count)
        return tuple(Pass(*found) for found in [*self._passes, last])
