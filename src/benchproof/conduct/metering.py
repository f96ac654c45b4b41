"""The meter that reads is the meter that is recorded."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchproof.conduct.opening import FileOf, along, bench_chosen, meter_chosen
from benchproof.conduct.work import Work, now
from benchproof.instrument.meter import ScpiMeter
from benchproof.proof.events import BenchChosen, MeterChosen
from benchproof.proof.problems import ProofProblem

if TYPE_CHECKING:
    from benchproof.instrument.station import Station


MOST_LEAD_OHM = 100.0
COLDEST_C, WARMEST_C = -40.0, 60.0
"""What is told of leads and of the air at the meter lies within these."""


@dataclass(frozen=True)
class Instrument:
    """A meter that reads by itself.

    Attributes
    ----------
    which : str
        Which meter it is: a tag of the gear, or a meter file; empty if the gear file is silent.
    identity : str
        What it calls itself; empty if it cannot say.
    """

    which: str = ""
    identity: str = ""


def choose(
    work: Work,
    by: str,
    meter: str = "",
    bench: str = "",
    *,
    lead_ohm: float | None = None,
    ambient_c: float | None = None,
    file_of: FileOf = along,
) -> None:
    """Choose meter or bench of a proof, or both; a meter only before its first reading.

    Arguments and errors as of `opening.meter_chosen`; if one cannot be chosen neither is.

    Raises
    ------
    ProofProblem
        If the proof has readings of another meter, or is closed, or neither is named.
    """
    if not meter and not bench:
        raise ProofProblem("Name a meter, a bench, or both.")
    if not meter and (lead_ohm is not None or ambient_c is not None):
        raise ProofProblem("What leads and air are like is told of a meter; name it too.")
    if lead_ohm is not None and not 0.0 <= lead_ohm <= MOST_LEAD_OHM:
        raise ProofProblem(f"Leads read 0 to {MOST_LEAD_OHM:g} ohm; look at them again.")
    if ambient_c is not None and not COLDEST_C <= ambient_c <= WARMEST_C:
        raise ProofProblem(f"At the meter it is {COLDEST_C:g} to {WARMEST_C:g} °C; type it again.")
    events: list[MeterChosen | BenchChosen] = []
    if meter:
        work.state.check(MeterChosen)
        events.append(
            meter_chosen(
                work.store, meter, by, lead_ohm=lead_ohm, ambient_c=ambient_c, file_of=file_of
            )
        )
    if bench:
        work.state.check(BenchChosen)
        events.append(bench_chosen(work.store, bench, by, file_of=file_of))
    work.record_all(events)


def identity_of(station: "Station") -> str:
    """Return what the meter of a station calls itself; empty if it cannot say.

    Raises
    ------
    InstrumentProblem
        If it does not reply.
    """
    return station.meter.identity[:400] if isinstance(station.meter, ScpiMeter) else ""


def name_meter(work: Work, instrument: Instrument, by: str, file_of: FileOf = along) -> None:
    """Record the meter that is about to read, unless the proof tells it already.

    Raises
    ------
    ProofProblem
        If the proof has readings of another meter, or nobody says which meter this is.
    NoSuch, BadFile
        If what the gear file names is no meter.
    """
    chosen = work.state.meter_chosen
    told = chosen
    if instrument.which:
        named = meter_chosen(work.store, instrument.which, by, file_of=file_of)
        if chosen is None or not _same(chosen, named):
            _refuse_if_read(work, named.tag or named.name)
            ambient = None if chosen is None else chosen.ambient_c
            told = replace(named, ambient_c=ambient)
    elif chosen is not None and _vouched(chosen):
        name = chosen.tag or chosen.name
        raise ProofProblem(
            f"The gear file does not say that its meter is {name}, with which this proof was "
            f'opened; if it is, add which = "{name}" to its [meter] table.'
        )
    if told is None:
        # Without a name accepting is objected to; the readings are kept nevertheless.
        return
    if instrument.identity and told.identity != instrument.identity:
        if told.identity:
            _refuse_if_read(work, instrument.identity)
        told = replace(told, identity=instrument.identity)
    if told != chosen and not (chosen is not None and _has_readings(work)):
        work.record(replace(told, at=now(), by=by))


def _same(one: "MeterChosen", other: "MeterChosen") -> bool:
    return (one.file, one.tag, one.calibrated_on, one.due_on) == (
        other.file,
        other.tag,
        other.calibrated_on,
        other.due_on,
    )


def _vouched(chosen: "MeterChosen") -> bool:
    """Return whether a certificate would say which very meter read, or when it is due."""
    return bool(chosen.tag or chosen.calibrated_on or chosen.due_on)


def _has_readings(work: Work) -> bool:
    return bool(work.state.why_not(MeterChosen))


def _refuse_if_read(work: Work, name: str) -> None:
    if _has_readings(work):
        chosen = work.state.meter_chosen
        by = "a meter that nobody named" if chosen is None else chosen.tag or chosen.name
        raise ProofProblem(
            f"{work.tag} has readings of {by}, and this meter is {name}; open a new proof for it."
        )
