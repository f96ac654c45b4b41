"""What the readings at hand prove of the start permit, what stays open, and the usual cautions."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchproof.family.model import Role, pair_text, same_pair
from benchproof.family.safety import safety_of
from benchproof.family.sentence import Sentence, said
from benchproof.foretell.asread import level_of
from benchproof.foretell.controller import Level
from benchproof.foretell.foretelling import Foretold, Vehicle
from benchproof.foretell.travelplaces import listed
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading

Facts = Iterator[dict[str, str]]


@dataclass(frozen=True)
class PermitFacts:
    """What the sentences below are said of.

    Attributes
    ----------
    vehicle : Vehicle
        The vehicle's side of the family.
    readings : tuple of Reading
        All of them; none for a stated condition.
    meter : Meter
        What they were read with.
    """

    vehicle: Vehicle
    readings: tuple[Reading, ...]
    meter: Meter

    @property
    def gears(self) -> tuple[str, ...]:
        """The positions in which the starter must not turn, if the family tells them."""
        family = self.vehicle.family
        free = safety_of(family).free
        return tuple(name for name in family.positions if free and name not in free)

    def opened(self, lean: bool) -> dict[tuple[str, str], int]:
        """Return how often each place in gear read open in every start permit, none closed."""
        controller = self.vehicle.controller
        counts: dict[tuple[str, str], list[int]] = {}
        permits = controller.columns(Role.START_PERMIT)
        for i in permits:
            row, circuit = controller.rows[i], controller.circuits[i]
            here: dict[tuple[str, str], list[Level]] = {}
            for reading in self.readings:
                if same_pair(reading.pair) == same_pair(row.pair) and bool(reading.lean) is lean:
                    level = level_of(reading.value, circuit, self.meter)
                    here.setdefault((reading.position, reading.lean), []).append(level)
            for place, levels in here.items():
                if place[0] in self.gears and set(levels) == {Level.OFF}:
                    counts.setdefault(place, []).append(len(levels))
        return {place: min(n) for place, n in counts.items() if len(n) == len(permits)}


def _permits(known: PermitFacts) -> str:
    controller = known.vehicle.controller
    return listed(pair_text(controller.rows[i].pair) for i in controller.columns(Role.START_PERMIT))


def _with_permit(known: PermitFacts) -> bool:
    return bool(known.vehicle.controller.columns(Role.START_PERMIT)) and bool(known.gears)


def _open_twice(known: PermitFacts) -> Facts:
    if _with_permit(known):
        twice = [place[0] for place, count in known.opened(lean=False).items() if count > 1]
        if twice:
            yield {"permits": _permits(known), "where": listed(twice)}


def _open_once(known: PermitFacts) -> Facts:
    if _with_permit(known):
        once = [place[0] for place, count in known.opened(lean=False).items() if count == 1]
        if once:
            yield {"permits": _permits(known), "where": listed(once)}


def _open_leaned(known: PermitFacts) -> Facts:
    if _with_permit(known):
        leans = [f"{p} toward {lean}" for p, lean in known.opened(lean=True)]
        if leans:
            yield {"permits": _permits(known), "where": listed(leans)}


def _unproved_detents(known: PermitFacts) -> Facts:
    if _with_permit(known):
        read = {place[0] for place in known.opened(lean=False)}
        left = [name for name in known.gears if name not in read]
        if left:
            yield {"permits": _permits(known), "where": listed(left)}


def _angles_between(known: PermitFacts) -> Facts:
    if _with_permit(known):
        yield {"permits": _permits(known)}


PROOF = (
    Sentence(
        "Proved: {permits} is open in {where} (read open twice or more, never closed).",
        _open_twice,
    ),
    Sentence(
        "Nearly proved: {permits} is open in {where}, read once; a slipped probe reads open too, "
        "so read it again.",
        _open_once,
    ),
    Sentence("Read open with the lever leaned: {permits} from {where}.", _open_leaned),
    Sentence("Not proved: that {permits} is open in {where}.", _unproved_detents),
    Sentence(
        "Not proved: that {permits} is open at every angle between detents. The parity of the "
        "range bits does not cover this contact, which is a circuit of its own: watch {permits} "
        "while the lever is moved slowly over its whole travel, both ways and more than once, or "
        "lean the lever off each detent and read.",
        _angles_between,
    ),
)
"""What is proved of the start permit, and what is not."""


def proof_of(known: PermitFacts) -> list[str]:
    """Return what the readings prove of the start permit, and what they do not."""
    return said(PROOF, known)


def _no_roles(known: PermitFacts) -> Facts:
    if not known.vehicle.controller.rows:
        yield {}


def _no_range(known: PermitFacts) -> Facts:
    controller = known.vehicle.controller
    ranged = controller.columns(Role.RANGE_BIT) + controller.columns(Role.RANGE_LEVEL)
    if controller.rows and not ranged:
        yield {}


def _no_permit(known: PermitFacts) -> Facts:
    controller = known.vehicle.controller
    if controller.rows and not controller.columns(Role.START_PERMIT):
        yield {}


def _no_reverse(known: PermitFacts) -> Facts:
    controller = known.vehicle.controller
    if controller.rows and not controller.columns(Role.REVERSE_LAMP):
        yield {}


def _no_free(known: PermitFacts) -> Facts:
    family = known.vehicle.family
    if known.vehicle.controller.rows and not (family.park or family.neutral):
        yield {}


def _no_reverse_named(known: PermitFacts) -> Facts:
    if known.vehicle.controller.columns(Role.REVERSE_LAMP) and not known.vehicle.family.reverse:
        yield {}


def _no_code(known: PermitFacts) -> Facts:
    if known.vehicle.controller.columns(Role.RANGE_BIT) and known.vehicle.family.code is None:
        yield {}


def _implied(known: PermitFacts) -> Facts:
    if known.vehicle.controller.rows and known.vehicle.shape.implied:
        yield {}


def _gaps(known: PermitFacts) -> Facts:
    if known.vehicle.controller.rows and known.vehicle.shape.unit == "gap":
        yield {}


LIMITS = (
    Sentence(
        "Nothing can be foretold: no chart row has a role, so what the vehicle does with the pairs "
        "is not known. Give the rows their roles (docs/family.md).",
        _no_roles,
    ),
    Sentence("No row is a range bit or range level, so the range read is not foretold.", _no_range),
    Sentence(
        "No row is a start permit, so nothing is foretold of the starter: where the controller "
        "permits the start by the range it reads, a wrong range is the hazard.",
        _no_permit,
    ),
    Sentence("No row is a reverse lamp, so nothing is foretold of the lamps.", _no_reverse),
    Sentence(
        "No position is named park or neutral, so it is not known where the starter may turn: name "
        "them in the family file.",
        _no_free,
    ),
    Sentence(
        "No position is named reverse, so it is not known where the reverse lamps belong: name it "
        "in the family file.",
        _no_reverse_named,
    ),
    Sentence(
        "The family gives no range code, so the words are those that its chart makes, and no word "
        "is known as a transit.",
        _no_code,
    ),
    Sentence(
        "The chart gives no dwells, so those between detents are implied: what happens between "
        "detents is a rough guess.",
        _implied,
    ),
    Sentence(
        "The chart gives no detent angles, so offsets and lever angles are in detent gaps: 0 is "
        "the first detent, 1 the second.",
        _gaps,
    ),
)
"""What cannot be foretold, and why."""


def limits_of(known: PermitFacts) -> list[str]:
    """Return what cannot be foretold of a family, and why."""
    return said(LIMITS, known)


def _loose(foretold: Sequence[Foretold]) -> Facts:
    names = [one.rule.name for one in foretold if one.loose]
    if names:
        yield {"names": listed(names)}


def _not_loose(foretold: Sequence[Foretold]) -> Facts:
    names = [one.rule.name for one in foretold if not one.loose]
    if names:
        yield {"names": listed(names)}


LOOSE = (
    Sentence(
        "A good part on a loose lever or worn linkage does the same as told of {names}. To tell "
        "the two apart read the part as found, with the lever detached and the shaft in each of "
        "its own detents: what is wrong then is the part or its setting; what is right then is the "
        "linkage.",
        _loose,
    ),
    Sentence(
        "No loose lever or worn linkage within half a detent gap does what is told of {names}: "
        "look to the part and its wiring.",
        _not_loose,
    ),
)
"""What a loose lever does too."""


def loose_of(foretold: Sequence[Foretold]) -> list[str]:
    """Return which consequences a loose lever has too, and how to tell the two apart."""
    return said(LOOSE, foretold)


def _always(_: PermitFacts) -> Facts:
    yield {}


CAUTIONS = (
    Sentence(
        "Before any check on the vehicle: wheels chocked, parking brake on, nobody in the path, in "
        "front or behind. First start only in park, with the foot on the brake.",
        _always,
    ),
    Sentence(
        "What is foretold is what a controller of this kind usually does; the maker's procedure, "
        "local rules and licensed practice come before this program.",
        _always,
    ),
)
"""Said every time; common practice, no source."""


def cautions_of(known: PermitFacts) -> list[str]:
    """Return the cautions that go with every foretelling."""
    return said(CAUTIONS, known)
