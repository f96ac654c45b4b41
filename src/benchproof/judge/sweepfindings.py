"""What is said of a judged sweep: a table of severities, conditions, sentences; and a verdict."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from benchproof.family.danger import STARTER_RULE
from benchproof.family.model import in_position, pair_text, same_pair
from benchproof.family.ohms import format_ohms
from benchproof.family.safety import safety_of
from benchproof.family.sentence import Sentence
from benchproof.judge.sweep import JudgedSweep
from benchproof.judge.sweptcells import CellResult
from benchproof.trace.bursts import Burst
from benchproof.trace.sweep import SweptPair

NOISY_PART = 0.1
"""A closed contact that wanders by more than this part of its limit is told; s.d. from sample to
sample. Common practice, no source."""
MUCH_PLAY_DEG = 1.5
"""Hysteresis above this is told. Common practice, no source."""


class SweepSeverity(StrEnum):
    """How grave a finding is, gravest first."""

    HAZARD = "hazard"
    FAIL = "fail"
    CAUTION = "caution"
    NOTE = "note"


@dataclass(frozen=True)
class SweepFinding:
    """One thing to say of a sweep."""

    severity: SweepSeverity
    sentence: str


class SweepVerdict(StrEnum):
    """What a sweep says of its pairs."""

    PASS = "pass"
    FAIL = "fail"
    INCOMPLETE = "incomplete"


def _deg(value: float) -> str:
    return f"{value:.1f}"


def _overrun(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for one in judged.overruns:
        yield {
            "pair": one.pair,
            "low": _deg(one.low_deg),
            "high": _deg(one.high_deg),
            "near": one.near,
        }


def _in_gear(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    runs = judged.sweep.boiled.in_gear
    conducts = runs.band == 1
    if conducts.any():
        ends = np.concatenate([runs.first_deg[conducts], runs.last_deg[conducts]])
        yield {
            "positions": ", ".join(judged.sweep.boiled.in_gear_words),
            "low": _deg(float(ends.min())),
            "high": _deg(float(ends.max())),
        }


def _wrong_cells(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for cell in judged.cells:
        if cell.result is CellResult.FAIL:
            yield {
                "pair": cell.pair,
                "position": cell.position,
                "found": cell.found,
                "expected": cell.expected,
            }


def _places(bursts: list[Burst]) -> str:
    told = [f"{_deg(b.low_deg)}" for b in bursts[:3]]
    more = f" and {len(bursts) - 3} more places" if len(bursts) > 3 else ""
    return f"{', '.join(told)} deg{more}"


def _told(pair: SweptPair, bursts: list[Burst]) -> dict[str, str]:
    return {
        "pair": pair.name,
        "count": str(sum(b.count for b in bursts)),
        "places": _places(bursts),
        "widest": f"{max(b.widest_deg for b in bursts):.2g}",
        "worst": format_ohms(max(b.worst_ohm for b in bursts), 2),
        "low": _deg(min(b.low_deg for b in bursts)),
        "high": _deg(max(b.high_deg for b in bursts)),
    }


def _dropouts(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for pair in judged.sweep.pairs:
        few = [b for b in pair.dropouts if not b.chatters]
        if few:
            yield _told(pair, few)


def _chatter(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for pair in judged.sweep.pairs:
        many = [b for b in pair.dropouts if b.chatters]
        if many:
            yield _told(pair, many)


def _closings(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for pair in judged.sweep.pairs:
        if pair.closings:
            yield _told(pair, list(pair.closings))


def _noise(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for pair in judged.sweep.pairs:
        limit = float(pair.bands.cuts_ohm[0])
        for dwell in pair.dwells:
            if dwell.band == 0 and dwell.noise_ohm > NOISY_PART * limit:
                yield {
                    "pair": pair.name,
                    "low": _deg(dwell.low_deg),
                    "high": _deg(dwell.high_deg),
                    "noise": format_ohms(dwell.noise_ohm, 2),
                    "worst": format_ohms(dwell.worst_ohm, 2),
                }


def _play(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    for pair in judged.sweep.pairs:
        for edge in pair.edges:
            lag = edge.hysteresis_deg
            if lag is not None and abs(lag) > MUCH_PLAY_DEG:
                yield {"pair": pair.name, "lag": _deg(abs(lag)), "at": _deg(edge.at_deg)}


def _no_zero(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    if judged.sweep.scale.shift_deg is None:
        first = judged.sweep.family.positions[0]
        yield {"why": judged.sweep.scale.why, "first": first}


def _no_words(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    swept = {same_pair(pair.bands.pair) for pair in judged.sweep.pairs}
    permits = safety_of(judged.sweep.family).permits
    left = [pair_text(pair) for pair in permits if same_pair(pair) not in swept]
    if left:
        yield {"pairs": ", ".join(left)}


def _no_gear(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    safety = safety_of(judged.sweep.family)
    permits = {same_pair(pair) for pair in safety.permits}
    swept = [p for p in judged.sweep.pairs if p.bands.row and same_pair(p.bands.pair) in permits]
    allowed = safety.free
    by_angle = judged.sweep.scale.shift_deg is not None and bool(allowed)
    if swept and not by_angle:
        why = judged.sweep.scale.why if allowed else "the family names neither park nor neutral"
        # No run at all: not every range bit was swept with it.
        if not len(judged.sweep.boiled.in_gear.band):
            yield {"pairs": ", ".join(pair.name for pair in swept), "why": why}


def _one_way(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    if len({one.rising for one in judged.sweep.boiled.passes}) == 1:
        yield {"way": "rising" if judged.sweep.boiled.passes[0].rising else "falling"}


def _missing(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    if judged.sweep.scale.shift_deg is None:
        return
    cells = [
        in_position(c.pair, c.position) for c in judged.cells if c.result is CellResult.MISSING
    ]
    if cells:
        more = f" and {len(cells) - 8} more" if len(cells) > 8 else ""
        yield {"cells": f"{', '.join(cells[:8])}{more}"}


def _uncharted(judged: JudgedSweep) -> Iterator[dict[str, str]]:
    pairs = [pair.name for pair in judged.sweep.pairs if pair.bands.row is None]
    if pairs:
        yield {"pairs": ", ".join(pairs)}


def _always(_: JudgedSweep) -> Iterator[dict[str, str]]:
    yield {}


_RULES = (
    (
        SweepSeverity.HAZARD,
        Sentence(
            "DANGER: start permit {pair} conducts from {low} to {high} deg, nearer to {near} than "
            "to park or neutral: the engine could be cranked in gear and the vehicle move "
            f"({STARTER_RULE}). Do not fit this part as it is.",
            _overrun,
        ),
    ),
    (
        SweepSeverity.HAZARD,
        Sentence(
            "DANGER: the start permit conducts while the range bits read {positions}, between "
            "{low} and {high} deg: the engine could be cranked in gear and the vehicle move "
            f"({STARTER_RULE}). Do not fit this part as it is.",
            _in_gear,
        ),
    ),
    (
        SweepSeverity.FAIL,
        Sentence("{pair} is {found} as {position} is passed; the chart wants {expected}.",
                 _wrong_cells),
    ),
    (
        SweepSeverity.FAIL,
        Sentence(
            "{pair} chatters: {count} dropouts close together between {low} and {high} deg, the "
            "widest {widest} deg, up to {worst}.",
            _chatter,
        ),
    ),
    (
        SweepSeverity.FAIL,
        Sentence(
            "{pair} drops out inside a dwell, {count} times in all, at {places}; the widest is "
            "{widest} deg, up to {worst}.",
            _dropouts,
        ),
    ),
    (
        SweepSeverity.FAIL,
        Sentence(
            "{pair} closes where it should stay open, {count} times in all, at {places}; the "
            "widest is {widest} deg.",
            _closings,
        ),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence(
            "{pair} is noisy between {low} and {high} deg: it wanders by {noise} from sample to "
            "sample and reads up to {worst}. Wander in a sweep says more than the value (common "
            "practice, no source).",
            _noise,
        ),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence(
            "{pair} at {at} deg lags by {lag} deg between the directions: look for play.", _play
        ),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence(
            "The offset cannot be known from this trace, nor what reads in the detents: {why}. "
            "Note where a detent stands, as a line '# {first} = 43.2' above the headings, and "
            "sweep again.",
            _no_zero,
        ),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence("The sweep does not reach: {cells}.", _missing),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence("Start permit {pairs} was not swept: nothing is known of its over-run.",
                 _no_words),
    ),
    (
        SweepSeverity.CAUTION,
        Sentence("Over-run of start permit {pairs} could not be judged: {why}.", _no_gear),
    ),
    (
        SweepSeverity.NOTE,
        Sentence(
            "The angle was swept {way} only, so the play between directions is not known.",
            _one_way,
        ),
    ),
    (
        SweepSeverity.NOTE,
        Sentence("{pairs} not in the chart: swept, but not judged.", _uncharted),
    ),
    (
        SweepSeverity.NOTE,
        Sentence(
            "Sweep only with the part unplugged from the vehicle and de-energised. The maker's "
            "service information, local rules and licensed practice come before this program.",
            _always,
        ),
    ),
)  # fmt: skip


def sweep_findings(judged: JudgedSweep) -> tuple[SweepFinding, ...]:
    """Return everything to say of a sweep, hazards first."""
    return tuple(
        SweepFinding(severity, rule.text.format_map(facts))
        for severity, rule in _RULES
        for facts in rule.find(judged)
    )


def sweep_verdict(judged: JudgedSweep) -> SweepVerdict:
    """Return what a sweep says of its pairs: a part is passed by a full proof only."""
    graves = {finding.severity for finding in sweep_findings(judged)}
    if graves & {SweepSeverity.HAZARD, SweepSeverity.FAIL}:
        return SweepVerdict.FAIL
    if any(cell.result is CellResult.MISSING for cell in judged.cells) or not judged.cells:
        return SweepVerdict.INCOMPLETE
    return SweepVerdict.PASS
