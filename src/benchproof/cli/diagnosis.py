"""How an examination's dangers, questions and diagnosis are printed, and their JSON objects."""

from typing import TYPE_CHECKING

from benchproof.cli.output import echo, styled
from benchproof.family.sentence import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.diagnose.verdict import Diagnosis, OffsetEstimate
    from benchproof.family.danger import Danger
    from benchproof.family.safety import Question

WORTH_TELLING = 0.005
"""Verdicts less likely than this are not printed; JSON has them all."""
WITHOUT_EVIDENCE = 0.015
"""Faults without evidence are printed from this probability on."""


def print_dangers(dangers: "Sequence[Danger]") -> None:
    """Print what could hurt somebody, before anything else."""
    for one in dangers:
        colour = "red" if one.signal is one.signal.DANGER else "yellow"
        signal, _, rest = f"{one}".partition(":")
        echo(styled(signal, bold=True, fg=colour), f":{rest}")


def print_questions(questions: "Sequence[Question]") -> None:
    """Print what nobody has said of the family, what we propose, and how to answer."""
    if not questions:
        return
    echo(styled("Not told, so nothing is accepted:", bold=True))
    for one in questions:
        echo(f"  {one.sentence}")
        if one.proposal:
            echo(f"      proposed: {', '.join(one.proposal)}")
    echo(
        "  Answer with --say proposed, or one by one: --say NAME=park, --say A-B='start permit', "
        "--say 'start permit=none'."
    )


def print_diagnosis(found: "Diagnosis") -> None:
    """Print verdicts, offset, faults with their evidence, and what cannot be known."""
    ranked = sorted(found.verdicts.items(), key=lambda item: -item[1])
    told = ", ".join(f"{v.value} {percent(p)}" for v, p in ranked if p >= WORTH_TELLING)
    echo(styled("Diagnosis: ", bold=True), told)
    echo(f"  Offset: {_offset(found.offset)}")
    for claim in found.faults:
        # A fault that no reading speaks for is only as likely as any other.
        if claim.evidence or claim.probability >= WITHOUT_EVIDENCE:
            others = dict.fromkeys(str(f) for f in claim.tied)
            also = f" (or {', '.join(others)})" if others else ""
            echo(f"  {percent(claim.probability)} {claim.told}{also}")
            for sentence in claim.evidence:
                echo(f"      {sentence}")
    if found.unknowable:
        echo("Not known from these readings:")
        for sentence in found.unknowable:
            echo(f"  {sentence}")


def _offset(offset: "OffsetEstimate") -> str:
    unit = "deg" if offset.unit == "deg" else "detent gaps"
    spans = " or ".join(f"{low:.2g} to {high:.2g}" for low, high in offset.intervals95)
    centred = any(low <= 0.0 <= high for low, high in offset.intervals95)
    side = "" if offset.sign_known or centred else "; its direction is not known"
    return f"{spans} {unit} with 95 %{side}"
