"""A chart while it is being typed: read, audited, corrected, and written as a family file."""

from dataclasses import dataclass, replace

from benchproof.conduct.charttext import chart_text, family_file, table_text
from benchproof.conduct.families import read
from benchproof.conduct.familyanswers import kept
from benchproof.conduct.readapart import read_apart
from benchproof.family import limits
from benchproof.family.audit.finding import Finding
from benchproof.family.audit.misprint import Correction, corrected, corrections
from benchproof.family.audit.rules import unfit, unusable
from benchproof.family.files import is_family_file
from benchproof.family.model import Family, pair_text
from benchproof.family.problems import BadFile, Problem, TooLarge
from benchproof.family.roles import Answers, answered
from benchproof.family.safety import Question, safety_of
from benchproof.family.sheet import is_workbook, read_sheet
from benchproof.network.audit import audit_family

MOST_CELLS_TRIED = 1200
"""Of a larger chart no misprint is searched while it is typed: each cell would be tried."""


@dataclass(frozen=True)
class Checked:
    """A typed chart and what is to be said of it.

    Attributes
    ----------
    family : Family or None
        None if it cannot be read.
    problems : tuple of Problem
        Why it cannot.
    findings : tuple of Finding
        What the audit found, errors first.
    corrections : tuple of Correction
        Single cells that may be misprints.
    usable : bool
        Whether parts can be judged by it.
    questions : tuple of Question
        What nobody has said of it, and without which nothing is accepted.
    unfit : tuple of Finding
        Mistakes with which no part can be proved against it.
    """

    family: Family | None
    problems: tuple[Problem, ...] = ()
    findings: tuple[Finding, ...] = ()
    corrections: tuple[Correction, ...] = ()
    usable: bool = False
    questions: tuple[Question, ...] = ()
    unfit: tuple[Finding, ...] = ()


def checked(text: str, name: str) -> Checked:
    """Read and audit a chart as it is typed or pasted: a table, or a family file.

    Parameters
    ----------
    text : str
        The first row `pins, P, R, N, ...`, then one row a pair; tabs, commas or semicolons part
        the cells.
    name : str
        What the family is called.
    """
    if not text.strip():
        return Checked(None)
    try:
        family = read(text.encode("utf-8", "replace"), name or "chart")
        findings = tuple(audit_family(family))
    except BadFile as error:
        return Checked(None, error.problems)
    except TooLarge as error:
        return Checked(None, (Problem("", str(error)),))
    few = len(family.chart) * len(family.positions) <= MOST_CELLS_TRIED
    found = tuple(corrections(family)) if few else ()
    return Checked(
        family,
        (),
        findings,
        found,
        not unusable(family),
        safety_of(family).questions,
        tuple(unfit(family)),
    )


def correct(text: str, name: str, pair: str, position: str, instead: str) -> str:
    """Return a typed chart with one of its suggested corrections made; as it is if none fits."""
    now = checked(text, name)
    for one in now.corrections:
        if now.family is not None and (pair, position, instead) == told(now.family, one):
            return chart_text(corrected(now.family, one))
    return text


def with_answers(text: str, name: str, answers: Answers) -> str:
    """Return a typed chart with what somebody said of it; as it is if it cannot be read.

    A reason why a start permit that conducts in gear is right stands in a family file only.
    """
    family = checked(text, name).family
    if family is None:
        return text
    if is_family_file(text.encode()):
        return kept(text.encode(), family, answers).decode()
    said = answered(family, answers)
    return family_file(said) if said.permit_reason else chart_text(said)


def told(family: Family, correction: Correction) -> tuple[str, str, str]:
    """Return a correction's pair, position and what it would be, as texts."""
    row = family.chart[correction.row]
    position = family.positions[correction.position]
    return pair_text(row.pair), position, str(correction.instead)


def text_of(content: bytes, name: str) -> str:
    """Return a file as text that can be edited: a workbook as a table, anything else as it is.

    Raises
    ------
    BadFile
        If it is neither text nor a workbook.
    """
    from benchproof.family.sheet import decode_text

    limits.FILE_BYTES.check(len(content), name)
    if not is_workbook(content):
        return decode_text(content, name).replace("\r\n", "\n")
    return read_apart(_text_of_workbook, content, name)


def _text_of_workbook(content: bytes, name: str) -> str:
    return table_text([[cell.text for cell in row] for row in read_sheet(content, name).rows])


def renamed(family: Family, name: str) -> Family:
    """Return a family under another name."""
    return replace(family, name=name)
