"""What a person says of a family that its chart does not tell, and how it is kept with it."""

from collections.abc import Sequence

from benchproof.conduct.charttext import family_file, said_table
from benchproof.family.audit.rules import unfit
from benchproof.family.files import is_family_file
from benchproof.family.model import Family, Role, same_pair
from benchproof.family.names import match_name, match_pair, parse_role
from benchproof.family.problems import BadFile, Problem
from benchproof.family.roles import Answers, answered
from benchproof.family.safety import safety_of
from benchproof.family.sentence import quoted

PROPOSED = "proposed"
"""Takes everything as we propose it."""
_KINDS = ("park", "neutral", "reverse")
MEND = "Mend the chart, or write why it is right."
_FORWARD = ("drive", "forward", "gear")


def understood(family: Family, said: Sequence[str]) -> Answers:
    """Return what somebody said of a family.

    Parameters
    ----------
    family : Family
        A family with a completed chart.
    said : sequence of str
        ``proposed``; ``NAME=park`` (or neutral, reverse, drive) of a position; ``A-B=ROLE`` of a
        pair; ``start permit=none``; ``chart=REASON`` for a start permit that is charted to conduct
        in gear.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    if said and not family.lever:
        raise ValueError(
            f"{family.name} has no lever, so nothing is asked of its positions and pairs; leave it "
            "out"
        )
    found = safety_of(family).answers if PROPOSED in map(str.casefold, said) else Answers()
    kinds = {kind: list(getattr(found, kind) or getattr(family, kind)) for kind in _KINDS}
    roles = dict(found.roles)
    none, reason, placed = False, "", found.tells_positions
    for text in said:
        if text.casefold() == PROPOSED:
            continue
        what, equals, how = (part.strip() for part in text.partition("="))
        if not equals or not what or not how:
            raise ValueError(
                f"{quoted(text)} says nothing; say proposed, NAME=park, A-B='start permit' or "
                "'start permit=none'"
            )
        if what.casefold() == "start permit":
            none = _none(how)
        elif what.casefold() == "chart":
            reason = how
        elif how.casefold() in (*_KINDS, *_FORWARD):
            name = match_name(what, family.positions, "position")
            placed = True
            for names in kinds.values():
                if name in names:
                    names.remove(name)
            if how.casefold() in kinds:
                kinds[how.casefold()].append(name)
        else:
            roles[same_pair(match_pair(what, family.pin_names))] = _role(how)
    if none:
        # Said of the whole chart, it holds of every pair that we took for one.
        roles = {p: Role.OTHER if r is Role.START_PERMIT else r for p, r in roles.items()}
    park, neutral, reverse = (
        tuple(name for name in family.positions if name in kinds[kind]) for kind in _KINDS
    )
    if not placed:
        return Answers(roles=roles, no_start_permit=none, permit_reason=reason)
    return Answers(park, neutral, reverse, roles, none, reason)


def _none(how: str) -> bool:
    if how.casefold() != "none":
        raise ValueError(
            f"'start permit={how}' is not understood; name the pair as A-B='start permit', or say "
            "'start permit=none'"
        )
    return True


def _role(how: str) -> Role:
    role = parse_role(how)
    return Role.OTHER if role is Role.UNTOLD else role


class NotTold(BadFile):
    """Something that a family does not tell stands against proving a part of it."""


def settled(content: bytes, family: Family, said: Sequence[str] = ()) -> bytes:
    """Return a family's file with what somebody said of it, once nothing more is to be asked.

    Parameters
    ----------
    content : bytes
        The family file, or a chart.
    family : Family
        What was read from it, its chart completed.
    said : sequence of str
        As of `understood`.

    Raises
    ------
    NotTold
        If a question is open, or the start permit is charted to conduct in gear and nobody wrote
        why that is right.
    ValueError
        If what was said is not understood.
    """
    if said:
        answers = understood(family, said)
        content, family = kept(content, family, answers), answered(family, answers)
    asked = [
        Problem("", f"{one.sentence} We propose: {', '.join(one.proposal) or 'nothing'}.")
        for one in safety_of(family).questions
    ]
    wrong = [Problem(one.place, f"{one.sentence} {MEND}") for one in unfit(family)]
    if asked or wrong:
        raise NotTold(family.name, [*asked, *wrong])
    return content


def kept(content: bytes, family: Family, answers: Answers) -> bytes:
    """Return a family's file with what somebody said of it, to be read again with it.

    Parameters
    ----------
    content : bytes
        The family file, or a chart.
    family : Family
        What was read from it.
    answers : Answers
        What was said.
    """
    if not is_family_file(content):
        return family_file(answered(family, answers), family.note).encode()
    lines = content.decode("utf-8-sig").rstrip("\n").split("\n")
    if "[said]" in (line.strip() for line in lines):
        start = [line.strip() for line in lines].index("[said]")
        lines = lines[:start]
    return ("\n".join(lines).rstrip("\n") + "\n\n" + said_table(answered(family, answers))).encode()
