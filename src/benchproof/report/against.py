"""What stands against a part, for a paper: cells with the same reason together, no advice to read.

A proof that is closed is read no more: what its rules ask of whoever still reads it is left out.
"""

from collections.abc import Iterable

from benchproof.family.sentence import percent
from benchproof.proof.accept import RULES
from benchproof.report.language import Language, matched

_TEXT = {rule.name: rule.sentence.text for rule in RULES}
_FAILED = _TEXT["no-cell-fails"]
_UNDECIDED = _TEXT["no-cell-undecided"]
_UNSAFE = _TEXT["start-permit-open"]
_DOUBT = _TEXT["diagnosis-decided"]
_START = "accept has {accept}, a start in gear {hazard}"
_FINAL = tuple(rule.sentence.text for rule in RULES if not rule.overridable)


def against_lines(reasons: Iterable[str], words: Language) -> list[str]:
    """Return what stands against a part, in the paper's language.

    What nobody can answer for stands first, then the cells, each named once, then the rest.
    """
    first: list[str] = []
    rest: list[str] = []
    cells: dict[tuple[str, str], list[str]] = {}
    reasons = tuple(reasons)
    unsafe = {facts["cell"] for one in reasons if (facts := matched(_UNSAFE, one)) is not None}
    for reason in reasons:
        for text in (_FAILED, _UNDECIDED):
            facts = matched(text, reason)
            if facts is not None:
                if facts["cell"] not in unsafe:
                    cells.setdefault((text, facts["reason"]), []).append(facts["cell"])
                break
        else:
            final = any(matched(text, reason) is not None for text in _FINAL)
            (first if final else rest).append(_without_advice(reason, words))
    told = [_cells(text == _FAILED, why, names, words) for (text, why), names in cells.items()]
    return [*first, *told, *rest]


def _cells(failed: bool, why: str, names: list[str], words: Language) -> str:
    facts = {"cells": ", ".join(map(words.tell, names)), "reason": words.tell(why)}
    match failed, len(names):
        case True, 1:
            return words.say("{cells} fails: {reason}.", **facts)
        case False, 1:
            return words.say("{cells} is undecided: {reason}.", **facts)
        case True, many:
            return words.say("{count} cells fail, {cells}: {reason}.", count=str(many), **facts)
        case _, many:
            return words.say(
                "{count} cells are undecided, {cells}: {reason}.", count=str(many), **facts
            )


def _without_advice(reason: str, words: Language) -> str:
    facts = matched(_DOUBT, reason)
    if facts is None:
        return words.tell(reason)
    if (start := matched(_START, facts["doubt"])) is None:
        doubt = words.tell(facts["doubt"])
    else:
        doubt = words.say(
            _START,
            accept=words.tell(start["accept"]),
            hazard=words.tell(_share(start["hazard"])),
        )
    return words.say("The diagnosis leaves a doubt: {doubt}.", doubt=doubt)


def _share(hazard: str) -> str:
    """Return a probability that the rules tell as a bare number as a person reads it."""
    try:
        return percent(float(hazard))
    except ValueError:
        return hazard
