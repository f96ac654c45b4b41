"""The pictures beside what to read: the connector, and the lever or the probes set again."""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from benchproof.family.branches import CASE
from benchproof.family.model import Pair, Pin
from benchproof.report.connector import is_told
from benchproof.report.connectorview import draw_connector
from benchproof.report.leverview import draw_again, draw_lever

if TYPE_CHECKING:
    from benchproof.family.model import Family
    from benchproof.plan.actions import TakeReading
    from benchproof.proof.state import State


@dataclass(frozen=True)
class Pictures:
    """What to do as pictures, each an SVG; empty where there is none.

    Attributes
    ----------
    mating, wire : str
        The connector from either side; no wire side where the family tells no places.
    hand : str
        The lever where it goes; the probes lifted and set again where it stays as it is.
    """

    mating: str
    wire: str
    hand: str

    def __bool__(self) -> bool:
        return bool(self.mating or self.hand)


def pictures_of(state: "State", action: "TakeReading") -> Pictures:
    """Return the pictures of a reading that is asked for or was chosen."""
    family, taken = state.ground.family, state.as_left.taken
    mating, wire = _connector(_pins(family), action.pair, _has_case(family))
    last = taken[-1].reading if taken else None
    stays = last is not None and (last.position, last.lean) == (action.position, action.lean)
    if action.again and (stays or not family.lever):
        return Pictures(mating, wire, _again())
    if not family.lever:
        return Pictures(mating, wire, "")
    before = last.position if last else ""
    return Pictures(mating, wire, _lever(family.positions, action.position, action.lean, before))


def _pins(family: "Family") -> tuple[Pin, ...]:
    """Return the pins of the connector; those of parts behind a harness are not on it."""
    on_it = set(family.terminals)
    return tuple(pin for pin in family.pins if pin.name in on_it)


def _has_case(family: "Family") -> bool:
    return any(CASE in row.pair for row in family.chart)


@lru_cache(maxsize=256)
def _connector(pins: tuple[Pin, ...], asked: Pair, has_case: bool) -> tuple[str, str]:
    mating = draw_connector(pins, asked, has_case=has_case)
    if not is_told(pins):
        return mating, ""
    return mating, draw_connector(pins, asked, mirrored=True, has_case=has_case)


_lever = lru_cache(maxsize=256)(draw_lever)
_again = lru_cache(maxsize=1)(draw_again)
