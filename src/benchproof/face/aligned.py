"""What is said of alignment: the window, electrical centring, and what a vehicle would do."""

from math import isfinite
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast

from benchproof.face.examined import (
    DangerView,
    QuestionView,
    dangers_shown,
    questions_shown,
)
from benchproof.face.view import FamilyName, Pins, Position, Span, View, says
from benchproof.family.safety import safety_of
from benchproof.foretell.consequences import CODES
from benchproof.foretell.permitproof import PermitFacts, cautions_of, limits_of, loose_of, proof_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.align.band import WindowBand
    from benchproof.align.centring import ByMarks, Centring
    from benchproof.align.procedure import Procedure as Steps
    from benchproof.align.window import CellWindow
    from benchproof.align.window import Window as WindowFound
    from benchproof.family.danger import Danger
    from benchproof.foretell.controller import SeenByController
    from benchproof.foretell.foretelling import Foretold as ForetoldOne
    from benchproof.foretell.outlook import Outlook
    from benchproof.foretell.travelplaces import TravelPlace

ScaleWord = Literal["deg", "mm", "turns", "counts"]
Unit = Annotated[Literal["deg", "gap"], says("`gap` for fractions of a detent gap")]


class PlaceView(View, frozen=True):
    """A cell."""

    position: Position
    pins: Pins


class WindowCellView(View, frozen=True):
    """How far a cell holds; `null` stands for an end that is not there, or is not known."""

    position: Position
    pins: Pins
    low: Annotated[float | None, says("the offset where it stops holding")]
    high: Annotated[float | None, says("the same on the upper side")]
    low_sd: Annotated[float | None, says("spread from part to part, standard deviation")]
    high_sd: Annotated[float | None, says("of the upper end")]
    low_mm: Annotated[float | None, says("along the mark circle, millimeters")]
    high_mm: Annotated[float | None, says("of the upper end")]
    low_lines: Annotated[float | None, says("in widths of a mark's line")]
    high_lines: Annotated[float | None, says("of the upper end")]
    low_ohm: Annotated[
        float | None, says("what the pair reads just beyond, ohms; `null` also for open")
    ]
    high_ohm: Annotated[float | None, says("beyond the upper end")]
    at_zero: Annotated[bool, says("whether it holds at zero; if not, the nearest run is given")]
    never: Annotated[bool, says("whether it holds at no offset")]


class WindowView(View, frozen=True):
    """The offsets at which every cell of a chart holds."""

    family: FamilyName
    unit: Unit
    empty: Annotated[bool, says("whether there is no such offset")]
    low: Annotated[float | None, says("of an empty one it is above `high`, or both are `null`")]
    high: Annotated[float | None, says("where the first cell above stops holding")]
    centre: Annotated[float | None, says("the middle; `null` of an empty one")]
    width_mm: Annotated[float | None, says("along the mark circle, millimeters")]
    width_lines: Annotated[float | None, says("in widths of a mark's line")]
    low_cells: Annotated[list[PlaceView], says("the cells that limit this side")]
    high_cells: Annotated[list[PlaceView], says("likewise")]
    low_band: Annotated[
        tuple[float | None, float | None] | None, says("5 % and 95 % points from part to part")
    ]
    high_band: Annotated[tuple[float | None, float | None] | None, says("likewise")]
    share: Annotated[
        float | None,
        says("share of parts of which every cell holds at the center (at zero if there is none)"),
    ]
    cells: Annotated[list[WindowCellView], says("row by row in lever order")]
    remarks: Annotated[list[str], says("sentences")]
    cautions: Annotated[list[str], says("sentences")]


class WatchView(View, frozen=True):
    """A cell whose edges to find."""

    position: Position
    pins: Pins
    expected_sd: Annotated[
        float, says("standard uncertainty of the center with it and those before")
    ]


class ProcedureView(View, frozen=True):
    """How to center; without `--edges`."""

    watch: Annotated[list[WatchView], says("in order")]
    why: Annotated[str, says("a sentence")]
    steps: Annotated[list[str], says("sentences, in order")]
    marks_rms: Annotated[
        float | None, says("how far setting by the marks is off, root mean square; degrees or gaps")
    ]
    remarks: Annotated[list[str], says("sentences")]
    cautions: Annotated[list[str], says("sentences")]


class CentredCellView(View, frozen=True):
    """A dwell that was found, on the scale."""

    position: Position
    pins: Pins
    lower: Annotated[float | None, says("its lower edge")]
    upper: Annotated[float | None, says("its upper edge")]
    middle: Annotated[float | None, says("halfway between them")]
    lower_sd: Annotated[float | None, says("standard uncertainty")]
    upper_sd: Annotated[float | None, says("standard uncertainty")]
    middle_sd: Annotated[float | None, says("standard uncertainty")]
    width: Annotated[float | None, says("of the dwell, an angle")]
    off: Annotated[
        float | None, says("by how many standard deviations it differs from the family's")
    ]


class MarginView(View, frozen=True):
    """What is left in a position once set; angles."""

    position: Position
    margin: Annotated[float | None, says("mean distance to the nearer end of its window")]
    at_least: Annotated[float | None, says("which 95 % of such parts exceed")]
    holds: Annotated[float | None, says("probability that every cell of the position holds")]


class Centred(View, frozen=True):
    """Where to set the body; with `--edges`. Positions are in the scale's own units."""

    fits: Annotated[
        bool, says("whether the edges fit the family; if not, rely on none of what follows")
    ]
    misfits: Annotated[list[str], says("sentences: why not")]
    scale: Annotated[ScaleWord, says("what the turning was read on")]
    unit: Unit
    set_at: Annotated[float | None, says("where the window's center lies")]
    set_sd: Annotated[float | None, says("its standard uncertainty")]
    interval95: Annotated[Span | None, says("where it lies with 95 %")]
    coming_up: Annotated[float | None, says("what the scale reads there if it was rising")]
    coming_down: Annotated[float | None, says("likewise, if it was falling")]
    angle_sd: Annotated[float | None, says("`set_sd` as an angle")]
    lash: Annotated[float | None, says("by how much the rising scale leads the falling one")]
    lash_sd: Annotated[float | None, says("its standard uncertainty")]
    per_unit: Annotated[float | None, says("units of the scale to one of angle")]
    per_unit_sd: Annotated[float | None, says("its standard uncertainty")]
    rises: Annotated[float | None, says("probability that the scale rises with the offset")]
    cells: Annotated[list[CentredCellView], says("the dwells that were found")]
    margins: Annotated[list[MarginView], says("one a position, once set")]
    holds: Annotated[float | None, says("probability that every cell of the chart holds")]
    marks_rms: Annotated[float | None, says("the same of setting by the marks")]
    marks_holds: Annotated[float | None, says("the same of setting by the marks")]
    remarks: Annotated[list[str], says("sentences")]
    cautions: Annotated[list[str], says("sentences")]


class SeenView(View, frozen=True):
    """What the controller sees."""

    word: Annotated[
        str | None, says("the range bits, `?` for weak or not read; `null` without range bits")
    ]
    reads: Annotated[
        list[str],
        says(
            "what it may read: positions, `transit`, `no valid code`, `level too low`, "
            "`level too high`; empty if not known"
        ),
    ]
    start: Annotated[Literal["on", "weak", "off"] | None, says("start permit")]
    reverse: Annotated[Literal["on", "weak", "off"] | None, says("reverse lamp")]


class InPositionView(View, frozen=True):
    """What is seen in a position."""

    position: Position
    seen: Annotated[
        list[SeenView], says("several by turns where a contact chatters; empty if not read")
    ]


class BetweenView(SeenView, frozen=True):
    """What is seen between detents."""

    position: Annotated[str, says("the position engaged, that of the nearest detent")]
    beside: Annotated[str | None, says("the position on the other side of the gap")]
    lever: Annotated[Span | None, says("from and to, lever angle")]


class WhereView(View, frozen=True):
    """A stretch of the lever's travel."""

    position: Annotated[str, says("the position engaged, that of the nearest detent")]
    beside: Annotated[str | None, says("`null` in a detent")]
    lever: Annotated[Span | None, says("from and to, lever angle; `null` in a detent")]


class ChainView(WhereView, frozen=True):
    """How it comes about."""

    steps: Annotated[list[str], says("from what is wrong by the cells to what is seen")]


class ConsequenceView(View, frozen=True):
    """What the vehicle would do."""

    name: Annotated[str, says("of the rule ([foretell.md](foretell.md))")]
    grade: Annotated[
        Literal["hazard", "drivability", "nuisance"],
        says("`hazard` may hurt somebody, `drivability` is felt, `nuisance` annoys"),
    ]
    sentence: Annotated[str, says("what the vehicle does")]
    certain: Annotated[
        bool, says("`false` if it may be, because a circuit is weak or comes and goes")
    ]
    read: Annotated[bool, says("whether the readings themselves say so")]
    probability: Annotated[
        float | None, says("by the diagnosis, from 1e-6; `null` for a stated condition")
    ]
    places: Annotated[list[WhereView], says("where it comes about")]
    chains: Annotated[list[ChainView], says("how it comes about, place by place")]
    cite: Annotated[str | None, says("rule or standard")]
    codes: Annotated[str | None, says("generic trouble-code family")]
    loose: Annotated[bool, says("whether a good part on a loose lever does the same")]


class ForetoldView(View, frozen=True):
    """What a vehicle would do with the part."""

    dangers: Annotated[list[DangerView], says("worst first")]
    questions: Annotated[list[QuestionView], says("what nobody has said of the family")]
    family: FamilyName
    of: Annotated[str, says("`the readings`, or the condition in words")]
    unit: Annotated[Literal["deg", "gap"], says("of all angles; gaps count from the first detent")]
    positions: Annotated[
        list[InPositionView], says("in lever order; of readings, what was read itself")
    ]
    explanation: Annotated[str | None, says("of readings, the likeliest explanation")]
    explained: Annotated[float | None, says("its probability")]
    between: Annotated[
        list[BetweenView], says("in lever order; of readings by the likeliest explanation")
    ]
    consequences: Annotated[list[ConsequenceView], says("worst first")]
    not_foretold: Annotated[
        float | None, says("probability of explanations of which nothing is foretold")
    ]
    not_foretold_between: Annotated[float | None, says("the same between detents")]
    proof: Annotated[
        list[str], says("sentences: what is proved of the start permit and what is not")
    ]
    limits: Annotated[list[str], says("sentences: what cannot be foretold, and why")]
    loose: Annotated[
        list[str], says("sentences: which consequences a loose lever has too, and how to tell")
    ]
    codes: Annotated[str, says("a sentence on the trouble-code families")]
    cautions: Annotated[list[str], says("sentences")]


def window_shown(
    found: "WindowFound", band: "WindowBand", remarks: list[str], cautions: list[str]
) -> WindowView:
    """Return the offsets at which every cell holds."""
    width = found.high - found.low
    return WindowView(
        family=found.family.name,
        unit=cast("Unit", found.unit),
        empty=found.empty,
        low=_number(found.low),
        high=_number(found.high),
        centre=found.centre,
        width_mm=_number(found.mm(width)),
        width_lines=_number(found.lines(width)),
        low_cells=[_cell_shown(cell) for cell in found.low_cells],
        high_cells=[_cell_shown(cell) for cell in found.high_cells],
        low_band=(_number(band.low[0]), _number(band.low[1])),
        high_band=(_number(band.high[0]), _number(band.high[1])),
        share=band.share,
        cells=[
            WindowCellView(
                position=cell.position,
                pins=cell.pair,
                low=_number(cell.low),
                high=_number(cell.high),
                low_sd=cell.low_sd,
                high_sd=cell.high_sd,
                low_mm=_number(found.mm(cell.low)),
                high_mm=_number(found.mm(cell.high)),
                low_lines=_number(found.lines(cell.low)),
                high_lines=_number(found.lines(cell.high)),
                low_ohm=_number(cell.low_ohm),
                high_ohm=_number(cell.high_ohm),
                at_zero=cell.at_zero,
                never=cell.never,
            )
            for cell in found.cells
        ],
        remarks=remarks,
        cautions=cautions,
    )


def procedure_shown(steps: "Steps", remarks: list[str], cautions: list[str]) -> ProcedureView:
    """Return how to center."""
    return ProcedureView(
        watch=[
            WatchView(position=one.cell.position, pins=one.cell.pair, expected_sd=one.sd)
            for one in steps.choices
        ],
        why=steps.why,
        steps=list(steps.steps),
        marks_rms=steps.marks_rms,
        remarks=remarks,
        cautions=cautions,
    )


def centred_shown(
    found: "Centring", marks: "ByMarks", wrong: list[str], remarks: list[str], cautions: list[str]
) -> Centred:
    """Return where to set the body, and how good that is."""
    return Centred(
        fits=not wrong,
        misfits=wrong,
        scale=cast("ScaleWord", found.scale.name),
        unit=cast("Unit", found.found.window.unit),
        set_at=found.set_at,
        set_sd=found.set_sd,
        interval95=found.interval95,
        coming_up=found.coming_up,
        coming_down=found.coming_down,
        angle_sd=found.angle_sd,
        lash=found.lash,
        lash_sd=found.lash_sd,
        per_unit=found.per_unit,
        per_unit_sd=found.per_unit_sd,
        rises=found.rises,
        cells=[
            CentredCellView(
                position=one.cell.position,
                pins=one.cell.pair,
                lower=one.lower,
                lower_sd=one.lower_sd,
                upper=one.upper,
                upper_sd=one.upper_sd,
                middle=one.middle,
                middle_sd=one.middle_sd,
                width=one.width,
                off=one.off,
            )
            for one in found.cells
        ],
        margins=[
            MarginView(
                position=one.position,
                margin=_number(one.margin),
                at_least=_number(one.at_least),
                holds=one.holds,
            )
            for one in found.margins
        ],
        holds=found.holds,
        marks_rms=marks.rms,
        marks_holds=marks.holds,
        remarks=remarks,
        cautions=cautions,
    )


def _cell_shown(cell: "CellWindow") -> PlaceView:
    return PlaceView(position=cell.position, pins=cell.pair)


def _number(value: float | None) -> float | None:
    """Return a number, None for one that JSON has not."""
    return value if value is not None and isfinite(value) else None


def foretold_shown(
    outlook: "Outlook", known: PermitFacts, dangers: "Sequence[Danger]", notes: "Sequence[str]"
) -> ForetoldView:
    """Return what a vehicle would do with the part, and what is dangerous in it by readings."""
    family = known.vehicle.family
    return ForetoldView(
        dangers=dangers_shown(dangers),
        questions=questions_shown(safety_of(family).questions),
        family=family.name,
        of=outlook.of,
        unit=cast("Unit", known.vehicle.shape.unit),
        positions=[
            InPositionView(position=name, seen=[SeenView(**_seen(one)) for one in seen])
            for name, seen in outlook.detents.items()
        ],
        explanation=outlook.explanation or None,
        explained=outlook.explained,
        between=[
            BetweenView(**_where(stretch.place), **_seen(stretch.seen))
            for stretch in outlook.stretches
        ],
        consequences=[_consequence(one) for one in outlook.foretold],
        not_foretold=outlook.not_foretold,
        not_foretold_between=outlook.not_foretold_between,
        proof=proof_of(known),
        limits=limits_of(known),
        loose=loose_of(outlook.worth_telling),
        codes=CODES,
        cautions=[*cautions_of(known), *notes],
    )


def _seen(seen: "SeenByController") -> dict[str, Any]:
    return {
        "word": seen.word or None,
        "reads": [f"{read}" for read in seen.reads],
        "start": None if seen.start is None else seen.start.value,
        "reverse": None if seen.reverse is None else seen.reverse.value,
    }


def _where(place: "TravelPlace") -> dict[str, Any]:
    return {"position": place.position, "beside": place.beside or None, "lever": place.span}


def _consequence(one: "ForetoldOne") -> ConsequenceView:
    return ConsequenceView(
        name=one.rule.name,
        grade=one.rule.grade.value,
        sentence=one.sentence,
        certain=one.certain,
        read=one.read,
        probability=one.probability,
        places=[WhereView(**_where(place)) for place in one.places],
        chains=[ChainView(**_where(chain.place), steps=list(chain.steps)) for chain in one.chains],
        cite=one.rule.cite or None,
        codes=one.rule.code or None,
        loose=one.loose,
    )
