"""What is said of charts, of wiring and of the gear of a bench."""

from typing import Annotated, Literal

from benchproof.face.view import View, says


class DistanceView(View):
    """In how many range bits two positions differ."""

    positions: tuple[str, str]
    bits: int


class FindingView(View):
    """What an audit found."""

    rule: Annotated[str, says("its name ([audit.md](audit.md))")]
    severity: Literal["error", "warning", "note"]
    place: Annotated[str, says("where in the file; empty for the chart as a whole")]
    sentence: Annotated[str, says("what was found and what it means")]


class Audited(View):
    """A chart, audited."""

    family: str
    distances: Annotated[list[DistanceView], says("empty without range bits")]
    findings: Annotated[list[FindingView], says("worst first")]


class TableView(View):
    """A table."""

    title: str
    rows: Annotated[list[dict[str, str]], says("objects whose keys are the headings")]


class Wired(View):
    """How to wire a selector."""

    family: str
    kind: Literal["selector", "matrix", "probes"]
    tables: list[TableView]
    cautions: list[str]


class Gears(View):
    """The gear files that come along; without a gear file."""

    gears: list[str]


class GearChecked(View):
    """The gear of a bench, tried out."""

    gear: Annotated[str, says("name of the bench")]
    meter: Annotated[str | None, says("what it calls itself; `null` if it does not say")]
    selector: Annotated[str | None, says("what it calls itself; `null` for a person")]
    lever: Annotated[str | None, says("the position; empty between two; `null` for a person")]
    volts_checked: Annotated[
        bool, says("whether every pair was found without voltage; if not, it was not checked")
    ]
    readings: Annotated[
        dict[str, str],
        says("reading by pair, or `now`, as typed in a sheet; empty if none was asked for"),
    ]
