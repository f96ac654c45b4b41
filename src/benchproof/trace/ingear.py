"""The start permit against the range bits, sample by sample: where it conducts in gear."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchproof.family.model import Family, Pair, Role, same_pair
from benchproof.family.safety import safety_of
from benchproof.network.resistance import Floats
from benchproof.trace.bands import OhmBands


class StartInGear:
    """Sees the start permit conduct while the range bits read a drive position."""

    def __init__(self, family: Family, pairs: Sequence[Pair], bands: Sequence[OhmBands]) -> None:
        number = {same_pair(pair): i for i, pair in enumerate(pairs)}
        bits = [same_pair(row.pair) for row in family.rows(Role.RANGE_BIT)]
        permits = [same_pair(pair) for pair in safety_of(family).permits]
        self._bands = bands
        self._permits = [number[p] for p in permits if p in number]
        self._bits = [number[b] for b in bits if b in number]
        self._words = drive_words(family)
        self.able = bool(self._permits and self._words) and len(self._bits) == len(bits) > 0
        self.seen: dict[str, int] = {}
        self._conducted = self._known = False

    @property
    def judged(self) -> bool:
        """Whether the bits were read in the same sample, if ever the start permit conducted."""
        return self.able and (self._known or not self._conducted)

    def bands(self, ohm: Sequence[Floats], band: Sequence[NDArray[np.int8]]) -> NDArray[np.int8]:
        """Return 1 for each sample that a start permit conducts in, in gear, else 0."""
        found = np.zeros(len(band[0]), dtype=np.int8)
        for permit in self._permits:
            conducts = (band[permit] < self._bands[permit].open) & ~np.isnan(ohm[permit])
            at = np.flatnonzero(conducts)
            if not len(at):
                continue
            self._conducted = True
            word = np.zeros(len(at), dtype=np.int64)
            known = np.ones(len(at), dtype=np.bool_)
            for bit in self._bits:
                word = 2 * word + (band[bit][at] < self._bands[bit].open)
                known &= ~np.isnan(ohm[bit][at])
            self._known |= bool(known.any())
            for told, position in self._words.items():
                here = at[(word == told) & known]
                if len(here):
                    found[here] = 1
                    self.seen[position] = self.seen.get(position, 0) + len(here)
        return found


def drive_words(family: Family) -> dict[int, str]:
    """Return the words of range bits that stand only for positions where no start is permitted."""
    rows = family.rows(Role.RANGE_BIT)
    free = safety_of(family).free
    if not rows or len(rows) > 60 or not free:
        return {}
    words: dict[str, str]
    if family.code is not None:
        words = dict(family.code.words)
    else:
        words = {
            position: "".join("01"[row.expect[p].conducts] for row in rows)
            for p, position in enumerate(family.positions)
        }
    safe = {words[p] for p in free if p in words}
    return {
        int(word, 2): position
        for position, word in words.items()
        if word not in safe and len(word) == len(rows)
    }
