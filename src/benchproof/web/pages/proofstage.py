"""What the proof screen shows of a proof: computed once after each event, for all its screens."""

from collections import OrderedDict
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from benchproof.align.toturn import ToTurn, to_turn
from benchproof.align.window import Window, shape_of, window_of
from benchproof.examine.ground import Basis
from benchproof.examine.policy import seconds_left
from benchproof.family.expectation import Kind
from benchproof.family.model import READS, pair_text, same_pair
from benchproof.family.problems import BadFile, TooLarge
from benchproof.judge.cell import JudgedCell, Result
from benchproof.plan.actions import TakeReading
from benchproof.proof.cautions import BEFORE_HOOK_UP
from benchproof.proof.cellstory import cell_of
from benchproof.proof.closing import outcome_of
from benchproof.proof.events import ProofOutcome, ReadingWithdrawn
from benchproof.reading.warmth import growth_of
from benchproof.report.familyfigures import strip_of
from benchproof.report.judgedchart import With, value_text
from benchproof.report.layout import Rest
from benchproof.report.strip import Picture
from benchproof.report.turndial import TurnDial, draw_turn_dial
from benchproof.web.pages.proofcell import Place, place_of, short
from benchproof.web.pages.proofshow import pictures_of
from benchproof.web.rendering import fragment

if TYPE_CHECKING:
    from benchproof.conduct.work import ProofStanding
    from benchproof.diagnose.verdict import Claim, Diagnosis
    from benchproof.proof.setting import Setting
    from benchproof.proof.state import State

MOST_DRAWN = 40
"""A strip of more pairs than these nobody reads on a screen."""
MOST_FAULTS, MOST_EVIDENCE = 3, 2
MOST_LETTERS = 240
"""A longer sentence is cut here on the screen; the whole of it is one press away."""
WORTH_TELLING = 0.005
"""Verdicts and hazards less likely than this are not shown."""
WITHOUT_EVIDENCE = 0.015
"""Faults without evidence are shown from this probability on."""
MOST_KEPT = 24


@dataclass(frozen=True)
class AskedReading:
    """The reading that is asked for.

    Attributes
    ----------
    action : TakeReading
    pins : str
    expected : str
        What the chart wants there; empty if it says nothing.
    """

    action: TakeReading
    pins: str
    expected: str


@dataclass(frozen=True)
class Last:
    """What came last.

    Attributes
    ----------
    seq : int
        Its number among the events.
    name, value : str
        Its cell, and what was read.
    result : str
        What it is by itself; empty if the chart says nothing of it.
    reason : str
        What became of its cell, and why.
    tone : str
        What it sounds like.
    place : Place or None
        Its cell; None of an edge, offset or sweep.
    """

    seq: int
    name: str
    value: str
    result: str
    reason: str
    tone: str
    place: Place | None = None


@dataclass(frozen=True)
class Square:
    """A cell of the chart on the screen: its result, the reading that decides, what is wanted."""

    result: str
    text: str
    expected: str
    is_next: bool
    where: str


@dataclass(frozen=True)
class Line:
    """A row of the chart on the screen."""

    pins: str
    role: str
    squares: tuple[Square, ...]


@dataclass(frozen=True)
class LikelyFault:
    """A likely fault: its probability, what else looks the same, and what speaks for it."""

    told: str
    probability: float
    tied: int
    evidence: tuple[str, ...]


class Stages:
    """The stages of the proofs that are on screens, each drawn once.

    What a proof shows depends on its events alone, and the hash of the last of them names them all.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: OrderedDict[str, tuple[Lock, list[str]]] = OrderedDict()

    def html(self, standing: "ProofStanding") -> str:
        """Return the HTML of a proof's stage."""
        with self._lock:
            lock, kept = self._kept.setdefault(standing.hash, (Lock(), []))
            self._kept.move_to_end(standing.hash)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        with lock:
            if not kept:
                kept.append(fragment("proofstage.html", **stage(standing)))
            return kept[0]


STAGES = Stages()


def stage(standing: "ProofStanding") -> dict[str, Any]:
    """Return what the template of the stage takes."""
    state = standing.state
    left, turned = state.as_left, len(state.settings) > 1
    asked = asked_of(state)
    cautions = state.cautions
    first = not any(one.taken for one in state.settings)
    seconds = seconds_left(left.examination.standing, state.next)
    outcome = None if state.closed else outcome_of(state)
    turn = turn_of(state) if outcome is ProofOutcome.REALIGN else None
    known = left.learned
    return {
        "tag": standing.tag,
        "state": state,
        "step": asked,
        "show": pictures_of(state, asked.action) if asked else None,
        "last": last_of(state),
        "undo": undoable(state),
        "unturn": turn_to_take_back(state),
        "lever": state.ground.family.lever,
        "positions": state.ground.family.headings(READS),
        "lines": lines_of(state, left, asked),
        "found_lines": lines_of(state, state.as_found, None) if turned else (),
        "read": sum(cell.outcome.result is not Result.MISSING for cell in left.judgement.cells),
        "all_cells": len(left.judgement.cells),
        "dangers": state.dangers,
        "hook_up": BEFORE_HOOK_UP if first and asked else "",
        "cautions": [one for one in cautions if not (first and one == BEFORE_HOOK_UP)],
        "seconds_left": seconds,
        "outcome": outcome,
        "likeliest": left.likeliest,
        "turn": turn,
        "dial": turn_drawn(turn) if turn else "",
        "is_read": known is not None or left.diagnosis is None,
        **belief_of(known),
        "seen": () if left.diagnosis is None else left.diagnosis.seen,
        "unit": _unit(left.diagnosis),
        "strip": strip_drawn(state, left),
    }


def asked_of(state: "State") -> AskedReading | None:
    """Return the reading that is asked for; None if none is."""
    action = state.next.action
    if not isinstance(action, TakeReading):
        return None
    cell = cell_of(state.as_left, action.position, action.pair)
    expected = "" if cell is None or action.lean else cell.expectation.shown
    if cell is not None and cell.expectation.kind is Kind.ANY:
        expected = "anything"
    return AskedReading(action, pair_text(action.pair), expected)


def last_of(state: "State") -> Last | None:
    """Return what came last in this setting of the body; None if nothing did."""
    left = state.as_left
    if left.noted and left.noted[-1].seq == left.last:
        found = left.noted[-1]
        return Last(found.seq, found.name, found.short, "", found.told, "missing")
    if not left.taken:
        return None
    one = left.taken[-1]
    reading = one.reading
    place = place_of(state, reading.position, reading.pair)
    lean = f", leaned toward {reading.lean}" if reading.lean else ""
    name = f"{place.name}{lean}"
    value = short(value_text(reading.value, With(left.meter, left.ambient_c)))
    cell = None if reading.lean else cell_of(left, reading.position, reading.pair)
    if cell is None:
        said = "recorded; the chart says nothing of it"
        return Last(one.seq, name, value, "", said, "missing", place)
    outcome = cell.outcome
    own = next(shown.result for shown in reversed(place.readings) if shown.seq == one.seq)
    against = outcome.result is Result.FAIL
    danger = against and any(cell.name in one.cells for one in state.dangers)
    tone = "danger" if danger else outcome.result.value
    return Last(one.seq, name, value, own, outcome.reason, tone, place)


def undoable(state: "State") -> int:
    """Return the number of the reading that undo takes back; 0 if there is none."""
    if state.why_not(ReadingWithdrawn):
        return 0
    return state.last_taken


def turn_to_take_back(state: "State") -> int:
    """Return the number of the last turn of the body that stands; 0 if there is none."""
    return max((one.seq for one in state.noted_turns if one.back is None), default=0)


def lines_of(state: "State", setting: "Setting", asked: AskedReading | None) -> tuple[Line, ...]:
    """Return the chart as one setting of the body has it."""
    family = state.ground.family
    across, read = len(family.positions), With(setting.meter, setting.ambient_c)
    cells = setting.judgement.cells
    pins = same_pair(asked.action.pair) if asked else frozenset()
    here = asked.action.position if asked else ""

    def square(cell: JudgedCell) -> Square:
        decides = cell.decided_by
        value = (
            ""
            if decides is None
            else short(value_text(decides.value, read, growth_of(decides, family)))
        )
        many = f" ×{len(cell.readings)}" if len(cell.readings) > 1 else ""
        return Square(
            cell.outcome.result.value,
            f"{value}{many}",
            cell.expectation.shown.partition("±")[0].strip(),
            cell.position == here and same_pair(cell.row.pair) == pins,
            urlencode({"at": cell.position, "pins": pair_text(cell.row.pair)}),
        )

    return tuple(
        Line(
            pair_text(row.pair),
            row.role.shown,
            tuple(square(cell) for cell in cells[number * across : (number + 1) * across]),
        )
        for number, row in enumerate(family.chart)
    )


def belief_of(found: "Diagnosis | None", *, whole: bool = False) -> dict[str, Any]:
    """Return what is believed of the part: verdicts, faults, what cannot be known."""
    if found is None:
        return {"verdicts": (), "decided": "", "faults": (), "unknowable": (), "seen": ()}
    ranked = sorted(found.verdicts.items(), key=lambda item: -item[1])
    told = [(verdict.value, p) for verdict, p in ranked if whole or p >= WORTH_TELLING]
    worth = [one for one in found.faults if one.evidence or one.probability >= WITHOUT_EVIDENCE]
    return {
        "verdicts": told,
        "decided": "" if found.decided is None else found.decided.value,
        "faults": [_fault(one, whole) for one in (worth if whole else worth[:MOST_FAULTS])],
        "unknowable": [one if whole else cut(one) for one in found.unknowable],
        "seen": found.seen,
    }


def _fault(claim: "Claim", whole: bool) -> LikelyFault:
    evidence = claim.evidence if whole else tuple(map(cut, claim.evidence[:MOST_EVIDENCE]))
    return LikelyFault(claim.told, claim.probability, len(claim.tied), evidence)


def cut(sentence: str) -> str:
    """Return a sentence, its end left out if it is very long."""
    if len(sentence) <= MOST_LETTERS:
        return sentence
    return f"{sentence[:MOST_LETTERS].rpartition(' ')[0].rstrip(',;:')} …"


def _unit(found: "Diagnosis | None") -> str:
    return (
        ""
        if found is None or found.offset is None
        else {"deg": "°"}.get(found.offset.unit, " detent gaps")
    )


@lru_cache(maxsize=16)
def _window(basis: Basis) -> Window | None:
    """Return the window of a kind of part; None if it has none."""
    if not basis.family.lever:
        return None
    try:
        return window_of(shape_of(basis.family, basis.priors), basis.priors)
    except (TooLarge, BadFile):
        return None


@lru_cache(maxsize=16)
def _picture(basis: Basis) -> Picture | None:
    """Return the travel strip of a kind of part, without any part; None if none can be drawn."""
    window = None if len(basis.family.chart) > MOST_DRAWN else _window(basis)
    return None if window is None else Picture(strip_of(window))


def turn_of(state: "State") -> ToTurn | None:
    """Return how the body is to be turned, as the proof knows it; None if it does not."""
    left = state.as_left
    window, found = _window(state.ground.basis), left.learned
    if window is None or found is None:
        return None
    offset = found.offset
    if offset is None or offset.unit != window.unit:
        return None
    return to_turn(window, offset.best, offset.intervals95, is_known=offset.sign_known)


def turn_drawn(turn: ToTurn) -> str:
    """Return the dial of a body to be turned."""
    unit = "°" if turn.unit == "deg" else "gaps"
    clockwise = turn.grows != "counter-clockwise"
    return draw_turn_dial(
        TurnDial(unit, turn.set_at, turn.good, turn.now, turn.within, clockwise, turn.is_known)
    )


def strip_drawn(state: "State", setting: "Setting") -> str:
    """Return the travel strip with the window and where the part rests; empty if none can be."""
    picture = _picture(state.ground.basis)
    if picture is None:
        return ""
    found = setting.learned
    offset = None if found is None else found.offset
    if offset is None or offset.unit != picture.strip.unit:
        return picture.svg()
    return picture.svg(Rest(offset.best, offset.intervals95))
