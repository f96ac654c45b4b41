"""How a diagnosis is printed, and its JSON object."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from benchproof.cli.files import load_family, load_priors, shipped
from benchproof.family.sentence import percent

if TYPE_CHECKING:
    from benchproof.diagnose.posterior import Posterior
    from benchproof.diagnose.tables import Tables
    from benchproof.diagnose.verdict import Diagnosis, OffsetEstimate
    from benchproof.family.model import Family
    from benchproof.reading.meter import Meter
    from benchproof.reading.value import Reading

WORTH_TELLING = 0.005
"""Verdicts less likely than this are not printed; JSON has them all."""
WITHOUT_EVIDENCE = 0.015
"""Faults without evidence are printed from this probability on."""


def load_tables(family: "Family", priors: str | None, *, library: bool = True) -> "Tables":
    """Return a family's hypotheses; the families that come along are its library unless told.

    Raises
    ------
    TooLarge
        If the chart is too large.
    """
    from benchproof.diagnose.tables import tables_of

    others = [load_family(name) for name in shipped("families")] if library else []
    return tables_of(family, load_priors(priors, family.name), others)


def posterior_of(
    tables: "Tables",
    readings: Sequence["Reading"],
    meter: "Meter",
    ambient_c: float | None = None,
) -> "Posterior":
    """Return what readings say."""
    from benchproof.diagnose.posterior import observe, prior_of, tell

    return tell(prior_of(tables), observe(tables, readings, meter, ambient_c))


def diagnosis_object(found: "Diagnosis") -> dict[str, Any]:
    """Return the object that docs/json.md describes."""
    offset = found.offset
    return {
        "verdicts": {verdict.value: p for verdict, p in found.verdicts.items()},
        "decided": None if found.decided is None else found.decided.value,
        "hazard": found.hazard,
        "faults": [
            {
                "fault": claim.fault.kind.value,
                "where": claim.fault.where,
                "probability": claim.probability,
                "tied": [str(fault) for fault in claim.tied],
                "evidence": list(claim.evidence),
            }
            for claim in found.faults
        ],
        "offset_deg": {
            "best": offset.best,
            "intervals95": [list(interval) for interval in offset.intervals95],
            "sign_known": offset.sign_known,
            "unit": offset.unit,
        },
        "unknowable": list(found.unknowable),
    }


def print_diagnosis(found: "Diagnosis") -> None:
    """Print verdicts, offset, faults with their evidence, and what cannot be known."""
    ranked = sorted(found.verdicts.items(), key=lambda item: -item[1])
    told = ", ".join(f"{v.value} {percent(p)}" for v, p in ranked if p >= WORTH_TELLING)
    click.echo(click.style("Diagnosis: ", bold=True) + told)
    click.echo(f"  Offset: {_offset(found.offset)}")
    if found.hazard > WORTH_TELLING:
        click.echo(f"  DANGER: start permit closed in gear with {percent(found.hazard)}.")
    for claim in found.faults:
        # A fault that no reading speaks for is only as likely as any other.
        if claim.evidence or claim.probability >= WITHOUT_EVIDENCE:
            others = dict.fromkeys(str(f) for f in claim.tied)
            also = f" (or {', '.join(others)})" if others else ""
            click.echo(f"  {percent(claim.probability)} {claim.fault.told}{also}")
            for sentence in claim.evidence:
                click.echo(f"      {sentence}")
    if found.unknowable:
        click.echo("Not known from these readings:")
        for sentence in found.unknowable:
            click.echo(f"  {sentence}")


def _offset(offset: "OffsetEstimate") -> str:
    unit = "deg" if offset.unit == "deg" else "detent gaps"
    spans = " or ".join(f"{low:.2g} to {high:.2g}" for low, high in offset.intervals95)
    centred = any(low <= 0.0 <= high for low, high in offset.intervals95)
    side = "" if offset.sign_known or centred else "; its direction is not known"
    return f"{spans} {unit} with 95 %{side}"
