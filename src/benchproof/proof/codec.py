"""Events as they are stored: as canonical JSON, one line, and the files that each names.

The same event is the same bytes.
"""

import re
from typing import Any

import msgspec

from benchproof.family.sentence import one_line, quoted
from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Closed,
    EdgeFound,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    OffsetMeasured,
    Opened,
    OtherProof,
    Photographed,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    SweepTaken,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.problems import ProofProblem

_KINDS: dict[str, type[Event]] = {
    "opened": Opened,
    "bench chosen": BenchChosen,
    "meter chosen": MeterChosen,
    "lever at": LeverAt,
    "reading": ReadingTaken,
    "edge found": EdgeFound,
    "offset measured": OffsetMeasured,
    "sweep": SweepTaken,
    "reading withdrawn": ReadingWithdrawn,
    "body turned": BodyTurned,
    "turn taken back": TurnTakenBack,
    "work done": WorkDone,
    "other proof": OtherProof,
    "photograph": Photographed,
    "remark": Remarked,
    "inspection": InspectionNoted,
    "gear checked": GearChecked,
    "closed": Closed,
}
_ADDED = (
    "part_c", "part_c_u", "pressure_kpa", "pressure_kpa_u", "supply_v", "supply_v_u",
    "checked", "graded",
)  # fmt: skip
"""What came later to events that were there before. Where it is not told nothing is written, so
that such an event is the same bytes as ever."""
_NAMES = {kind: name for name, kind in _KINDS.items()}


def kind_of(event: Event) -> str:
    """Return what a person calls a kind of event: "reading", "body turned"."""
    return _NAMES[type(event)]


def encode(event: Event) -> bytes:
    """Return an event as one line of JSON in UTF-8, its keys sorted.

    Raises
    ------
    ProofProblem
        If it holds what could not be read back: a text too long, no date, a number that is none.

    Examples
    --------
    >>> encode(Remarked("2026-03-02T14:05:09+01:00", "ab", "pins bright"))
    b'{"at":"2026-03-02T14:05:09+01:00","by":"ab","event":"remark","text":"pins bright"}'
    """
    told = msgspec.to_builtins(event)
    kept = {key: value for key, value in told.items() if value is not None or key not in _ADDED}
    shaped = {"event": kind_of(event), **kept}
    try:
        payload = msgspec.json.encode(shaped, order="sorted")
    except UnicodeEncodeError:
        raise ProofProblem(
            f"This {kind_of(event)} holds characters that cannot be kept; type it again."
        ) from None
    if decode(payload) != event:
        raise ProofProblem(f"This {kind_of(event)} holds a number that is none; type it again.")
    return payload


def decode(payload: bytes) -> Event:
    """Return the event that bytes hold.

    Raises
    ------
    ProofProblem
        If they hold none, or one that only a newer program understands.
    """
    try:
        shaped = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        raise ProofProblem(
            "An event of this proof is damaged: it is not JSON; check the store, or take a backup."
        ) from None
    name = shaped.pop("event", None) if isinstance(shaped, dict) else None
    if not isinstance(name, str):
        raise ProofProblem(
            "An event of this proof is damaged: it has no kind; check the store, or take a backup."
        )
    kind = _KINDS.get(name)
    unknown = sorted(set(shaped) - set(kind.__dataclass_fields__)) if kind else [name]
    if kind is None or unknown:
        raise ProofProblem(
            f"An event of this proof holds {quoted(unknown[0])}, which this version does not know; "
            "a newer benchproof wrote it: update this one."
        )
    return _shaped(shaped, kind, name)


def _shaped(shaped: dict[str, Any], kind: type[Event], name: str) -> Event:
    try:
        return msgspec.convert(shaped, kind)
    except msgspec.ValidationError as error:
        raise ProofProblem(f"This {name} cannot be kept or read: {_told(f'{error}')}.") from None


_WHY = (
    (r"of length <= (\d+) - at `\$\.(\w+)`", r"its \2 is longer than \1 letters; shorten it"),
    (r"of length >= 1 - at `\$\.(\w+)`", r"its \1 is empty; type it"),
    (r"matching regex .* - at `\$\.(at|calibrated_on|due_on)`", r"its \1 is no date or time"),
    (r"Expected `(?:float|int)` (>=|<=|>|<) (\S+) - at `\$\.(\w+)`", r"its \3 must be \1 \2"),
    (r"missing required field `(\w+)`", r"its \1 is missing"),
)
"""What the validation says, and what a person is told."""


def _told(text: str) -> str:
    for pattern, told in _WHY:
        if found := re.search(pattern, text):
            return found.expand(told)
    return one_line(text)


def files_of(event: Event) -> tuple[str, ...]:
    """Return the hashes of the files that an event cannot be understood without."""
    match event:
        case Opened():
            own = (event.family_file, event.priors_file, event.meter_file, event.bench_file)
            return (*own, *(hash_ for _, hash_ in event.library))
        case BenchChosen() | MeterChosen():
            return (event.file,)
        case SweepTaken():
            return (event.file, *([event.meter_file] if event.meter_file else []))
        case _:
            return ()
