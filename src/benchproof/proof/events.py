"""What happens in a proof: one frozen dataclass an event.

Events are facts. They are never changed or taken away: a reading that was wrong is withdrawn by an
event of its own, and both stay. Whatever a proof says of its part is computed from its events, in
their order, and from the files that they name by content.

Each event has `at`, when it happened (ISO 8601 with its offset from UTC, as told by whoever noted
it), and `by`, the initials of who did it, or empty.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from msgspec import Meta

from benchproof.family.model import Pair
from benchproof.plan.actions import Mode as Mode
from benchproof.proof.eventwords import Day, Hash, Initials, Name, When, WhenIfAny, Words
from benchproof.proof.foundevents import EdgeFound as EdgeFound
from benchproof.proof.foundevents import OffsetMeasured as OffsetMeasured
from benchproof.proof.foundevents import SweepTaken as SweepTaken
from benchproof.proof.foundevents import Turned as Turned
from benchproof.reading.evidence import SeenCondition


class ReadingSource(StrEnum):
    """Where a reading came from."""

    TYPED = "typed"
    SHEET = "sheet"
    METER = "meter"


class Check(StrEnum):
    """What is checked of meter, leads and hook-up before a part is read."""

    NO_VOLTAGE = "no voltage"
    LEADS = "leads"
    RESISTOR = "known resistor"


class Mistake(StrEnum):
    """What a withdrawn reading is put down to."""

    SLIP = "slip"
    """A probe slipped."""
    WRONG_CELL = "wrong cell"
    """Lever or probes stood elsewhere."""
    WRONG_KEY = "wrong key"
    """What the meter showed was typed wrong."""
    METER = "meter or leads"
    OTHER = "other"


OPEN = "open"
"""Outcome of another proof that is not closed."""
DO_NOT_REUSE = "do not reuse"
"""What follows from an inspection with which a part is not accepted."""


class ProofOutcome(StrEnum):
    """As what a proof is closed."""

    ACCEPTED = "accepted"
    """Every cell passes and no doubt is open, or somebody answers for it by name."""
    REALIGN = "realign"
    REPAIR = "repair"
    """Repair or replace."""
    RECHECK = "recheck"
    """The hook-up, the chart or the readings are to be looked at first."""
    LIKELY_GOOD = "likely-good"
    """How find mode says that nothing was found; it still has to be proved."""
    ABANDONED = "abandoned"


@dataclass(frozen=True)
class Opened:
    """The proof begins.

    Attributes
    ----------
    part : str
        Tag of the part.
    mode : Mode
        What it is for.
    version : str
        Version of the program.
    family, family_file : str
        Name of the part's family, and its file by hash.
    priors_file : str
        What the diagnosis takes for granted, by hash.
    meter_file, bench_file : str
        The usual meter and bench, by hash; taken until one is chosen.
    library : tuple of (name, hash)
        Other families with which this one might be confused.
    """

    at: When
    by: Initials
    part: Name
    mode: Mode
    version: Name
    family: Name
    family_file: Hash
    priors_file: Hash
    meter_file: Hash
    bench_file: Hash
    library: tuple[tuple[Name, Hash], ...] = ()


@dataclass(frozen=True)
class BenchChosen:
    """How the meter gets from pair to pair: a bench profile, by hash and name."""

    at: When
    by: Initials
    file: Hash
    name: Name


@dataclass(frozen=True)
class MeterChosen:
    """What the readings are taken with.

    Attributes
    ----------
    file, name : str
        Its specification, by hash, and its name.
    tag : str
        Its tag among the shop's gear; empty if it has none.
    lead_ohm : float or None
        What the leads read, if they were not nulled, ohms.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    calibrated_on, due_on : str
        When it was calibrated, and when it is due again; empty if not known.
    identity : str
        What the instrument calls itself; empty if it was not asked, or a person reads it.
    """

    at: When
    by: Initials
    file: Hash
    name: Name
    tag: Annotated[str, Meta(max_length=120)] = ""
    lead_ohm: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    ambient_c: Annotated[float, Meta(ge=-100, le=100)] | None = None
    calibrated_on: Day = ""
    due_on: Day = ""
    identity: Annotated[str, Meta(max_length=400)] = ""


@dataclass(frozen=True)
class LeverAt:
    """The lever was moved; `lean` is the neighbour toward which it is held, empty in its detent."""

    at: When
    by: Initials
    position: Name
    lean: str = ""


@dataclass(frozen=True)
class ReadingTaken:
    """A reading.

    Attributes
    ----------
    position : str
        Lever position, by the family's name.
    pair : tuple of str
        The two pins, by the family's names.
    value : str
        As the person or the meter gave it; it is parsed again at each replay.
    lean : str
        The neighbour toward which the lever was held off its detent; empty in the detent.
    again : bool
        Whether the probes were lifted and set again for it.
    source : ReadingSource
        Where it came from.
    note : str
        What was noted with it.
    part_c, part_c_u : float or None
        Temperature of the part, degrees Celsius, and its standard uncertainty; None if not told.
    pressure_kpa, pressure_kpa_u : float or None
        Pressure on the part, kilopascals above that of the air, and its standard uncertainty.
    supply_v, supply_v_u : float or None
        What it was fed with, volts, and its standard uncertainty.
    """

    at: When
    by: Initials
    position: Name
    pair: Pair
    value: Name
    lean: str = ""
    again: bool = False
    source: ReadingSource = ReadingSource.TYPED
    note: Words = ""
    part_c: Annotated[float, Meta(ge=-100.0, le=400.0)] | None = None
    part_c_u: Annotated[float, Meta(gt=0.0, le=400.0)] | None = None
    pressure_kpa: Annotated[float, Meta(ge=-110.0, le=100_000.0)] | None = None
    pressure_kpa_u: Annotated[float, Meta(gt=0.0, le=100_000.0)] | None = None
    supply_v: Annotated[float, Meta(ge=-1000.0, le=1000.0)] | None = None
    supply_v_u: Annotated[float, Meta(gt=0.0, le=1000.0)] | None = None


@dataclass(frozen=True)
class ReadingWithdrawn:
    """A reading, edge, offset or sweep shall not count; of readings `withdrawal` says whether.

    Attributes
    ----------
    seq : int
        Its number among the events.
    reason : str
        In the person's words.
    kind : Mistake
        What it is put down to.
    """

    at: When
    by: Initials
    seq: Annotated[int, Meta(ge=1)]
    reason: Annotated[str, Meta(min_length=1, max_length=2000)]
    kind: Mistake = Mistake.OTHER


@dataclass(frozen=True)
class BodyTurned:
    """The body was turned: what was read before is as found.

    Attributes
    ----------
    note : str
        How far and which way, in the person's words.
    found_offset : float or None
        Best estimate of the offset before, degrees or detent gaps; None if there was none.
    """

    at: When
    by: Initials
    note: Words = ""
    found_offset: float | None = None


@dataclass(frozen=True)
class TurnTakenBack:
    """The body was not turned: a `BodyTurned` was noted by mistake (`by` is never empty).

    Attributes
    ----------
    seq : int
        Number of the event that noted the turn.
    reason : str
        In the person's words.
    """

    at: When
    by: Annotated[str, Meta(min_length=1, max_length=20)]
    seq: Annotated[int, Meta(ge=1)]
    reason: Annotated[str, Meta(min_length=1, max_length=2000)]


@dataclass(frozen=True)
class WorkDone:
    """The part was repaired or put right: what was done, by whom (`by` is never empty)."""

    at: When
    by: Annotated[str, Meta(min_length=1, max_length=20)]
    what: Annotated[str, Meta(min_length=1, max_length=2000)]


@dataclass(frozen=True)
class OtherProof:
    """What another proof of the same part came to; the latest word of each counts.

    Attributes
    ----------
    proof : str
        Its tag.
    number : int
        Which proof of the part it is.
    outcome : str
        As what it was closed; ``open`` if it is not.
    ended_at : str
        When it was closed, or opened if it is not.
    ended_by : str
        Who closed it, or opened it.
    override_by : str
        Who answers for it; empty without an override.
    against : tuple of str
        Cells that failed when it was left, with why, at most a few.
    starts_in_gear : tuple of str
        Start permit cells that conducted in gear, with why.
    work : tuple of str
        What was noted in it as done to the part.
    worked_at : str
        When the last of that was noted; empty if nothing was.
    """

    at: When
    by: Initials
    proof: Name
    number: Annotated[int, Meta(ge=1)]
    outcome: Name
    ended_at: When
    ended_by: Initials = ""
    override_by: Annotated[str, Meta(max_length=120)] = ""
    against: tuple[str, ...] = ()
    starts_in_gear: tuple[str, ...] = ()
    work: tuple[str, ...] = ()
    worked_at: WhenIfAny = ""

    @property
    def told(self) -> str:
        """The proof and its outcome in words: what stands on the paper."""
        ended = f", {self.ended_at[:10]} by {self.ended_by or 'nobody named'}"
        override = f"; override by {self.override_by}" if self.override_by else ""
        unsafe = f"; DANGER: {'; '.join(self.starts_in_gear)}" if self.starts_in_gear else ""
        others = [cell for cell in self.against if cell not in self.starts_in_gear]
        against = f"; against the chart: {'; '.join(others)}" if others else ""
        work = f"; done since: {'; '.join(self.work)}" if self.work else ""
        return f"{self.proof}: {self.outcome}{ended}{override}{unsafe}{against}{work}"


@dataclass(frozen=True)
class Photographed:
    """A photograph, by hash, and what it shows."""

    at: When
    by: Initials
    hash: Hash
    what: Words = ""


@dataclass(frozen=True)
class Remarked:
    """What a person had to say."""

    at: When
    by: Initials
    text: Annotated[str, Meta(min_length=1, max_length=2000)]


@dataclass(frozen=True)
class InspectionNoted:
    """What was seen of one thing by eye, and what follows by the shop's checklist.

    Attributes
    ----------
    item : str
        What was looked at, of the part or of its core: "bent pins (core C-7)".
    grade : str
        What follows: ``do not reuse``.
    remark : str
        The grade as it was given, and what was noted with it.
    checked, graded : str or None
        Item and grade in the words of the checklist, which are evidence of the part; None if an
        older version noted it.
    """

    at: When
    by: Initials
    item: Name
    grade: Name
    remark: Words = ""
    checked: Name | None = None
    graded: Name | None = None

    @property
    def seen(self) -> SeenCondition | None:
        """What it tells of the part as evidence, if it does."""
        if self.checked is None or self.graded is None:
            return None
        return SeenCondition(self.checked, self.graded)


@dataclass(frozen=True)
class GearChecked:
    """Meter, leads and hook-up were checked.

    Attributes
    ----------
    gear : str
        Tag of the meter, or its name.
    what : Check
        What was checked.
    value : float or None
        The most volts on any pair, or the ohms that were read; None for more than it can read.
    ok : bool
        Whether it may be used.
    known_ohm, limit_ohm : float or None
        What the known resistor is, and how far a reading may lie from it, ohms.
    lead_ohm : float
        What is taken off the reading for the leads, ohms.
    note : str
        What was noticed: that earlier checks drift, or what is wrong.
    """

    at: When
    by: Initials
    gear: Name
    what: Check
    value: float | None
    ok: bool
    known_ohm: Annotated[float, Meta(ge=0)] | None = None
    limit_ohm: Annotated[float, Meta(ge=0)] | None = None
    lead_ohm: Annotated[float, Meta(ge=0)] = 0.0
    note: Words = ""

    @property
    def told(self) -> str:
        """The check in words."""
        unit = "V" if self.what is Check.NO_VOLTAGE else "ohm"
        value = "over-range" if self.value is None else f"{self.value:.4g} {unit}"
        known = "" if self.known_ohm is None else f" of {self.known_ohm:g} ohm"
        note = f"; {self.note}" if self.note else ""
        result = "good" if self.ok else "NOT good"
        return f"{self.gear}: {self.what}{known}, {value}, {result}{note}"


@dataclass(frozen=True)
class Concluded:
    """What a version of the program concluded, kept so that a later one can say what differs.

    Attributes
    ----------
    version : str
        The version.
    verdict, as_found_verdict : str
        Of the sheet as left, and as found.
    cells, as_found_cells : tuple of (cell, result)
        Every cell of the chart, as left and as found.
    decided : str
        The verdict that the diagnosis decided, empty if none.
    verdicts : mapping of str to float
        Probability of each verdict; empty for a chart too large for a diagnosis.
    hazard : float or None
        Probability that a start permit conducts where the starter must not turn.
    offset : float or None
        Likeliest offset, degrees or detent gaps.
    against : tuple of str
        What stood against accepting the part.
    """

    version: Name
    verdict: str
    cells: tuple[tuple[str, str], ...]
    as_found_verdict: str
    as_found_cells: tuple[tuple[str, str], ...]
    decided: str = ""
    verdicts: Mapping[str, float] | None = None
    hazard: float | None = None
    offset: float | None = None
    against: tuple[str, ...] = ()


@dataclass(frozen=True)
class Closed:
    """The proof ends; only remarks may follow.

    Attributes
    ----------
    outcome : ProofOutcome
        As what.
    reasons : tuple of str
        What stood against accepting the part; with an override, what was overridden.
    override_by, override_reason : str
        Who answers for accepting it nevertheless, and why; empty without an override.
    concluded : Concluded
        What was concluded.
    digest : str
        Of everything that was concluded, bit for bit (`replay.py`).
    """

    at: When
    by: Initials
    outcome: ProofOutcome
    reasons: tuple[str, ...]
    override_by: Annotated[str, Meta(max_length=120)]
    override_reason: Words
    concluded: Concluded
    digest: Hash


Event = (
    Opened
    | BenchChosen
    | MeterChosen
    | LeverAt
    | ReadingTaken
    | EdgeFound
    | OffsetMeasured
    | SweepTaken
    | ReadingWithdrawn
    | BodyTurned
    | TurnTakenBack
    | WorkDone
    | OtherProof
    | Photographed
    | Remarked
    | InspectionNoted
    | GearChecked
    | Closed
)
