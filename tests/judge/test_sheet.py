"""A sheet of readings against its chart."""

from collections.abc import Sequence

import pytest

from benchproof.family.model import Family
from benchproof.family.problems import BadFile
from benchproof.judge.cell import CellOutcome, Result
from benchproof.judge.sheet import Judgement, SheetVerdict, judge_sheet
from benchproof.network.files import read_family
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.sheet import read_readings

METER = Meter("invented handheld", (Range(4e7, 0.1, 1.0, 3.0),), Leads(limit_ohm=0.1))
CHART = """pins,P,R,N,D,role
A-E,closed,open,open,closed,range bit
B-E,closed,closed,open,open,range bit
C-E,open,open,closed,390 ohm,range bit
G-H,closed,open,closed,open,start permit
J-K,open,closed,open,open,reverse lamp
"""
GOOD = {
    "A-E": ["0.1", "OL", "OL", "0.1"],
    "B-E": ["0.1", "0.2", "OL", "OL"],
    "C-E": ["o", "OL", "0.1", "391"],
    "G-H": [".1", "0L", "0.1", "OL"],
    "J-K": ["OL", "0,1", "OL", "inf"],
}


def family(chart: str = CHART) -> Family:
    return read_family(chart.encode(), "chart.csv")


def judged(changes: dict[tuple[str, str], str] | None = None, chart: str = CHART) -> Judgement:
    part = family(chart)
    cells = {pair: list(row) for pair, row in GOOD.items()}
    for (pair, position), text in (changes or {}).items():
        cells[pair][part.positions.index(position)] = text
    lines = [";".join(["pins", *part.positions])]
    lines += [";".join([pair, *row]) for pair, row in cells.items()]
    return judge_sheet(
        part, read_readings("\n".join(lines).encode(), "sheet.csv", part, METER), METER
    )


def names(judgement: Judgement, result: Result) -> Sequence[str]:
    return [cell.name for cell in judgement.cells if cell.outcome.result is result]


def test_a_good_sheet_passes() -> None:
    judgement = judged()
    assert judgement.verdict is SheetVerdict.PASS
    assert len(names(judgement, Result.PASS)) == 20


def test_one_cell_against_the_chart_fails_the_sheet() -> None:
    judgement = judged({("G-H", "N"): "OL"})
    assert judgement.verdict is SheetVerdict.FAIL
    assert names(judgement, Result.FAIL) == ["G-H in N"]


def test_a_cell_not_read_makes_the_sheet_incomplete() -> None:
    judgement = judged({("A-E", "D"): ""})
    assert judgement.verdict is SheetVerdict.INCOMPLETE
    assert names(judgement, Result.MISSING) == ["A-E in D"]


def test_a_failure_weighs_more_than_a_cell_not_read() -> None:
    assert judged({("A-E", "D"): "", ("J-K", "R"): "OL"}).verdict is SheetVerdict.FAIL


def test_a_cell_the_meter_cannot_decide_makes_the_sheet_undecided() -> None:
    assert judged({("A-E", "P"): "1.9"}).verdict is SheetVerdict.UNDECIDED


def test_a_start_permit_closed_in_drive_fails() -> None:
    assert names(judged({("G-H", "D"): "0.1"}), Result.FAIL) == ["G-H in D"]


@pytest.mark.parametrize("charted", ["closed", "any", "390 ohm"])
def test_a_start_permit_that_conducts_in_gear_fails_whatever_is_charted(charted: str) -> None:
    chart = CHART.replace("G-H,closed,open,closed,open", f"G-H,closed,{charted},closed,open")
    part_reads = "390" if charted == "390 ohm" else "0.1"
    judgement = judged({("G-H", "R"): part_reads}, chart)
    assert judgement.verdict is SheetVerdict.FAIL
    assert names(judgement, Result.FAIL) == ["G-H in R"]


def test_a_buzzer_does_not_show_that_a_start_permit_is_open() -> None:
    judgement = judged({("G-H", "R"): "o", ("G-H", "D"): "o"})
    assert judgement.verdict is SheetVerdict.UNDECIDED
    assert names(judgement, Result.UNDECIDED) == ["G-H in R", "G-H in D"]
    reasons = [c.outcome.reason for c in judgement.cells if c.outcome.result is Result.UNDECIDED]
    assert all("read ohms" in reason for reason in reasons)


def test_a_mark_that_could_not_decide_gives_way_to_a_number() -> None:
    assert several("closed", ["c", "0.2"]).result is Result.PASS
    assert several("closed", ["c", "OL"]).result is Result.FAIL
    assert several("closed", ["c", "c"]).result is Result.UNDECIDED


def test_a_failure_that_two_later_readings_are_against_leaves_the_cell_undecided() -> None:
    assert several("closed", ["OL", "0.1"]).result is Result.FAIL
    assert several("closed", ["OL", "0.1", "0.1"]).result is Result.UNDECIDED
    assert several("closed", ["OL", "0.1", "OL"]).result is Result.FAIL
    assert several("closed", ["0.1", "0.1", "OL"]).result is Result.FAIL


def test_where_a_pair_must_not_conduct_a_failure_stays_one() -> None:
    assert several("open", ["0.1", "OL", "OL"], role="start permit").result is Result.FAIL


def several(charted: str, read: Sequence[str], role: str = "range bit") -> CellOutcome:
    """Return what becomes of a cell in D that was read several times."""
    part = family(f"pins,P,D,role\nA-B,closed,{charted},{role}\n")
    lines = ["position,pin,pin,reading,unit,time"]
    lines += [f"D,A,B,{text},,{turn}" for turn, text in enumerate(read)]
    sheet = "\n".join(lines).encode()
    cells = judge_sheet(part, read_readings(sheet, "s.csv", part, METER), METER).cells
    return cells[1].outcome


def test_a_sheet_always_cautions_against_live_circuits() -> None:
    assert any("de-energised" in text for text in judged().cautions)


def test_nothing_conducting_asks_for_a_look_at_the_hook_up() -> None:
    every = {(pair, position): "OL" for pair in GOOD for position in "PRND"}
    judgement = judged(every)
    assert judgement.verdict is SheetVerdict.RECHECK
    assert any("nothing conducts" in reason for reason in judgement.reasons)


def test_everything_conducting_asks_for_a_look_at_the_leads() -> None:
    every = {(pair, position): "0.1" for pair in GOOD for position in "PRND"}
    judgement = judged(every)
    assert judgement.verdict is SheetVerdict.RECHECK
    assert any("everything conducts" in reason for reason in judgement.reasons)


def test_mostly_wrong_cells_ask_whether_it_is_this_chart() -> None:
    swap = {"0.1": "OL", ".1": "OL", "0.2": "OL", "0,1": "OL", "391": "OL", "c": "OL"}
    every = {
        (pair, position): swap.get(text, "0.1")
        for pair, row in GOOD.items()
        for position, text in zip("PRND", row, strict=True)
    }
    judgement = judged(every)
    assert judgement.verdict is SheetVerdict.RECHECK
    assert any("20 of 20 cells are against the chart" in reason for reason in judgement.reasons)


def test_readings_that_no_part_could_give_together_are_to_be_read_again() -> None:
    chart = "pins,P,R\nA-B,closed,open\nB-C,closed,open\nA-C,closed,open\n"
    part = family(chart)
    sheet = b"pins,P,R\nA-B,0.1,OL\nB-C,0.1,OL\nA-C,OL,OL\n"
    judgement = judge_sheet(part, read_readings(sheet, "s.csv", part, METER), METER)
    assert judgement.verdict is SheetVerdict.RECHECK
    assert "in P, A-C OL cannot be together with A-B 0.1 and B-C 0.1" in judgement.reasons[0]


def test_readings_within_their_uncertainty_do_not_contradict_each_other() -> None:
    # Leads and contacts add up: 1.0 may lie over 0.4 and 0.5.
    chart = "pins,P,R\nA-B,closed,open\nB-C,closed,open\nA-C,closed,open\n"
    part = family(chart)
    sheet = b"pins,P,R\nA-B,0.4,OL\nB-C,0.5,OL\nA-C,1.0,OL\n"
    judgement = judge_sheet(part, read_readings(sheet, "s.csv", part, METER), METER)
    assert judgement.verdict is not SheetVerdict.RECHECK


def test_of_repeated_readings_the_worst_counts() -> None:
    part = family("pins,P,R\nA-B,closed,open\n")
    sheet = b"position,pin,pin,reading,unit,time\nP,A,B,0.1,,8:01\nP,B,A,OL,,8:02\nR,A,B,OL,,8:03\n"
    judgement = judge_sheet(part, read_readings(sheet, "s.csv", part, METER), METER)
    assert judgement.verdict is SheetVerdict.FAIL
    assert judgement.cells[0].outcome.reason.startswith("2 readings disagree")


def test_a_pair_outside_the_chart_is_told_and_not_judged() -> None:
    part = family()
    lines = ["pins;P;R;N;D", *(";".join([pair, *row]) for pair, row in GOOD.items()), "A-B;0.2"]
    sheet = "\n".join(lines).encode()
    judgement = judge_sheet(part, read_readings(sheet, "s.csv", part, METER), METER)
    assert judgement.verdict is SheetVerdict.PASS
    assert any("A-B not in the chart" in text for text in judgement.cautions)


def test_a_chart_with_one_pair_twice_is_not_judged_against() -> None:
    chart = "pins,P,R\nA-B,closed,open\nB-A,open,open\n"
    part = family(chart)
    readings = read_readings(b"pins,P,R\nA-B,0.1,OL\n", "s.csv", part, METER)
    with pytest.raises(BadFile, match="A-B stands in more than one row"):
        judge_sheet(part, readings, METER)


def test_a_cell_that_may_be_anything_needs_no_reading() -> None:
    part = family("pins,P,R\nA-B,closed,any\nstart permit,none\n")
    readings = read_readings(b"pins,P,R\nA-B,0.1,\n", "s.csv", part, METER)
    assert judge_sheet(part, readings, METER).verdict is SheetVerdict.PASS


def test_36_typed_readings_are_each_judged_right() -> None:
    # Six positions by six pairs; three cells planted wrong, one not readable, one not read.
    part = read_family(
        b"pins,P,R,N,D,2,1\n"
        b"A-E,closed,closed,open,open,open,closed\n"
        b"B-E,closed,open,closed,open,closed,open\n"
        b"C-E,open,closed,closed,open,270 ohm,open\n"
        b"F-E,open,open,open,closed,closed,closed\n"
        b"G-H,closed,open,closed,open,open,open\n"
        b"J-K,open,closed,open,open,open,open\n",
        "six.csv",
    )
    sheet = (
        "pins;P;R;N;D;2;1\n"
        "A-E;0.2;0,2;OL;OL;OL;.1\n"
        "B-E;0.1;OL;0.1;OL;8.5;OL\n"
        "C-E;0L;0.1;0.1;12k;271;OL\n"
        "F-E;OL;OL;OL;0.1;0.2;0.1\n"
        "G-H;0.1;OL;OL;inf;OL;OL\n"
        "J-K;OL;1.95;OL;OL;;0.3\n"
    )
    judgement = judge_sheet(part, read_readings(sheet.encode(), "s.csv", part, METER), METER)
    assert names(judgement, Result.FAIL) == ["B-E in 2", "G-H in N", "J-K in 1"]
    assert names(judgement, Result.UNDECIDED) == ["J-K in R"]
    assert names(judgement, Result.MISSING) == ["J-K in 2"]
    assert len(names(judgement, Result.PASS)) == 31
