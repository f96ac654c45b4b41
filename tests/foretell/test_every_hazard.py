"""No state in which a start permit conducts in gear is ever graded below hazard.

Every single fault of every family that comes along, at every offset over the whole grid, is put to
an oracle that knows nothing of the code under test: it reads the family's file with tomllib and
finds by a walk over the closed branches whether the start permit's pins are joined.
"""

import tomllib
from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from benchproof.family.model import Grade
from benchproof.foretell.foretelling import Vehicle, foretell
from benchproof.foretell.travel import by_turns
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import Fault, PartFault, single_faults
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import lever_families

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
OFFSETS = np.arange(-20.0, 20.25, 0.5)
"""The families' dwells and detents are whole halves of a degree, and so is every stretch then."""
OPEN_OHM = 10_000.0
"""From here the families that come along count a circuit as open."""


class Oracle:
    """What a family's file says of its start permit, by a walk over the graph."""

    def __init__(self, name: str) -> None:
        whole = tomllib.loads(shipped_bytes("families", name).decode())
        # Of a unit the wires come first, then its members' branches, each node with its member.
        parts = whole.get("members", {"": whole})
        dotted = {name: f"{name}." if name else "" for name in parts}
        self.branches = [
            ([end.strip() for end in row["between"].replace(" to ", "-").split("-")], row)
            for row in (whole["branches"] if "members" in whole else [])
        ]
        wires = {b: a for (a, b), _ in self.branches}
        for name, part in parts.items():
            for row in part["branches"]:
                self.branches.append(
                    ([f"{dotted[name]}{end}" for end in row["between"].split("-")], row)
                )
        (lever,) = (name for name, part in parts.items() if "positions" in part)
        self.detents = np.array(parts[lever]["detents_deg"], dtype=float)
        self.gear = np.array([p not in ("P", "N") for p in parts[lever]["positions"]])
        (permit,) = (
            row["pair"].split("-")
            for row in parts[lever]["chart"]
            if row.get("role") == "start permit"
        )
        own = [f"{dotted[lever]}{pin}" for pin in permit]
        self.permit = [wires.get(pin, pin) for pin in own]

    def joined(self, fault: Fault, shaft: Floats) -> Bools:
        """Whether the permit's pins are joined at shaft angles, any contact's chatter closed."""
        branches, closed = [], []
        for number, ((a, b), row) in enumerate(self.branches):
            mine = fault.branch == number
            if row["kind"] == "contact":
                inside = np.zeros(shaft.shape, dtype=bool)
                for low, high in row["dwells_deg"]:
                    inside |= (low <= shaft) & (shaft <= high)
                if mine and fault.kind is ContactFault.STUCK:
                    inside[:] = True
                if mine and fault.kind is ContactFault.OPEN:
                    inside[:] = False
            else:
                # No chain of the families' resistors comes to 10 kohm; insulation does by itself.
                gone = mine and "open" in fault.kind.value
                inside = np.full(shaft.shape, "Mohm" not in row.get("value", "") and not gone)
            branches.append((a, b))
            closed.append(inside)
        # Which of its positions are bridged is not known: it may be any.
        if fault.kind in (PartFault.LEAK, PartFault.BRIDGED):
            branches.append((fault.at[0], fault.at[1]))
            closed.append(np.full(shaft.shape, fault.size < OPEN_OHM))
        rename = {}
        if fault.kind is PartFault.PIN_OPEN:
            rename = {fault.at[0]: "lost"}
        if fault.kind in (PartFault.PINS_SWAPPED, PartFault.WIRES_SWAPPED):
            rename = {fault.at[0]: fault.at[1], fault.at[1]: fault.at[0]}
        ends = [(rename.get(a, a), rename.get(b, b)) for a, b in branches]
        states = np.zeros(shaft.shape, dtype=np.int64)
        for number, shut in enumerate(closed):
            states |= shut.astype(np.int64) << number
        distinct, which = np.unique(states, return_inverse=True)
        a, b = self.permit
        walked = np.array([_walk(a, b, ends, state) for state in distinct.tolist()])
        found: Bools = walked[which.reshape(shaft.shape)]
        return found

    def in_gear(self, fault: Fault) -> Bools:
        """At which offsets the permit is joined at some lever angle nearest a drive range."""
        shaft_of = self.detents
        if fault.kind is PartFault.LEVER_OFF:
            last = len(self.detents) - 1
            at = np.clip(np.arange(last + 1) + int(fault.size), 0, last)
            shaft_of = self.detents[at]
        levers = np.concatenate([self.detents, np.arange(0.1, self.detents[-1], 0.25)])
        nearest = np.abs(levers[:, None] - self.detents).argmin(axis=1)
        gear = self.gear[nearest]
        if fault.kind is PartFault.LEVER_OFF:
            # Between detents the lever and the shaft no longer go at one pace; detents will do.
            levers, gear = self.detents, self.gear
        shaft = np.interp(levers, self.detents, shaft_of)[gear, None] + OFFSETS
        angles, which = np.unique(shaft, return_inverse=True)
        joined = self.joined(fault, angles)[which.reshape(shaft.shape)]
        return np.asarray(joined.any(axis=0))


def _walk(start: str, goal: str, ends: list[tuple[str, str]], state: int) -> bool:
    seen, edge = {start}, [start]
    while edge:
        here = edge.pop()
        for number, (a, b) in enumerate(ends):
            for this, that in ((a, b), (b, a)):
                if state >> number & 1 and this == here and that not in seen:
                    seen.add(that)
                    edge.append(that)
    return goal in seen


@cache
def oracle(name: str) -> Oracle:
    return Oracle(name)


def _start_in_gear(vehicle: Vehicle, fault: Fault) -> Bools:
    """At which offsets the code under test foretells a start in gear, and calls it a hazard."""
    rules = [
        n
        for n, rule in enumerate(vehicle.rules)
        if rule.start == "on" and rule.grade is Grade.HAZARD
    ]
    found = np.zeros(len(OFFSETS), dtype=bool)
    for turn in by_turns((fault,)):
        found |= vehicle.holding(vehicle.travel(turn), OFFSETS).may[rules].any(axis=0)
    return found


@pytest.mark.parametrize("name", lever_families())
def test_start_in_gear_is_a_hazard_in_every_state(
    name: str, vehicle: Callable[[str], Vehicle]
) -> None:
    mine, judge = vehicle(name), oracle(name)
    faults = [*single_faults(mine.family), Fault(PartFault.DETENT_PLAY)]
    hazards = 0
    for fault in faults:
        wanted, found = judge.in_gear(fault), _start_in_gear(mine, fault)
        missed = OFFSETS[wanted & ~found]
        assert not len(missed), f"{fault} at {missed}"
        if fault.kind is not PartFault.LEVER_OFF:
            assert not (found & ~wanted).any(), f"{fault} at {OFFSETS[found & ~wanted]}"
        hazards += int(wanted.sum())
    # The oracle finds some, and not in every state, or it would prove nothing.
    assert len(OFFSETS) < hazards < len(faults) * len(OFFSETS)


@pytest.mark.parametrize("name", lever_families())
def test_a_foretelling_puts_the_hazard_first(name: str, vehicle: Callable[[str], Vehicle]) -> None:
    mine, judge = vehicle(name), oracle(name)
    rng = np.random.default_rng(7)
    faults = [*single_faults(mine.family)]
    for fault in rng.choice(np.array(faults, dtype=object), 25, replace=False):
        unsafe = judge.in_gear(fault)
        for n in rng.choice(len(OFFSETS), 4, replace=False):
            found = foretell(mine, float(OFFSETS[n]), [fault]).foretold
            grades = [one.rule.grade for one in found]
            assert grades == sorted(grades, key=list(Grade).index)
            if unsafe[n]:
                assert found[0].rule.name == "start-in-gear"
                assert found[0].rule.grade is Grade.HAZARD
                assert found[0].chains


def test_the_oracle_knows_a_good_part_and_a_stuck_one() -> None:
    """Read off the family file by hand: G-H closes from 37 to 45, D begins at 49.5."""
    judge = oracle("valley-coded-7")
    good = judge.in_gear(Fault(PartFault.DETENT_PLAY))
    # R ends at 32: the permit is past it from an offset of more than 5; D needs less than -4.5.
    assert OFFSETS[~good].tolist() == np.arange(-4.5, 5.25, 0.5).tolist()
    ends = ["-".join(between) for between, _ in judge.branches]
    stuck = Fault(ContactFault.STUCK, ("G", "H"), ends.index("G-H"))
    assert judge.in_gear(stuck).all()
