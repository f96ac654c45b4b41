"""A danger: the one value that every view of a part shows first, and what the rules say of it.

Signal words after ANSI Z535.4-2007, 4.14, as quoted in public works: DANGER will, if not avoided,
WARNING could kill or injure seriously, CAUTION could injure lightly. We say DANGER of a start in
gear alone, WARNING of lamps and wrong ranges.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

STARTER_RULE = "49 CFR 571.102 S3.1.3, road vehicles; local rules govern"
LAMP_RULE = "49 CFR 571.108 Table I-a; local rules govern"
ORDER_RULE = "49 CFR 571.102 S3.1.1, passenger cars only; local rules govern"
SHOWN_RULE = "49 CFR 571.102 S3.1.4; local rules govern"
COVERED = (
    "49 CFR 571.102 does not cover farm and construction machines; a start in gear harms as much "
    "there."
)
DUTY = (
    "A repair business may not knowingly make inoperative what a safety standard required "
    "(49 USC 30122; local rules govern)."
)


LOCAL_RULE = "local rules govern"
_OF_ROADS = (STARTER_RULE, LAMP_RULE, ORDER_RULE, SHOWN_RULE)


def cited(sentence: str, machine: str) -> str:
    """Return a sentence without the rules that do not cover a machine.

    Examples
    --------
    >>> cited(f"it must stay still ({STARTER_RULE}).", "farm")
    'it must stay still (local rules govern).'
    """
    if machine == "farm":
        for rule in _OF_ROADS:
            sentence = sentence.replace(rule, LOCAL_RULE)
    return sentence


class Signal(StrEnum):
    """How bad it is, worst first."""

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"


@dataclass(frozen=True)
class Danger:
    """What could hurt somebody.

    Attributes
    ----------
    signal : Signal
        How bad it is.
    rule : str
        Which rule it breaks, such as ``start-in-gear``.
    sentence : str
        What is wrong, what can come of it and what to do.
    cells : tuple of str
        The cells it was seen in, as "G-H in D"; empty where it is foretold only.
    probability : float or None
        How likely it is; None where a reading shows it.
    check_first : str
        What is likelier wrong than the part, and to be looked at first; empty if the part is.
    """

    signal: Signal
    rule: str
    sentence: str
    cells: tuple[str, ...] = ()
    probability: float | None = None
    check_first: str = ""

    def __str__(self) -> str:
        """In one line, the signal word first."""
        return f"{self.signal}: {' '.join(filter(None, (self.sentence, self.check_first)))}"


def notes_on(dangers: Sequence[Danger]) -> tuple[str, ...]:
    """Return what goes with dangers: what the rules named in them cover, and whose duty it is."""
    return (COVERED, DUTY) if any(one.signal is Signal.DANGER for one in dangers) else ()


def in_order(dangers: list[Danger]) -> tuple[Danger, ...]:
    """Return dangers worst first, otherwise as they came, each once."""
    order = list(Signal)
    return tuple(sorted(dict.fromkeys(dangers), key=lambda one: order.index(one.signal)))
