"""What the readings at hand cannot tell: a table of conditions and their sentences.

Each sentence says what would tell.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchproof.diagnose.posterior import Posterior
from benchproof.diagnose.verdict import MOST_HAZARD, Claim, OffsetEstimate, PartVerdict
from benchproof.family.branches import CASE
from benchproof.family.model import cell_text
from benchproof.family.sentence import Sentence, said
from benchproof.network.faults import PartFault

WORTH = 0.02
"""Verdicts less likely than this are not worth telling apart."""


@dataclass(frozen=True)
class DiagnosisFacts:
    """All that the conditions look at."""

    posterior: Posterior
    verdicts: Mapping[PartVerdict, float]
    hazard: float
    claims: Sequence[Claim]
    offset: OffsetEstimate | None


def _sign(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    if known.offset is None:
        return
    centred = any(low <= 0.0 <= high for low, high in known.offset.intervals95)
    if known.verdicts[PartVerdict.REALIGN] >= WORTH and not (known.offset.sign_known or centred):
        yield {}


def _offset_or_fault(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    both = (PartVerdict.REALIGN, PartVerdict.REPAIR)
    likely = [v for v in both if known.verdicts.get(v, 0.0) >= WORTH]
    of_part = [c for c in known.claims if c.fault.kind is not PartFault.PINS_SWAPPED]
    if len(likely) == 2 and of_part:
        yield {"fault": of_part[0].fault.name}


def _tied(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    for claim in known.claims[:1]:
        if claim.tied:
            names = dict.fromkeys(fault.name for fault in (claim.fault, *claim.tied))
            yield {"faults": ", ".join(names)}


def _part_or_harness(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    """Yield the part behind a harness that may be at fault as well as the way there."""
    family = known.posterior.tables.family
    for claim in known.claims[:1]:
        faults = (claim.fault, *claim.tied)
        inside = [
            fault
            for fault in faults
            if {family.member_at(node) for node in fault.at if node != CASE} - {""}
            and all(node in family.seen_as or node == CASE for node in fault.at)
        ]
        if inside and len(inside) < len(faults):
            name = next(family.member_at(node) for node in inside[0].at if node != CASE)
            pair = "-".join(node.removeprefix(f"{name}.") for node in inside[0].at)
            yield {"name": name, "pair": pair}


def _not_proved(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    if known.hazard > MOST_HAZARD:
        tables = known.posterior.tables
        cells = [
            cell_text(tables.pairs[k], tables.family.positions[p])
            for k in range(tables.charted)
            for p in range(len(tables.family.positions))
            if tables.hazard[k, p] and len(known.posterior.cells.get((k, p), ())) < 2
        ]
        if cells:
            yield {"cells": ", ".join(cells)}


def _untested(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    if pairs := known.posterior.tables.untested_pairs:
        yield {"count": f"{len(pairs)} pair{'' if len(pairs) == 1 else 's'}", "pair": pairs[0]}


def _gaps(known: DiagnosisFacts) -> Iterator[dict[str, str]]:
    if known.offset is not None and known.offset.unit == "gap":
        yield {}


_LIMITS = (
    Sentence(
        "The start permit is not yet proved open where the starter must not turn: {cells} must be "
        "read twice in all, the probes set anew, since a slipped probe reads open too.",
        _not_proved,
    ),
    Sentence(
        "Which way the part is out of line cannot be known from these readings: in the detents "
        "either way reads the same. Lean the lever toward a neighbour and read again.",
        _sign,
    ),
    Sentence(
        "A small offset and a {fault} can look the same in the detents: only a lean or a sweep "
        "tells them apart.",
        _offset_or_fault,
    ),
    Sentence("These readings do not tell apart: {faults}.", _tied),
    Sentence(
        "Unplug {name} and read {pair} at the part: if it reads as it does here, the fault is in "
        "the part; if not, on the way there.",
        _part_or_harness,
    ),
    Sentence(
        "Leaks and swaps between pins that no charted pair brings together are not tested by this "
        "chart ({count}, such as {pair}).",
        _untested,
    ),
    Sentence(
        "The family tells no detent angles, so offsets are in fractions of a detent gap.",
        _gaps,
    ),
)


def unknowable(known: DiagnosisFacts) -> tuple[str, ...]:
    """Return a sentence for each thing that these readings cannot tell."""
    return tuple(said(_LIMITS, known))
