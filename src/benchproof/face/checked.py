"""What is said of charts, of wiring and of the gear of a bench."""

from typing import TYPE_CHECKING, Annotated, Literal, cast

from benchproof.face.view import CellPosition, FamilyName, View, position_shown, says

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from benchproof.conduct.chartfile import Checked
    from benchproof.conduct.families import FamilyChoice
    from benchproof.family.audit.finding import Finding
    from benchproof.family.model import Family as Charted
    from benchproof.instrument.tryout import Tried
    from benchproof.report.wiringtables import Table


BoxWord = Literal["selector", "matrix", "probes"]


class DistanceView(View, frozen=True):
    """In how many range bits two positions differ."""

    positions: Annotated[tuple[str, str], says("the two positions")]
    bits: Annotated[int, says("in how many they differ")]


class FindingView(View, frozen=True):
    """What an audit found."""

    rule: Annotated[str, says("its name ([audit.md](audit.md))")]
    severity: Annotated[
        Literal["error", "warning", "note"],
        says("`error` is a mistake of the chart, `warning` a weakness, `note` good to know"),
    ]
    place: Annotated[str, says("where in the file; empty for the chart as a whole")]
    sentence: Annotated[str, says("what was found and what it means")]


class Audited(View, frozen=True):
    """A chart, audited."""

    family: FamilyName
    distances: Annotated[list[DistanceView], says("empty without range bits")]
    findings: Annotated[list[FindingView], says("worst first")]


class FamilyChoiceView(View, frozen=True):
    """A family that a part can be of."""

    key: Annotated[str, says("what it is asked for by: its name, or the hash of its file")]
    name: FamilyName
    comes_along: Annotated[bool, says("whether it comes with the program")]


class CorrectionView(View, frozen=True):
    """A cell that may be a misprint."""

    pair: Annotated[str, says("the two pins, as `A-B`")]
    position: CellPosition
    instead: Annotated[str, says("what may have been meant")]


class ChartChecked(View, frozen=True):
    """What is to be said of a chart as it is typed."""

    readable: Annotated[bool, says("whether it is a chart at all")]
    usable: Annotated[bool, says("whether parts can be measured against it")]
    problems: Annotated[list[FindingView], says("why it cannot be read")]
    findings: Annotated[list[FindingView], says("worst first")]
    corrections: Annotated[list[CorrectionView], says("cells that may be misprints")]


class TableView(View, frozen=True):
    """A table."""

    title: Annotated[str, says("what it is a table of")]
    rows: Annotated[list[dict[str, str]], says("objects whose keys are the headings")]


class Wired(View, frozen=True):
    """How to wire a selector."""

    family: FamilyName
    kind: Annotated[BoxWord, says("rotary selectors, a relay matrix, or plain probes")]
    tables: Annotated[list[TableView], says("steps, wires, and the self-test of the box")]
    cautions: Annotated[list[str], says("sentences")]


class Gears(View, frozen=True):
    """The gear files that come along; without a gear file."""

    gears: Annotated[list[str], says("their names")]


class GearCheckedView(View, frozen=True):
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


def gear_checked_shown(tried: "Tried") -> GearCheckedView:
    """Return the gear of a bench, tried out."""
    return GearCheckedView(
        gear=tried.gear,
        meter=tried.meter,
        selector=tried.selector,
        lever=tried.lever,
        volts_checked=tried.volts_checked,
        readings=dict(tried.readings),
    )


def findings_shown(findings: "Iterable[Finding]") -> list[FindingView]:
    """Return what an audit found."""
    return [
        FindingView(
            rule=one.rule, severity=one.severity.value, place=one.place, sentence=one.sentence
        )
        for one in findings
    ]


def audited_shown(family: "Charted", findings: "Iterable[Finding]") -> Audited:
    """Return a chart, audited."""
    from benchproof.family.audit.words import position_pairs

    return Audited(
        family=family.name,
        distances=[
            DistanceView(positions=(family.positions[i], family.positions[j]), bits=len(bits))
            for i, j, bits in position_pairs(family)
        ],
        findings=findings_shown(findings),
    )


def families_shown(choices: "Iterable[FamilyChoice]") -> list[FamilyChoiceView]:
    """Return the families that a part can be of."""
    return [
        FamilyChoiceView(key=one.key, name=one.name, comes_along=one.comes_along) for one in choices
    ]


def chart_shown(found: "Checked") -> ChartChecked:
    """Return what is to be said of a chart as it is typed."""
    from benchproof.conduct.chartfile import told

    corrections = []
    if found.family is not None:
        for one in found.corrections:
            pair, position, instead = told(found.family, one)
            at = position_shown(position)
            corrections.append(CorrectionView(pair=pair, position=at, instead=instead))
    return ChartChecked(
        readable=found.family is not None,
        usable=found.usable,
        problems=[
            FindingView(rule="readable", severity="error", place=one.place, sentence=one.sentence)
            for one in found.problems
        ],
        findings=findings_shown(found.findings),
        corrections=corrections,
    )


def wired_shown(
    family: str, kind: str, tables: "Iterable[Table]", cautions: "Sequence[str]"
) -> Wired:
    """Return how to wire a selector."""
    return Wired(
        family=family,
        kind=cast("BoxWord", kind),
        tables=[
            TableView(
                title=table.title,
                rows=[dict(zip(table.header, row, strict=True)) for row in table.rows],
            )
            for table in tables
        ],
        cautions=list(cautions),
    )
