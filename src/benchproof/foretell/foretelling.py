"""What a part in a stated condition, an offset and faults, makes the vehicle do."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchproof.family.audit.rules import unusable
from benchproof.family.model import Consequence, Family, Where
from benchproof.family.names import need_lever
from benchproof.family.problems import BadFile, Problem
from benchproof.foretell.consequences import holds, matching, rules_of
from benchproof.foretell.controller import Controller, SeenByController
from benchproof.foretell.travel import Half, Travel, by_turns, travel_of
from benchproof.foretell.travelplaces import (
    Chain,
    Stretch,
    TravelPlace,
    chain,
    joined,
    listed,
    where_text,
)
from benchproof.network.faults import Fault
from benchproof.network.geometry import Geometry, mean_gap
from benchproof.network.resistance import Floats

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Foretold:
    """One consequence.

    Attributes
    ----------
    rule : Consequence
        The rule that holds.
    places : tuple of TravelPlace
        Where it holds.
    certain : bool
        Whether it follows; else it may, because a circuit is weak or comes and goes.
    sentence : str
        What the vehicle does.
    chains : tuple of Chain
        Why, place by place.
    loose : bool
        Whether a good part on a loose lever or worn linkage does the same.
    read : bool
        Whether the readings themselves say so, whatever explains them.
    probability : float or None
        From a diagnosis; None without one.
    """

    rule: Consequence
    places: tuple[TravelPlace, ...]
    certain: bool
    sentence: str
    chains: tuple[Chain, ...]
    loose: bool
    read: bool = False
    probability: float | None = None


@dataclass(frozen=True)
class Foretelling:
    """What the controller sees of a part in a stated condition, and what follows.

    Attributes
    ----------
    unit : str
        Of angles: ``deg`` or ``gap``.
    implied : bool
        Whether any dwell is implied by the chart rather than given.
    detents : mapping of str to tuple of SeenByController
        What is seen in each position; several by turns where a contact chatters.
    stretches : tuple of Stretch
        What is seen between detents, in lever order; with no contact open by turns.
    foretold : tuple of Foretold
        Worst first.
    """

    unit: str
    implied: bool
    detents: dict[str, tuple[SeenByController, ...]]
    stretches: tuple[Stretch, ...]
    foretold: tuple[Foretold, ...]


@dataclass(frozen=True)
class Holding:
    """Where each rule holds; the first array of each pair is "may", the second "must".

    Attributes
    ----------
    detent : pair of arrays of bool, shape (rules, positions, offsets)
        In the detents.
    between : pair of arrays of bool, shape (rules, halves, offsets)
        Somewhere between detents.
    """

    detent: tuple[Bools, Bools]
    between: tuple[Bools, Bools]

    @property
    def may(self) -> Bools:
        """Whether each rule may hold anywhere, shape (rules, offsets)."""
        found = self.detent[0].any(axis=1) | self.between[0].any(axis=1)
        return np.asarray(found)


@dataclass(frozen=True)
class Vehicle:
    """A family's geometry with the vehicle's side of it."""

    shape: Geometry
    controller: Controller
    _known: dict[object, Bools] = field(default_factory=dict, repr=False)

    @property
    def family(self) -> Family:
        """The family with its geometry."""
        return self.shape.family

    @cached_property
    def rules(self) -> tuple[Consequence, ...]:
        """The rules that apply, worst first."""
        return rules_of(self.family)

    def travel(self, faults: Sequence[Fault] = ()) -> Travel:
        """Return the travel of a part with the given faults."""
        return travel_of(self.controller, self.family, faults)

    def effects(self, seen: SeenByController, engaged: str, beside: str = "") -> Bools:
        """Return whether each rule may and must hold of what is seen, shape (rules, 2)."""
        key = seen.told, engaged, beside
        if key not in self._known:
            self._known[key] = np.array(
                [
                    holds(rule, self.family, seen, engaged, beside)
                    if rule.where in (Where.ANYWHERE, Where.BETWEEN if beside else Where.DETENT)
                    else (False, False)
                    for rule in self.rules
                ]
            )
        return self._known[key]

    def holding(self, travel: Travel, offsets: Floats) -> Holding:
        """Return where each rule holds at each offset."""
        positions = self.family.positions
        number = travel.at_detents(offsets)
        detent = np.empty((2, len(self.rules), *number.shape), dtype=np.bool_)
        for p, position in enumerate(positions):
            every = np.stack([self.effects(seen, position) for seen in travel.seen])
            detent[:, :, p] = every[number[p]].transpose(2, 1, 0)
        between = np.zeros((2, len(self.rules), len(travel.halves), len(offsets)), dtype=np.bool_)
        for h, half in enumerate(travel.halves):
            here = positions[half.position], positions[half.other]
            every = np.stack([self.effects(seen, *here) for seen in travel.seen[::2]])
            first, last = travel.passed(half, offsets)
            passes = first < last
            for rule, zone in np.argwhere(every[:, :, 0].T).tolist():
                between[0, rule, h] |= passes[zone]
                if every[zone, rule, 1]:
                    between[1, rule, h] |= passes[zone]
        return Holding((detent[0], detent[1]), (between[0], between[1]))

    @cached_property
    def loose(self) -> frozenset[tuple[str, str]]:
        """What a good part on a loose lever does too: rules and the positions engaged.

        The lever may then lead or lag by up to half a detent gap (common practice, no source).
        """
        reach = mean_gap(self.shape) / 2.0
        travel = self.travel()
        found = self.holding(travel, np.linspace(-reach, reach, LOOSE_STEPS))
        names = self.family.positions
        engaged = [names[half.position] for half in travel.halves]
        pairs = [
            (self.rules[r].name, at[n])
            for at, held in ((names, found.detent[0]), (engaged, found.between[0]))
            for r, n in np.argwhere(held.any(axis=-1)).tolist()
        ]
        return frozenset(pairs)

    def is_loose(self, rule: Consequence, places: Sequence[TravelPlace]) -> bool:
        """Return whether a loose lever does the same in every one of some places."""
        return all((rule.name, place.position) in self.loose for place in places)


LOOSE_STEPS = 101


def vehicle_of(shape: Geometry) -> Vehicle:
    """Return the vehicle's side of a family's geometry.

    Raises
    ------
    BadFile
        If the chart has a mistake with which nothing can be judged against it, or the part has no
        lever.
    """
    need_lever(shape.family, "foretell")
    if bad := unusable(shape.family):
        problems = [Problem(found.place, found.sentence) for found in bad]
        raise BadFile(shape.family.name, problems)
    return Vehicle(shape, Controller(shape.family))


def stretches_of(vehicle: Vehicle, travel: Travel, offset: float) -> tuple[Stretch, ...]:
    """Return what the controller sees between detents, in lever order, neighbours alike as one."""
    found: list[Stretch] = []
    for half in travel.halves:
        for zone, span in _passed(travel, half, offset):
            seen = travel.seen[2 * zone]
            place = _place(vehicle, half, span)
            last = found[-1] if found else None
            if last and last.place.position == place.position and _alike(last, place, seen):
                assert last.place.span is not None, "every stretch between detents has one"
                place = _place(vehicle, half, (last.place.span[0], span[1]))
                found.pop()
            found.append(Stretch(place, seen))
    return tuple(found)


def _alike(last: Stretch, place: TravelPlace, seen: SeenByController) -> bool:
    return last.place.beside == place.beside and last.seen.told == seen.told


def _passed(travel: Travel, half: Half, offset: float) -> Iterator[tuple[int, tuple[float, float]]]:
    first, last = travel.passed(half, np.array([offset]))
    for zone in np.flatnonzero(first[:, 0] < last[:, 0]).tolist():
        yield zone, (float(first[zone, 0]), float(last[zone, 0]))


def _place(vehicle: Vehicle, half: Half, span: tuple[float, float]) -> TravelPlace:
    names = vehicle.family.positions
    return TravelPlace(names[half.position], names[half.other], span, vehicle.shape.unit)


def foretell(vehicle: Vehicle, offset: float = 0.0, faults: Sequence[Fault] = ()) -> Foretelling:
    """Foretell what a part in a stated condition makes the vehicle do.

    Parameters
    ----------
    vehicle : Vehicle
        The kind of part, with the vehicle's side of it.
    offset : float
        The angle by which the moving part leads where it should be; degrees, or detent gaps for a
        family without detent angles.
    faults : sequence of Fault
        What is wrong with it.
    """
    names = vehicle.family.positions
    detents: dict[str, list[SeenByController]] = {name: [] for name in names}
    stretches: list[tuple[Stretch, ...]] = []
    turns: list[list[tuple[TravelPlace, SeenByController]]] = []
    for turn in by_turns(tuple(dict.fromkeys(faults))):
        travel = vehicle.travel(turn)
        seen_at: list[tuple[TravelPlace, SeenByController]] = []
        for name, n in zip(names, travel.at_detents(np.array([offset]))[:, 0], strict=True):
            seen_at.append((TravelPlace(name), travel.seen[n]))
            if all(travel.seen[n].told != other.told for other in detents[name]):
                detents[name].append(travel.seen[n])
        stretches.append(stretches_of(vehicle, travel, offset))
        turns.append([*seen_at, *((stretch.place, stretch.seen) for stretch in stretches[-1])])
    cause = cause_text(offset, faults, vehicle.shape.unit)
    return Foretelling(
        vehicle.shape.unit,
        vehicle.shape.implied,
        {name: tuple(seen) for name, seen in detents.items()},
        stretches[0],
        told_of(vehicle, turns, cause),
    )


def told_of(
    vehicle: Vehicle, turns: Sequence[Sequence[tuple[TravelPlace, SeenByController]]], cause: str
) -> tuple[Foretold, ...]:
    """Return what follows from what is seen where, worst first.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle's side of the family.
    turns : sequence of sequences of (TravelPlace, SeenByController)
        What is seen where; more than one where a contact comes and goes. Of one, a place may stand
        more than once.
    cause : str
        What is wrong, in words; empty where that is not known.
    """
    found = []
    for number, rule in enumerate(vehicle.rules):
        every = [
            [
                (place, seen, must)
                for place, seen in seen_at
                for may, must in [
                    vehicle.effects(seen, place.position, place.beside)[number].tolist()
                ]
                if may
            ]
            for seen_at in turns
        ]
        here = [one for turn in every for one in turn]
        if here:
            places = tuple(joined([place for place, _, _ in here]))
            # Of stretches that were joined the first tells why.
            starts = {(p.position, p.beside, p.span and p.span[0]) for p in places}
            told = [
                (p, seen)
                for p, seen, _ in here
                if (p.position, p.beside, p.span and p.span[0]) in starts
            ]
            chains = [chain(vehicle.controller, rule, p, seen, cause) for p, seen in told]
            # A contact that comes and goes elsewhere leaves certain what holds at every turn.
            certain = all(any(must for _, _, must in turn) for turn in every)
            sentence = sentence_of(vehicle, rule, places, told)
            found.append(
                Foretold(
                    rule,
                    places,
                    certain,
                    sentence,
                    tuple(dict.fromkeys(chains)),
                    vehicle.is_loose(rule, places),
                )
            )
    return tuple(found)


def sentence_of(
    vehicle: Vehicle,
    rule: Consequence,
    places: Sequence[TravelPlace],
    seen_at: Sequence[tuple[TravelPlace, SeenByController]],
) -> str:
    """Return a rule's sentence with its places and what is read there filled in."""
    reads = dict.fromkeys(
        f"{read}"
        for place, seen in seen_at
        for read in matching(rule, vehicle.family, seen, place.position, place.beside)
    )
    where = where_text(places)
    read = listed(reads) if reads else "another range"
    return rule.sentence.replace("{where}", where).replace("{read}", read)


def cause_text(offset: float, faults: Sequence[Fault], unit: str) -> str:
    """Return what is wrong in words: "offset +3 deg, leak at A-B of about 20 ohm"."""
    told = [f"offset {offset:+.3g} {'deg' if unit == 'deg' else 'detent gaps'}"] if offset else []
    return ", ".join([*told, *(fault.told for fault in faults)])
