"""The one examination: what it joins, what it keeps, and when nothing is decided."""

from collections.abc import Sequence

import pytest

from benchproof.conduct.front import ground_for
from benchproof.diagnose.evidence.observed import Observation
from benchproof.diagnose.update import Posterior, tell
from benchproof.diagnose.verdict import PartVerdict
from benchproof.examine import belief, examine
from benchproof.examine.examination import Examination
from benchproof.examine.ground import Ground
from benchproof.family.model import Family, same_pair
from benchproof.judge.cell import Result
from benchproof.judge.sheet import SheetVerdict
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.reading.evidence import Evidence, FoundEdge, MeasuredOffset, SeenCondition
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value
from benchproof.shipped.read import shipped_meter

CHART = (
    "pins,P,R,N,D,role\nA-E,closed,open,open,closed,range bit\n"
    "B-E,open,closed,open,closed,range bit\nG-H,closed,open,closed,open,start permit\n"
    "J-K,open,closed,open,open,reverse lamp\n"
)
OL, LOW, MIDDLING = OverRange(), Measured(0.1, 0.1), Measured(10_000.0, 10.0)


def family_of(chart: str) -> Family:
    return completed(read_family(chart.encode(), "chart.csv"))


def ground_of(chart: str = CHART) -> Ground:
    return ground_for(family_of(chart), shipped_meter(), library=())


@pytest.fixture(scope="module")
def ground() -> Ground:
    return ground_of()


def reading(at: str, pins: str, value: Value, lean: str = "") -> Reading:
    first, _, second = pins.partition("-")
    return Reading(at, (first, second), value, lean=lean)


def good_sheet(ground: Ground) -> list[Reading]:
    """Return a good part's sheet, the cells that must be open read twice."""
    found = []
    for row in ground.family.chart:
        for position, cell in zip(ground.family.positions, row.expect, strict=True):
            value = LOW if cell.conducts else OL
            again = 2 if ground.safety.guards(position, row.pair) else 1
            found += again * [Reading(position, row.pair, value)]
    return found


def bits_of(found: Examination) -> bytes:
    assert found.posterior is not None
    return found.posterior.log_healthy.tobytes() + found.posterior.log_ratio.tobytes()


def test_telling_adds_a_reading_and_stands_there(ground: Ground) -> None:
    one, two = reading("P", "A-E", LOW), reading("R", "G-H", OL)
    found = examine(ground, [one]).telling(two)
    assert found.readings == (one, two)
    assert found.at == BenchPlace("R", ("G", "H"))
    assert found.ground is ground
    assert found.times == {("P", same_pair(("A", "E"))): 1, ("R", same_pair(("G", "H"))): 1}


def test_what_is_known_is_told_on_and_comes_to_the_same(ground: Ground) -> None:
    sheet = good_sheet(ground)
    before = examine(ground, sheet[:5])
    assert before.known is not None
    later = before.telling(sheet[5])
    fresh = examine(ground, sheet[:6])
    assert bits_of(later) == bits_of(fresh)
    assert later.known is not None
    assert fresh.known is not None
    assert later.known.verdicts == pytest.approx(fresh.known.verdicts)


def test_standing_elsewhere_changes_the_next_and_nothing_known(ground: Ground) -> None:
    found = examine(ground, good_sheet(ground)[:6])
    kept = (found.judged, found.results, found.times, found.posterior, found.known, found.believed,
            found.dangers)  # fmt: skip
    moved = found.standing_at(BenchPlace("D"))
    assert moved.at == BenchPlace("D")
    assert moved.readings == found.readings
    names = ("judged", "results", "times", "posterior", "known", "believed", "dangers")
    for name, was in zip(names, kept, strict=True):
        assert getattr(moved, name) is was, name


@pytest.mark.parametrize(
    ("values", "result"),
    [
        ((), Result.MISSING),
        ((OL,), Result.PASS),
        ((LOW,), Result.FAIL),
        ((MIDDLING,), Result.UNDECIDED),
    ],
)
def test_the_result_of_each_cell(ground: Ground, values: tuple[Value, ...], result: Result) -> None:
    found = examine(ground, [reading("D", "G-H", value) for value in values])
    assert found.results["D", same_pair(("G", "H"))] is result
    assert len(found.results) == 16


def test_leaned_readings_are_no_times_of_a_cell(ground: Ground) -> None:
    read = [reading("R", "J-K", LOW), reading("R", "J-K", LOW), reading("R", "J-K", LOW, "N")]
    assert examine(ground, read).times == {("R", same_pair(("J", "K"))): 2}


def test_a_good_part_is_decided_and_without_danger(ground: Ground) -> None:
    found = examine(ground, good_sheet(ground))
    assert found.judged.verdict is SheetVerdict.PASS
    assert found.known is not None
    assert found.known.decided is PartVerdict.ACCEPT
    assert found.dangers == ()
    assert found.seen == ()
    assert found.questions == ()
    assert found.believed is not None
    assert found.believed.decided is PartVerdict.ACCEPT


def test_nothing_is_accepted_beside_a_failing_cell(ground: Ground) -> None:
    """A lamp read closed in drive once and open twice after may be a slip; it is not accepted."""
    slips = [reading("D", "J-K", LOW), reading("D", "A-E", OL)]
    found = examine(ground, [*slips, *good_sheet(ground), *3 * [reading("D", "A-E", LOW)]])
    assert found.judged.verdict is not SheetVerdict.PASS
    assert found.known is not None
    assert found.known.decided is not PartVerdict.ACCEPT
    assert found.believed is not None
    assert found.believed.decided is found.known.decided


def test_nothing_is_accepted_while_something_is_asked() -> None:
    untold = "\n".join(line.rpartition(",")[0] for line in CHART.splitlines()) + "\n"
    ground = ground_of(untold)
    found = examine(ground, good_sheet(ground))
    assert found.questions
    assert found.known is not None
    assert found.known.verdicts[PartVerdict.ACCEPT] > 0.95
    assert found.known.decided is None


def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return how many pieces each further telling of a posterior has, as they come."""
    told: list[int] = []

    def counting(known: Posterior, pieces: Sequence[Observation]) -> Posterior:
        told.append(len(pieces))
        return tell(known, pieces)

    monkeypatch.setattr(belief, "tell", counting)
    return told


def test_what_is_seen_needs_no_diagnosis(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    told = counted(monkeypatch)
    found = examine(ground, [reading("D", "G-H", LOW)]).standing_at(BenchPlace("D"))
    assert [one.rule for one in found.seen] == ["start-in-gear"]
    assert told == []
    assert [one.rule for one in found.dangers] == ["start-in-gear"]
    # Only believed, it is no matter of what is seen.
    believed = examine(ground, [])
    assert believed.seen == ()
    assert [one.rule for one in believed.dangers] == ["start-in-gear"]


def test_a_mark_alone_decides_no_start_permit(ground: Ground) -> None:
    read = [reading(one.position, f"{one.pair[0]}-{one.pair[1]}", Mark.OPEN)
            if one.value == OL else one for one in good_sheet(ground)]  # fmt: skip
    found = examine(ground, read)
    assert found.known is not None
    assert found.known.decided is None


def test_what_the_vehicle_would_do_is_of_these_readings(ground: Ground) -> None:
    found = examine(ground, [reading("D", "G-H", LOW), reading("D", "G-H", LOW)])
    assert [one.rule.name for one in found.foretold.worth_telling][:1] == ["start-in-gear"]


def test_telling_does_not_begin_anew(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet, told = good_sheet(ground), counted(monkeypatch)
    examine(ground, sheet[:3]).telling(sheet[3])
    assert told == []
    asked = examine(ground, sheet[:3])
    assert asked.posterior is asked.posterior
    assert told == [3]
    later = asked.telling(sheet[3]).telling(sheet[4])
    assert later.posterior is not None
    assert told == [3, 2]


def test_the_judgement_is_told_alike_however_it_was_read() -> None:
    """What no part could read together is told in the same words, whatever came first."""
    chart = "pins,P,R,role\nB-E,closed,closed,other\nA-E,closed,open,other\nH-J,open,closed,other\n"
    ground = ground_of(chart)
    sheet = [
        reading("P", "B-E", LOW), reading("P", "A-E", LOW), reading("P", "H-J", OL),
        reading("R", "B-E", LOW), reading("R", "A-E", OL), reading("R", "H-J", LOW),
        reading("P", "A-B", OL), reading("P", "A-H", OL), reading("P", "B-H", OL),
    ]  # fmt: skip
    told = {
        (found.judged.reasons, found.judged.cautions)
        for order in (sheet, sheet[::-1], sheet[4:] + sheet[:4])
        for found in [examine(ground, order)]
    }
    ((reasons, cautions),) = told
    assert "A-B OL cannot be together with A-E 0.1 and B-E 0.1" in reasons[0]
    assert any("A-B, A-H, B-H" in one for one in cautions)


def test_nothing_is_accepted_while_the_readings_cannot_be_of_this_chart(ground: Ground) -> None:
    """One reading across two closed contacts is open: a slip, likely; it is to be read again."""
    found = examine(ground, [*good_sheet(ground), reading("D", "A-B", OL)])
    assert found.judged.verdict is SheetVerdict.RECHECK
    assert found.known is not None
    assert found.known.verdicts[PartVerdict.ACCEPT] > 0.95
    assert found.known.decided is None


def test_nothing_is_accepted_against_a_chart_with_a_mistake_in_it() -> None:
    ground = ground_of()
    ground.basis.__dict__["unfit"] = ("a mistake on the start permit",)
    found = examine(ground, good_sheet(ground))
    assert found.known is not None
    assert found.known.decided is None


def test_what_is_decided_against_a_part_stays_decided(ground: Ground) -> None:
    sheet = [one for one in good_sheet(ground) if one.pair != ("A", "E")]
    sheet += [reading(at, "A-E", LOW) for at in ("P", "R", "N", "D") for _ in range(2)]
    found = examine(ground, sheet)
    assert found.judged.verdict is SheetVerdict.FAIL
    assert found.known is not None
    assert found.known.decided is PartVerdict.REPAIR
    assert found.believed is not None
    assert found.believed.decided is PartVerdict.REPAIR


def test_what_the_policy_looks_at_is_what_is_known(ground: Ground) -> None:
    found = examine(ground, good_sheet(ground))
    assert found.known is not None
    assert found.standing.verdicts is found.known.verdicts
    assert found.standing.decided is PartVerdict.ACCEPT
    assert found.standing.posterior is found.posterior
    assert found.standing.results == found.results
    assert found.standing.times == found.times


def test_a_chart_too_large_for_a_diagnosis_is_judged_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("benchproof.diagnose.tables.MOST_WORK", 100.0)
    rows = [f"a{n}-b{n},closed,open,other" for n in range(25)]
    ground = ground_of("\n".join(["pins,P,R,role", *rows, "start permit,none"]) + "\n")
    assert ground.no_diagnosis
    found = examine(ground, [reading("P", "a0-b0", LOW)])
    assert found.judged.verdict is SheetVerdict.INCOMPLETE
    assert found.posterior is None
    assert found.known is None
    assert found.believed is None
    assert found.dangers == ()
    assert found.standing.verdicts is None
    assert found.standing.decided is None
    assert found.next.why


EDGE = FoundEdge("N", ("G", "H"), 0.21, 0.01, LOW, OL)


def test_evidence_of_every_kind_is_told_in_any_order_and_once(ground: Ground) -> None:
    sheet = good_sheet(ground)[:5]
    others = (EDGE, MeasuredOffset(0.02, 0.05, "the marks"), SeenCondition("bent pins", "slight"))
    whole = Evidence(tuple(sheet), (others[0],), (others[1],), (others[2],))
    found = examine(ground, whole)
    one_by_one = examine(ground, sheet)
    for piece in (*others[::-1], *others):
        one_by_one = one_by_one.telling(piece)
        assert one_by_one.at == BenchPlace(sheet[-1].position, sheet[-1].pair)
    assert one_by_one.evidence == whole
    assert bits_of(one_by_one) == bits_of(found)
    assert bits_of(found) != bits_of(examine(ground, sheet))


def test_edges_alone_are_no_readings_and_ask_for_every_cell(ground: Ground) -> None:
    """What is found of an edge proves no cell: nothing is accepted, and next is a reading."""
    found = examine(ground, Evidence(edges=(EDGE,)))
    assert found.readings == ()
    assert found.known is not None
    assert found.known.decided is None
    assert isinstance(found.next.action, TakeReading)
    assert set(found.results.values()) == {Result.MISSING}
