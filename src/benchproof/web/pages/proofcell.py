"""One cell at the bench: its readings in order, what decides and why, and what can be done there.

The cell of the last reading stands so on the stage; any other takes its place once it is chosen.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.responses import HTMLResponse, Response

from benchproof.family.model import pair_text
from benchproof.judge.cell import Result
from benchproof.plan.actions import TakeReading
from benchproof.proof.cellstory import CellReading, CellStory, story_of
from benchproof.proof.events import Mistake, ReadingTaken, ReadingWithdrawn
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import spelled
from benchproof.report.judgedchart import With, value_text
from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.proofshow import pictures_of
from benchproof.web.rendering import fragment
from benchproof.web.security import token

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchproof.proof.state import State

DOING = ("again", "withdraw", "remark")
"""What can be done at a cell that needs more than one press."""

NOTHING: "Mapping[str, object]" = {"place": None, "mine": False}
"""What the template takes when no cell was chosen."""


@dataclass(frozen=True)
class ShownReading:
    """A reading of the cell: its event, value, own result, what is to be said of it."""

    seq: int
    value: str
    result: str
    said: tuple[str, ...]
    decides: bool
    counts: bool
    may_withdraw: bool


@dataclass(frozen=True)
class Place:
    """A cell as it stands on the screen.

    Attributes
    ----------
    name, position, pins, wanted : str
        What it is called, where it is, and what the chart wants there.
    result, reason : str
        What became of it and why; empty if the chart says nothing of it.
    readings : tuple of ShownReading
        In the order taken.
    slip : int
        The reading that one press puts down to a slipped probe; 0 if there is none.
    ordinal : str
        Which of the readings that is, in words.
    beside : tuple of str
        Toward which neighbors the lever can be held; empty if nothing more may be read.
    where : str
        The cell as a query.
    """

    name: str
    position: str
    pins: str
    wanted: str
    result: str
    reason: str
    readings: tuple[ShownReading, ...]
    slip: int
    ordinal: str
    beside: tuple[str, ...]
    where: str

    @property
    def loud(self) -> bool:
        """Whether its readings and what can be done stand on the stage without being asked for."""
        quiet = self.result in (Result.PASS.value, "")
        return not quiet or not all(one.counts for one in self.readings)


_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth")


def short(text: str) -> str:
    """Return a value without how far it may be off.

    Examples
    --------
    >>> short("0.10 ± 0.37 Ω"), short("open")
    ('0.10 Ω', 'open')
    """
    value, within, rest = text.partition(" ± ")
    return f"{value} {rest.rpartition(' ')[2]}" if within else value


def place_of(state: "State", position: str, pair: tuple[str, str]) -> Place:
    """Return a cell as it stands on the screen.

    Parameters
    ----------
    state : State
        The proof.
    position, pair : str, tuple of str
        In the family's spelling.
    """
    story = story_of(state, position, pair)
    left, cell = state.as_left, story.cell
    read = With(left.meter, left.ambient_c)
    may_withdraw = not state.why_not(ReadingWithdrawn)
    shown = tuple(_shown(one, read, may_withdraw) for one in story.readings)
    slip = story.slip if may_withdraw else None
    number = story.readings.index(slip) if slip else 0
    return Place(
        story.name,
        position,
        pair_text(pair),
        "" if cell is None else cell.expectation.shown,
        "" if cell is None else cell.outcome.result.value,
        _reason(story),
        shown,
        slip.taken.seq if slip else 0,
        _ORDINALS[number] if number < len(_ORDINALS) else f"{number + 1}th",
        () if state.why_not(ReadingTaken) else story.beside,
        urlencode({"at": position, "pins": pair_text(pair)}),
    )


def _reason(story: CellStory) -> str:
    if story.cell is None:
        return "the chart says nothing of it" if story.readings else "not read"
    return story.cell.outcome.reason


def _shown(one: CellReading, read: With, may_withdraw: bool) -> ShownReading:
    reading = one.taken.reading
    said = []
    if reading.lean:
        said.append(f"held toward {reading.lean}")
    if one.again:
        said.append("probes set anew")
    if one.taken.swept:
        said.append("of a sweep")
    if one.taken.by:
        said.append(f"by {one.taken.by}")
    if one.gone is not None:
        said.append(one.gone.why)
    if one.kept is not None:
        said.append(f"still counts: {one.kept.why}")
    untold = one.gone is not None and one.gone.event.kind is Mistake.OTHER
    return ShownReading(
        one.taken.seq,
        short(value_text(reading.value, read)),
        "" if one.outcome is None else one.outcome.result.value,
        tuple(said),
        one.decides,
        one.counts,
        may_withdraw and (one.gone is None or untold),
    )


def chosen(asked: PageRequest, state: "State") -> dict[str, Any]:
    """Return what the template takes of the cell that was chosen; `place` is None if none was.

    Raises
    ------
    ProofProblem
        If it is none of the family's.
    """
    if not asked.text("at", 80) or not asked.text("pins", 100):
        return dict(NOTHING)
    position, pair, lean = spelled(
        state.ground, asked.text("at", 80), asked.text("pins", 100), asked.text("lean", 80)
    )
    place = place_of(state, position, pair)
    doing = asked.text("do", 20)
    seq = asked.text("seq", 12)
    gone = next((one for one in place.readings if f"{one.seq}" == seq and one.may_withdraw), None)
    if doing not in DOING or (doing == "withdraw" and gone is None):
        doing = ""
    mine = doing == "again" and not state.why_not(ReadingTaken)
    return {
        "place": place,
        "mine": mine,
        "lever": state.ground.family.lever,
        "show": pictures_of(state, TakeReading(position, pair, lean, again=True)) if mine else None,
        "doing": doing,
        "lean": lean,
        "gone": gone,
        "mistakes": [kind.value for kind in Mistake],
    }


def _cell(asked: PageRequest) -> Response:
    standing = asked.site.works.standing(asked.path("tag"))
    try:
        values = chosen(asked, standing.state)
    except ProofProblem:
        # Somebody's own address: the chart is all that can be shown.
        return HTMLResponse(fragment("proofcell.html", tag=standing.tag, **NOTHING), 404)
    return HTMLResponse(
        fragment(
            "proofcell.html",
            tag=standing.tag,
            token=token(asked.site.secret, asked.session),
            **values,
        )
    )


ROUTES = (screen("/proof/{tag}/cell", get=_cell),)
