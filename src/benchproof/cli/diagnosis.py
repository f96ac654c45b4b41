"""How an examination is printed: dangers, cells, diagnosis, questions, what is next."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchproof.cli.output import COLOUR, SIGN, echo, print_grid, styled
from benchproof.family.model import AT_REST, READS
from benchproof.family.sentence import percent
from benchproof.plan.actions import Stop
from benchproof.reading.value import format_value

if TYPE_CHECKING:
    from benchproof.diagnose.verdict import Diagnosis, OffsetEstimate
    from benchproof.examine.policy import NextStep
    from benchproof.family.danger import Danger
    from benchproof.family.model import Family
    from benchproof.family.safety import Question
    from benchproof.judge.cell import JudgedCell
    from benchproof.judge.sheet import Judgement

WORTH_TELLING = 0.005
"""Verdicts less likely than this are not printed; JSON has them all."""
WITHOUT_EVIDENCE = 0.015
"""Faults without evidence are printed from this probability on."""


def print_dangers(dangers: Sequence["Danger"]) -> None:
    """Print what could hurt somebody, before anything else."""
    for one in dangers:
        colour = "red" if one.signal is one.signal.DANGER else "yellow"
        signal, _, rest = f"{one}".partition(":")
        echo(styled(signal, bold=True, fg=colour), f":{rest}")


def print_questions(questions: Sequence["Question"]) -> None:
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


def _print_seen(found: "Diagnosis") -> None:
    if found.seen:
        echo("Seen by eye, and counted:")
        for sentence in found.seen:
            echo(f"  {sentence}")


def print_diagnosis(found: "Diagnosis") -> None:
    """Print verdicts, offset, faults with their evidence, and what cannot be known."""
    if found.only_prior:
        echo(styled("Diagnosis: ", bold=True), "none; nothing is read yet.")
        _print_seen(found)
        return
    ranked = sorted(found.verdicts.items(), key=lambda item: -item[1])
    told = ", ".join(f"{v.value} {percent(p)}" for v, p in ranked if p >= WORTH_TELLING)
    echo(styled("Diagnosis: ", bold=True), told)
    if found.offset is not None:
        echo(f"  Offset: {_offset(found.offset)}")
    for claim in found.faults:
        # A fault that no reading speaks for is only as likely as any other.
        if claim.evidence or claim.probability >= WITHOUT_EVIDENCE:
            echo(f"  {percent(claim.probability)} {claim.with_tied}")
            for sentence in claim.evidence:
                echo(f"      {sentence}")
    _print_seen(found)
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


def print_judgement(family: "Family", judged: "Judgement") -> None:
    """Print the chart with every cell's reading and result, then the verdict and why."""
    width = len(family.positions)
    rows = []
    for start in range(0, len(judged.cells), width):
        cells = judged.cells[start : start + width]
        pair = "-".join(cells[0].row.pair)
        rows.append([(pair, ""), *(_grid_cell(cell) for cell in cells)])
    print_grid(["pins", *family.headings(READS)], rows)
    for cell in judged.cells:
        if cell.outcome.result.value in ("fail", "undecided"):
            result = cell.outcome.result.value
            echo(f"{SIGN[result]} {cell.name}: {cell.outcome.reason}")
    word = judged.verdict.value
    echo(styled(f"Verdict: {word.upper()}", bold=True, fg=COLOUR.get(word, "red")))
    for reason in judged.reasons:
        echo(f"  {reason}")


def print_cautions(cautions: Sequence[str]) -> None:
    """Print cautions."""
    echo("Cautions:")
    for caution in cautions:
        echo(f"  {caution}")


def _reading_text(cell: "JudgedCell") -> str:
    return ", ".join(format_value(reading.value) for reading in cell.readings)


def _grid_cell(cell: "JudgedCell") -> tuple[str, str]:
    result = cell.outcome.result.value
    return f"{_reading_text(cell)} {SIGN[result]}{result}".strip(), result


def print_next(advice: "NextStep") -> None:
    """Print what to do next."""
    if isinstance(advice.action, Stop):
        echo(styled("Next: ", bold=True), f"stop; {advice.why}.")
        return
    wanted = advice.action
    lean = f", leaned toward {wanted.lean}" if wanted.lean else ""
    again = ", probes set anew" if wanted.again else ""
    lever = "" if wanted.position == AT_REST else f"lever in {wanted.position}{lean}, "
    what = f"{lever}read {'-'.join(wanted.pair)}{again}"
    echo(styled("Next: ", bold=True), f"{what} (about {advice.seconds:.0f} s).")
    echo(f"  {advice.why}")
