"""What is found beside readings, typed at the prompt of a proof: edges, offsets, sweeps."""

from pathlib import Path

from benchproof.cli.output import echo
from benchproof.cli.prooffound import sweep_bytes
from benchproof.conduct.finding import TypedEdge, note_edge, note_offset, take_sweep
from benchproof.conduct.work import Work
from benchproof.family.problems import BadFile, TooLarge
from benchproof.family.sentence import quoted
from benchproof.proof.cautions import BEFORE_FINDING
from benchproof.proof.events import EdgeFound, OffsetMeasured, SweepTaken
from benchproof.proof.problems import ProofProblem
from benchproof.reading.quantity import parse_quantity

_EDGE_WORDS = 6


def type_edge(work: Work, by: str, rest: str) -> bool:
    """Record an edge: position, pair, angle, its uncertainty, what is read below and above."""
    work.state.check(EdgeFound)
    echo(f"! {BEFORE_FINDING}")
    parts = rest.split()
    if len(parts) != _EDGE_WORDS:
        raise ProofProblem(
            "Type position, pair, angle, its standard uncertainty, and what is read below and "
            "above it, such as 'edge N G-H 3.2 0.2 0.1 OL'."
        )
    position, pair, angle, u, below, above = parts
    typed = TypedEdge(position, pair, number_typed(angle), number_typed(u), below, above)
    echo(note_edge(work, by, typed))
    return True


def type_offset(work: Work, by: str, rest: str) -> bool:
    """Record an offset: how much, its standard uncertainty, and what it was measured by."""
    work.state.check(OffsetMeasured)
    parts = rest.split(maxsplit=2)
    if len(parts) < 2:
        raise ProofProblem(
            "Type the offset and its standard uncertainty, such as 'offset 1.4 0.2 the marks'."
        )
    how = parts[2] if len(parts) > 2 else ""
    echo(note_offset(work, by, number_typed(parts[0]), number_typed(parts[1]), how))
    return True


def type_sweep(work: Work, by: str, rest: str) -> bool:
    """Record a sweep from a file."""
    work.state.check(SweepTaken)
    echo(f"! {BEFORE_FINDING}")
    if not rest:
        raise ProofProblem("Type the sweep's file, such as 'sweep sweep.csv'.")
    try:
        echo(take_sweep(work, by, sweep_bytes(rest), Path(rest).name))
    except (BadFile, TooLarge, OSError) as problem:
        # At the prompt a file that cannot be read ends nothing.
        raise ProofProblem(f"{problem}") from None
    return True


def number_typed(text: str, unit: str = "deg") -> float:
    """Return a number as it was typed, in a unit; errors as of what it is typed for."""
    try:
        return parse_quantity(text, unit)
    except ValueError as error:
        raise ProofProblem(f"{quoted(text)} {error}.") from None
