"""The rule table: what the controller sees, and what the vehicle then does.

A shop adds rows of its own in its family file (`[[consequences]]`, docs/family.md). They are added
to these, never put in their place, so no file can lower a hazard.
"""

from benchproof.family.danger import LAMP_RULE, SHOWN_RULE, STARTER_RULE, Signal
from benchproof.family.model import GROUPS, READ_WORDS, Consequence, Family, Grade, Where
from benchproof.foretell.controller import Level, Read, ReadKind, SeenByController

GEAR = ("forward", "reverse")
FREE = ("park", "neutral")
ANOTHER = READ_WORDS[0]

RULES = (
    Consequence(
        "start-in-gear",
        Grade.HAZARD,
        "The starter can turn {where}, with a drive range engaged: the engine can be cranked in "
        "gear and the vehicle move.",
        engaged=GEAR,
        start="on",
        where=Where.ANYWHERE,
        cite=STARTER_RULE,
    ),
    Consequence(
        "reverse-dark",
        Grade.HAZARD,
        "The reverse lamps stay dark {where}: nobody behind is warned that the vehicle backs.",
        engaged=("reverse",),
        reverse="off",
        cite=LAMP_RULE,
    ),
    Consequence(
        "reverse-lit-forward",
        Grade.HAZARD,
        "The reverse lamps are lit {where}: those behind are misled.",
        engaged=("forward",),
        reverse="on",
        cite=LAMP_RULE,
    ),
    Consequence(
        "free-shown-in-gear",
        Grade.HAZARD,
        "The controller takes the lever to be in {read} {where}, with a drive range engaged: the "
        "display misleads, and whatever is allowed in park or neutral only is allowed in gear.",
        engaged=GEAR,
        read=FREE,
        where=Where.ANYWHERE,
        cite=SHOWN_RULE,
        code="P0705 or P0706",
    ),
    Consequence(
        "no-start",
        Grade.DRIVABILITY,
        "The starter does not turn {where}.",
        engaged=FREE,
        start="off",
    ),
    Consequence(
        "gear-read-free",
        Grade.DRIVABILITY,
        "The controller reads {read} {where}, where nothing is engaged: it may refuse the start, "
        "raise the idle or the pressure, or engage harshly.",
        engaged=FREE,
        read=GEAR,
        code="P0705 or P0706",
    ),
    Consequence(
        "free-read-free",
        Grade.NUISANCE,
        "The controller takes park for neutral or neutral for park {where} (it reads {read}): the "
        "display is wrong, and a lock that needs park may stay shut.",
        engaged=FREE,
        read=FREE,
        where=Where.ANYWHERE,
        code="P0706",
    ),
    Consequence(
        "another-range",
        Grade.DRIVABILITY,
        "The controller reads {read} {where}: wrong shift pattern, wrong pressure, or a start in "
        "the wrong gear.",
        engaged=GEAR,
        read=GEAR,
        code="P0705 or P0706",
    ),
    Consequence(
        "no-code",
        Grade.DRIVABILITY,
        "The controller reads no valid code {where}: many hold one gear and full pressure until "
        "the engine is started again.",
        read=("no valid code",),
        code="P0705",
    ),
    Consequence(
        "level-low",
        Grade.DRIVABILITY,
        "The range level is below every position's {where}: many hold one gear and full pressure.",
        read=("level too low",),
        code="P0707",
    ),
    Consequence(
        "level-high",
        Grade.DRIVABILITY,
        "The range level is above every position's {where}: many hold one gear and full pressure.",
        read=("level too high",),
        code="P0708",
    ),
    Consequence(
        "transit-at-rest",
        Grade.DRIVABILITY,
        "The controller takes the lever to be between positions {where}: it keeps the last range "
        "or waits, then may set a code.",
        read=("transit",),
        code="P0706",
    ),
    Consequence(
        "reverse-lit-free",
        Grade.NUISANCE,
        "The reverse lamps are lit {where}.",
        engaged=FREE,
        reverse="on",
    ),
    Consequence(
        "flash-of-another",
        Grade.NUISANCE,
        "The controller reads {read} for a moment {where}.",
        read=GEAR,
        where=Where.BETWEEN,
        code="P0706 or P0709",
    ),
)
"""What is foretold of any family. Drivability and nuisance are common practice, no source."""

CODES = (
    "Trouble-code families are those of the open standard (SAE J2012, ISO 15031-6): P0705 range "
    "sensor circuit, P0706 range or performance, P0707 low input, P0708 high input, P0709 "
    "intermittent. Wording and use vary by edition and by maker."
)

_GRADES = tuple(Grade)


def signal_of(rule: Consequence) -> Signal | None:
    """Return the signal word of a consequence; None for one that hurts nobody."""
    if rule.grade is not Grade.HAZARD:
        return None
    in_gear = not rule.engaged or any(name not in FREE for name in rule.engaged)
    return Signal.DANGER if rule.start == "on" and in_gear else Signal.WARNING


def rules_of(family: Family) -> tuple[Consequence, ...]:
    """Return the rules that apply to a family, worst first: these and the shop's."""
    return tuple(sorted((*RULES, *family.consequences), key=lambda rule: _GRADES.index(rule.grade)))


def holds(
    rule: Consequence, family: Family, seen: SeenByController, engaged: str, beside: str = ""
) -> tuple[bool, bool]:
    """Return whether what is seen may bring a rule's consequence about, and whether it must.

    Parameters
    ----------
    rule : Consequence
        The rule; where the lever stands is left aside.
    family : Family
        The kind of part.
    seen : SeenByController
        What the controller sees.
    engaged : str
        The position engaged.
    beside : str
        Between detents, the position on the other side; empty in a detent.
    """
    if not applies(rule, family, engaged):
        return False, False
    may = must = True
    for wanted, level in ((rule.start, seen.start), (rule.reverse, seen.reverse)):
        if wanted:
            may &= level in (Level(wanted), Level.WEAK)
            must &= level is Level(wanted)
    if rule.read:
        matches = [names_read(rule, family, read, engaged, beside) for read in seen.reads]
        may &= any(matches)
        must &= bool(matches) and all(matches)
    return may, may and must


def matching(
    rule: Consequence, family: Family, seen: SeenByController, engaged: str, beside: str
) -> tuple[Read, ...]:
    """Return which of what is read a rule is about."""
    return tuple(r for r in seen.reads if names_read(rule, family, r, engaged, beside))


def applies(rule: Consequence, family: Family, engaged: str) -> bool:
    """Return whether a rule is about the position engaged."""
    named = [_positions(family, name) for name in rule.engaged]
    return not rule.engaged or any(engaged in positions for positions in named)


def _positions(family: Family, name: str) -> tuple[str, ...]:
    return family.group(name) if name in GROUPS else (name,)


def names_read(
    rule: Consequence, family: Family, read: Read, engaged: str, beside: str = ""
) -> bool:
    """Return whether a read is one of those a rule names.

    The range engaged is no consequence; nor, between two detents, is either of the two, for where
    the one gives way to the other is known only roughly.
    """
    if engaged in read.positions or beside in read.positions:
        return False
    for name in rule.read:
        if name == ANOTHER and read.kind is ReadKind.RANGE:
            return True
        if name == read.kind or any(p in _positions(family, name) for p in read.positions):
            return True
    return False
