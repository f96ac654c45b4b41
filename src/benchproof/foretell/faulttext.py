"""A fault as a person states it: "contact stuck closed at A-E", "pin open at A", "leak at A-B"."""

import re
from dataclasses import replace

from benchproof.family.branches import CASE
from benchproof.family.model import Family, pair_text, same_pair
from benchproof.family.names import match_name, match_pair
from benchproof.family.ohms import parse_ohms
from benchproof.family.sentence import did_you_mean, quoted
from benchproof.network.faultkind import FaultKind, SizeUnit
from benchproof.network.faults import FAULT_KINDS, Fault, PartFault, single_faults

STATED = tuple(
    kind for kind in FAULT_KINDS if kind not in (PartFault.DETENT_PLAY, PartFault.OTHER_FAMILY)
)
"""The kinds that can be stated; play and another family are no state of this part."""
MOST_FACTOR = 1000.0
_LEVER = {"early": -1.0, "late": 1.0}
_AT = re.compile(r"(?P<kind>.+?)\s+(?:at|of|between)\s+(?P<at>.+)", re.I)
_SIZE = re.compile(r"(?P<at>.+?)[\s,]+of\s+(?P<size>.+)", re.I)
# "to" may part two pins too, so what follows must be a number.
_FACTOR = re.compile(r"(?P<at>.+?)[\s,]+to\s+(?P<size>[\d.,]+)", re.I)


def parse_fault(text: str, family: Family) -> Fault:
    """Read a fault as a person states it.

    Parameters
    ----------
    text : str
        Kind and place, such as ``contact open at A-E``, ``leak at A-B of 2 kohm``,
        ``resistor drifted at n1-n2 to 1.6``, ``pins swapped at A-B``, ``pin open at A``,
        ``lever early``, ``lever late``. A size that is left out is a middling one.
    family : Family
        A family with its geometry.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    word = " ".join(text.split())
    lever = re.fullmatch(r"lever(?: off)?(?: (?:one|1) detent)? (early|late)", word, re.I)
    if lever:
        return Fault(PartFault.LEVER_OFF, size=_LEVER[lever[1].casefold()])
    found = _AT.fullmatch(word)
    kinds = {kind.value: kind for kind in STATED if kind is not PartFault.LEVER_OFF}
    if not found:
        raise ValueError(
            f"{quoted(text)} is no fault; type a kind and a place, such as 'contact open at A-E', "
            f"'leak at A-B of 2 kohm' or 'lever early'; kinds are {', '.join(kinds)}"
        )
    kind = kinds.get(found["kind"].casefold())
    if kind is None:
        raise ValueError(
            f"{quoted(found['kind'])} is no kind of fault; "
            f"{did_you_mean(found['kind'].casefold(), kinds)}"
        )
    form = _FACTOR if kind.sizes and kind.sizes.unit is SizeUnit.FACTOR else _SIZE
    sized = form.fullmatch(found["at"])
    if sized is None:
        return _placed(kind, found["at"], family)
    return _sized(_placed(kind, sized["at"], family), sized["size"])


def _placed(kind: FaultKind, at: str, family: Family) -> Fault:
    """Return a fault of a kind in a place, of a middling size where it has one."""
    if kind is PartFault.PIN_OPEN:
        return Fault(kind, (match_name(at, family.terminals, "pin"),))
    inner = () if isinstance(kind, PartFault) else family.inner
    pair = match_pair(at, [*family.pin_names, *inner], "pin or inner node")
    if kind is PartFault.PINS_SWAPPED and CASE in pair:
        raise ValueError("the case is no pin, so it cannot be swapped with one")
    possible = [fault for fault in single_faults(family) if fault.kind is kind]
    here = [fault for fault in possible if same_pair((fault.at[0], fault.at[1])) == same_pair(pair)]
    if not here:
        places = dict.fromkeys("-".join(fault.at) for fault in possible)
        raise ValueError(
            f"no {kind.value} is possible at {pair_text(pair)}; {did_you_mean(at, places)}"
        )
    return here[len(here) // 2 if len({fault.branch for fault in here}) == 1 else 0]


def _sized(fault: Fault, size: str) -> Fault:
    match fault.kind.sizes and fault.kind.sizes.unit:
        case SizeUnit.OHMS:
            try:
                ohm = parse_ohms(size).ohm
            except ValueError as error:
                raise ValueError(f"{quoted(size)} {error}") from None
            if ohm <= 0.0:
                raise ValueError(f"{quoted(size)} is not above zero; give a small resistance")
            return replace(fault, size=ohm)
        case SizeUnit.FACTOR:
            try:
                factor = float(size.replace(",", "."))
            except ValueError:
                factor = 0.0
            if not 1.0 / MOST_FACTOR <= factor <= MOST_FACTOR:
                raise ValueError(
                    f"{quoted(size)} is no factor of a resistance; type such as 0.6 or 1.6"
                )
            return replace(fault, size=factor)
        case _:
            raise ValueError(f"a {fault.kind.value} has no size; leave {quoted(size)} out")
