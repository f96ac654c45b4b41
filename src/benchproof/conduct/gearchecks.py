"""Meter, leads and hook-up checked before a part is read, each check an event of its proof."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from typing import TYPE_CHECKING

from benchproof.conduct.work import Work, now
from benchproof.family.model import Pair
from benchproof.family.sentence import quoted
from benchproof.instrument.checks import (
    NULL_READINGS,
    DailyCheck,
    check_no_voltage,
    daily_check,
    drift,
    null_leads,
)
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.protocols import Ohmmeter
from benchproof.instrument.station import Station
from benchproof.proof.codec import decode
from benchproof.proof.events import Check, GearChecked
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import value_of
from benchproof.reading.meter import estimate
from benchproof.reading.value import Mark, Measured, Value

if TYPE_CHECKING:
    from benchproof.record.store import Store

MOST_PROOFS = 100
"""Earlier checks are looked for in so many of the latest proofs."""
RESISTOR_PERCENT = 1.0
"""How good the known resistor is taken to be (common practice, no source)."""
_FAILED = (Trouble.LIVE, Trouble.LEADS_OPEN, Trouble.LEADS_WANDER)
"""With these a check was taken and failed; with any other it was not taken."""


BEFORE_CHECK = "With the part not joined yet: "
LEAST_TYPED = 3
"""A person reads the leads so often, the tips lifted between (common practice, no source)."""


@dataclass(frozen=True)
class Across:
    """The meter, across one pair of the selector."""

    station: Station
    pair: Pair

    def read_ohm(self) -> Value:
        """Return what it reads there."""
        return self.station.read(self.pair)


class TypedOhms:
    """A meter that a person reads: what was typed of it, one reading after the other.

    Parameters
    ----------
    work : Work
        The proof, whose meter says how what it shows is understood.
    texts : sequence of str
        What it showed.

    Raises
    ------
    ProofProblem
        If one of them is neither ohms nor OL.
    """

    def __init__(self, work: Work, texts: Sequence[str]) -> None:
        values = [value_of(text, work.state.as_left.meter) for text in texts]
        for text, value in zip(texts, values, strict=True):
            if isinstance(value, Mark):
                raise ProofProblem(
                    f"{quoted(text)} says nothing of the leads; type the ohms that the meter "
                    "shows, or OL."
                )
        self._left = iter(values)

    def read_ohm(self) -> Value:
        """Return the next one."""
        return next(self._left)


def gear_of(work: Work) -> str:
    """Return what the checks of a proof's meter are kept under: its tag, or its name."""
    chosen = work.state.meter_chosen
    return work.state.as_left.meter.name if chosen is None else chosen.tag or chosen.name


def no_voltage(work: Work, station: Station, by: str) -> GearChecked | None:
    """Check that no voltage stands on any pair; None if the meter cannot.

    Raises
    ------
    InstrumentProblem
        If one does, which is recorded; or if it cannot be had.
    """
    if station.selector is None or not station.reads_volts:
        return None
    volts: list[float] = []

    def read_volt(pair: Pair) -> float:
        volts.append(abs(station.read_volt(pair)))
        return volts[-1]

    def take() -> None:
        assert station.selector is not None, "checked above"
        check_no_voltage(read_volt, station.selector, station.selector.pairs)

    def told(*, ok: bool) -> GearChecked:
        most = max(volts, default=0.0)
        value = most if isfinite(most) else None
        return GearChecked(now(), by, gear_of(work), Check.NO_VOLTAGE, value, ok)

    return _recorded(work, take, told)


def leads_typed(work: Work, by: str, texts: Sequence[str]) -> GearChecked:
    """Take off from now on what a person read of the leads, their tips joined anew each time.

    Raises
    ------
    ProofProblem, InstrumentProblem
        As of `leads_nulled`; also if they were read too seldom to tell whether they wander.
    """
    if len(texts) < LEAST_TYPED:
        raise ProofProblem(
            f"Read the leads {LEAST_TYPED} times, the tips lifted and joined anew, and type each, "
            "such as 0.2 0.2 0.3."
        )
    return leads_nulled(work, TypedOhms(work, texts), by, len(texts))


def leads_nulled(work: Work, meter: Ohmmeter, by: str, times: int = NULL_READINGS) -> GearChecked:
    """Read the leads, whose tips are joined, and take them off from now on.

    Leads that the meter takes off itself may read a little below zero; then nothing is taken off.

    Raises
    ------
    ProofProblem
        If readings were taken with other leads already, or no meter was named.
    InstrumentProblem
        If that is no short, or wanders, which is recorded.
    """
    chosen = work.state.meter_chosen
    if chosen is None:
        raise ProofProblem(f"Name the meter first: benchproof proof choose {work.tag} --meter M")
    if any(one.taken for one in work.state.settings):
        raise ProofProblem(
            "Readings were taken already, so the leads cannot be nulled anew; check them with a "
            "known resistor instead."
        )
    found: list[float] = []

    def take() -> None:
        found.append(null_leads(meter, now(), times).ohm)

    def told(*, ok: bool) -> GearChecked:
        value = found[0] if found else None
        return GearChecked(now(), by, gear_of(work), Check.LEADS, value, ok)

    event = _recorded(work, take, told)
    work.record(replace(chosen, at=now(), by=by, lead_ohm=max(found[0], 0.0)))
    return event


def resistor_limit_ohm(work: Work, known_ohm: float) -> float:
    """Return how far a known resistor may be off: 1 % of it, and twice the meter's uncertainty.

    Raises
    ------
    ProofProblem
        If it is more than the meter reads.
    """
    left = work.state.as_left
    if known_ohm > left.meter.top_ohm:
        raise ProofProblem(
            f"{known_ohm:g} ohm is more than {left.meter.name} reads; take a smaller resistor."
        )
    read = estimate(Measured(known_ohm, 0.0), left.meter, left.ambient_c)
    return known_ohm * RESISTOR_PERCENT / 100.0 + 2.0 * read.u_ohm


def resistor_read(
    work: Work, meter: Ohmmeter, by: str, known_ohm: float, limit_ohm: float
) -> GearChecked:
    """Read a known resistor, and look at earlier readings of it.

    Raises
    ------
    ProofProblem
        If it is too far off, which is recorded.
    InstrumentProblem
        If it cannot be read.
    """
    chosen = work.state.meter_chosen
    lead_ohm = 0.0 if chosen is None else chosen.lead_ohm or 0.0
    check = daily_check(meter, known_ohm, limit_ohm, now(), lead_ohm)
    noticed = drift([*earlier(work.store, gear_of(work), known_ohm), check])
    event = GearChecked(
        at=check.at,
        by=by,
        gear=gear_of(work),
        what=Check.RESISTOR,
        value=check.read_ohm,
        ok=check.good,
        known_ohm=known_ohm,
        limit_ohm=limit_ohm,
        lead_ohm=lead_ohm,
        note=noticed,
    )
    work.record(event)
    if not check.good:
        read = "over-range" if check.read_ohm is None else f"{check.read_ohm:.4g} ohm"
        raise ProofProblem(f"The resistor of {known_ohm:g} ohm reads {read}. {noticed}")
    return event


def earlier(store: "Store", gear: str, known_ohm: float) -> list[DailyCheck]:
    """Return the checks of a meter with one resistor in the latest proofs, oldest first."""
    return [
        DailyCheck(known_ohm, one.limit_ohm or 0.0, one.value, one.lead_ohm, one.at)
        for _, one in recorded_checks(store)
        if _same(one, gear, known_ohm)
    ]


def recorded_checks(store: "Store") -> list[tuple[str, GearChecked]]:
    """Return every check in the latest proofs with the proof's tag, oldest first."""
    found = []
    for row in reversed(store.proofs.list(limit=MOST_PROOFS)):
        for one in store.proofs.events(row.tag):
            # Decoding every event would take far longer than looking for the few.
            if b'"gear checked"' not in one.payload:
                continue
            event = decode(one.payload)
            if isinstance(event, GearChecked):
                found.append((row.tag, event))
    return sorted(found, key=lambda one: datetime.fromisoformat(one[1].at))


def _same(event: GearChecked, gear: str, known_ohm: float) -> bool:
    kind = (event.what, event.gear, event.known_ohm)
    return kind == (Check.RESISTOR, gear, known_ohm)


def _recorded(
    work: Work, take: Callable[[], None], told: Callable[..., GearChecked]
) -> GearChecked:
    """Take a check and record how it came out, also if it fails."""
    try:
        take()
    except InstrumentProblem as problem:
        if problem.trouble in _FAILED:
            work.record(replace(told(ok=False), note=f"{problem}"[:2000]))
        raise
    event = told(ok=True)
    work.record(event)
    return event
