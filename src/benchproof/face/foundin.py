"""What was found in a proof beside readings: edges, offsets measured otherwise, sweeps."""

from typing import TYPE_CHECKING, Annotated, Literal, cast

from benchproof.face.view import Pins, Position, Time, View, says

if TYPE_CHECKING:
    from benchproof.proof.noted import Noted
    from benchproof.proof.state import State
    from benchproof.reading.evidence import FoundEdge

Initials = Annotated[str, says("initials")]
Turned = Literal["up", "down"]
Unit = Annotated[Literal["deg", "gap"], says("of its angles: degrees, or detent gaps")]


class ConditionsView(View, frozen=True):
    """What a part was under when it was read; what was not told is `null`."""

    part_c: Annotated[float | None, says("its temperature, °C")]
    part_c_u: Annotated[float | None, says("standard uncertainty of that")]
    pressure_kpa: Annotated[float | None, says("pressure on it above that of the air, kPa")]
    pressure_kpa_u: Annotated[float | None, says("standard uncertainty of that")]
    supply_v: Annotated[float | None, says("what it was fed with, V")]
    supply_v_u: Annotated[float | None, says("standard uncertainty of that")]


class WithdrawnView(View, frozen=True):
    """Why something does not count."""

    reason: Annotated[str, says("in the person's words")]
    kind: Annotated[str, says("what it is put down to")]
    by: Initials


class FoundEdgeView(View, frozen=True):
    """A place where a pair changes."""

    position: Position
    pins: Pins
    angle: Annotated[
        float, says("from the position's detent, positive toward the last-listed position")
    ]
    u: Annotated[float, says("standard uncertainty of that by itself")]
    zero_u: Annotated[float, says("standard uncertainty of the zero of its scale")]
    series: Annotated[int, says("edges of one series share that zero")]
    below: Annotated[str, says("what is read at the smaller angle")]
    above: Annotated[str, says("what is read at the greater angle")]


class EdgeNotedView(View, frozen=True):
    """An edge that was found by hand."""

    event: Annotated[int, says("its number among the events")]
    at: Time
    by: Initials
    unit: Unit
    edge: Annotated[FoundEdgeView, says("where it is")]
    turned: Annotated[Turned | None, says("which way the angle went")]
    note: Annotated[str, says("what was noted with it")]
    turn: Annotated[int, says("how often the body had been turned")]
    withdrawn: Annotated[WithdrawnView | None, says("`null` if it counts")]


class OffsetNotedView(View, frozen=True):
    """An offset that was measured otherwise than by readings."""

    event: Annotated[int, says("its number among the events")]
    at: Time
    by: Initials
    unit: Unit
    offset: Annotated[float, says("positive toward the last-listed position")]
    u: Annotated[float, says("its standard uncertainty")]
    how: Annotated[str, says("what it was measured by")]
    turn: Annotated[int, says("how often the body had been turned")]
    withdrawn: Annotated[WithdrawnView | None, says("`null` if it counts")]


class SweepNotedView(View, frozen=True):
    """A sweep that was recorded."""

    event: Annotated[int, says("its number among the events")]
    at: Time
    by: Initials
    unit: Unit
    name: Annotated[str, says("the file's name")]
    file: Annotated[str, says("the file's SHA-256")]
    meter: Annotated[str | None, says("what it was read with; `null` for the proof's meter")]
    samples: Annotated[int, says("how many samples it has")]
    scale: Annotated[str, says("what ties its scale to the detents, or why nothing does")]
    edges: Annotated[list[FoundEdgeView], says("the edges it shows, pair by pair")]
    cells: Annotated[int, says("how many cells were read by it")]
    note: Annotated[str, says("what was noted with it")]
    turn: Annotated[int, says("how often the body had been turned")]
    withdrawn: Annotated[WithdrawnView | None, says("`null` if it counts")]


Each = tuple[int, "Noted", WithdrawnView | None]


def found_in(
    state: "State",
) -> tuple[list[EdgeNotedView], list[OffsetNotedView], list[SweepNotedView]]:
    """Return the edges, offsets and sweeps of a proof, withdrawn ones too, by event."""
    from benchproof.proof.events import EdgeFound, OffsetMeasured, SweepTaken
    from benchproof.proof.noted import NotedEdge, NotedOffset, NotedSweep

    unit: Unit = "gap" if state.ground.family.detents_deg is None else "deg"
    every: list[Each] = [
        (turn, one, None) for turn, setting in enumerate(state.settings) for one in setting.noted
    ]
    every += [
        (
            gone.turn,
            gone.what,
            WithdrawnView(reason=gone.event.reason, kind=gone.event.kind.value, by=gone.event.by),
        )
        for gone in state.set_aside
    ]
    edges, offsets, sweeps = [], [], []
    for turn, one, withdrawn in sorted(every, key=lambda each: each[1].seq):
        event = state.events[one.seq - 1]
        match one, event:
            case NotedEdge(), EdgeFound():
                edges.append(
                    EdgeNotedView(
                        event=one.seq, at=event.at, by=event.by, unit=unit,
                        edge=edge_shown(one.edge),
                        turned=cast("Turned | None", one.turned.value or None),
                        note=event.note, turn=turn, withdrawn=withdrawn,
                    )
                )  # fmt: skip
            case NotedOffset(), OffsetMeasured():
                offsets.append(
                    OffsetNotedView(
                        event=one.seq, at=event.at, by=event.by, unit=unit, offset=event.offset,
                        u=event.u, how=event.how, turn=turn, withdrawn=withdrawn,
                    )
                )  # fmt: skip
            case NotedSweep(), SweepTaken():
                sweeps.append(
                    SweepNotedView(
                        event=one.seq, at=event.at, by=event.by, unit=unit, name=event.name,
                        file=event.file, meter=event.meter or None, samples=one.found.samples,
                        scale=one.found.why, edges=[edge_shown(e) for e in one.found.edges],
                        cells=one.found.cells, note=event.note, turn=turn,
                        withdrawn=withdrawn,
                    )
                )  # fmt: skip
    return edges, offsets, sweeps


def edge_shown(edge: "FoundEdge") -> FoundEdgeView:
    """Return an edge."""
    from benchproof.reading.value import format_value

    return FoundEdgeView(
        position=edge.position,
        pins=edge.pair,
        angle=edge.at,
        u=edge.u,
        zero_u=edge.zero_u,
        series=edge.series,
        below=format_value(edge.below),
        above=format_value(edge.above),
    )
