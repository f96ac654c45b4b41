"""Meter and leads of a proof, from a screen or the API: chosen, nulled, checked.

What an instrument of this bench cannot read by itself a person reads, and types.
"""

import re
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from benchproof.conduct.automatic import LOOK_FOR_VOLTAGE, MOVES_BY_ITSELF
from benchproof.conduct.gearchecks import (
    BEFORE_CHECK,
    LEAST_TYPED,
    Across,
    TypedOhms,
    leads_nulled,
    leads_typed,
    no_voltage,
    resistor_limit_ohm,
    resistor_read,
)
from benchproof.conduct.metering import choose, name_meter
from benchproof.family.model import pair_text
from benchproof.family.ohms import NotOhms, parse_ohms
from benchproof.proof.cautions import BEFORE_HOOK_UP
from benchproof.proof.events import BenchChosen, GearChecked, MeterChosen
from benchproof.proof.problems import ProofProblem
from benchproof.shipped.contents import USUAL_BENCH, USUAL_METER, shipped, shipped_bytes
from benchproof.web.instruments import Gear

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchproof.conduct.work import Work
    from benchproof.instrument.station import Station
    from benchproof.proof.state import State
    from benchproof.web.site import Site

MOST_KNOWN_OHM = 1e9


def choose_gear(
    site: "Site",
    tag: str,
    by: str,
    meter: str,
    bench: str,
    lead_ohm: float | None = None,
    ambient_c: float | None = None,
) -> str:
    """Choose meter or bench of a proof."""
    with site.works.opened(tag) as work:
        choose(work, by, meter, bench, lead_ohm=lead_ohm, ambient_c=ambient_c)
    return f"Chosen: {' and '.join(filter(None, (meter, bench)))}."


def null_leads(site: "Site", tag: str, by: str, typed: str) -> str:
    """Read the leads, their tips joined, by the instrument or as they were typed."""
    if texts := re.split(r"[\s;]+", typed.strip()) if typed.strip() else []:
        with site.works.opened(tag) as work:
            return leads_typed(work, by, texts).told
    return _by_instrument(
        site, tag, by, lambda work, station: leads_nulled(work, _first(work, station), by)
    )


def check_resistor(site: "Site", tag: str, by: str, known: str, typed: str, limit: str = "") -> str:
    """Read a known resistor, by the instrument or as it was typed."""
    known_ohm, limit_ohm = _ohms(known, "the resistor is"), None
    if limit:
        limit_ohm = _ohms(limit, "it may be off")

    def read(work: "Work", station: "Station | None") -> GearChecked:
        meter = TypedOhms(work, [typed]) if station is None else _first(work, station)
        limit = resistor_limit_ohm(work, known_ohm) if limit_ohm is None else limit_ohm
        return resistor_read(work, meter, by, known_ohm, limit)

    if typed:
        with site.works.opened(tag) as work:
            return read(work, None).told
    return _by_instrument(site, tag, by, read)


def look_for_voltage(site: "Site", tag: str, by: str) -> str:
    """See that no voltage stands on any pair, if the instrument can."""
    return _by_instrument(site, tag, by, lambda work, station: no_voltage(work, station, by))


def panel(site: "Site", state: "State") -> dict[str, Any]:
    """Return what the screen of a proof shows of meter and leads."""
    gear = site.plugged if isinstance(site.plugged, Gear) and site.plugged.has_meter else None
    return {
        "meter_fixed": state.why_not(MeterChosen),
        "before_check": BEFORE_CHECK,
        "reads_by": gear.name if gear else "",
        "reads_volts": gear is not None and gear.has_selector,
        "across": pair_text(state.ground.family.charted_pairs[0])
        if gear and gear.has_selector
        else "",
        "least_typed": LEAST_TYPED,
        "runs_by": gear.name if gear and gear.has_selector else "",
        "before_hook_up": BEFORE_HOOK_UP,
        "moves_by_itself": MOVES_BY_ITSELF if gear and gear.moves_lever else "",
        "meter_now": _chosen(state, MeterChosen, "meters"),
        "bench_now": _chosen(state, BenchChosen, "benches"),
    }


def _chosen(state: "State", kind: type[MeterChosen | BenchChosen], folder: str) -> str:
    """Return what meter or bench was chosen: its tag, or its name if it comes along."""
    for event in reversed(state.events):
        if isinstance(event, kind):
            if isinstance(event, MeterChosen) and event.tag:
                return event.tag
            return next((one for one in shipped(folder) if _hash(folder, one) == event.file), "")
    return USUAL_METER if folder == "meters" else USUAL_BENCH


def _hash(folder: str, name: str) -> str:
    return sha256(shipped_bytes(folder, name)).hexdigest()


def _first(work: "Work", station: "Station") -> Across:
    return Across(station, work.state.ground.family.charted_pairs[0])


def _by_instrument(
    site: "Site",
    tag: str,
    by: str,
    take: "Callable[[Work, Station], GearChecked | None]",
) -> str:
    gear = site.plugged
    if not isinstance(gear, Gear) or not gear.has_meter:
        raise ProofProblem("No instrument of this bench reads that; type what the meter shows.")
    with site.works.opened(tag) as work:
        work.state.check(GearChecked)
        name_meter(work, gear.instrument(work.state), by)
        with gear.station(work.state) as station:
            event = take(work, station)
    if event is None:
        raise ProofProblem(LOOK_FOR_VOLTAGE)
    return event.told


def _ohms(text: str, what: str) -> float:
    try:
        ohm = parse_ohms(text).ohm
    except NotOhms:
        ohm = 0.0
    if not 0.0 < ohm <= MOST_KNOWN_OHM:
        raise ProofProblem(f"Type how many ohms {what}, such as 100 or 4.7k.")
    return ohm
