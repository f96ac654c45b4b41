"""Automatic proofs on the simulated bench over TCP: the lever, what is refused, how it stops."""

import random
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchproof.conduct.automatic import (
    MOST_WAIT_S,
    POLL_S,
    TRIES,
    Ended,
    LeverWanted,
    ReadingDone,
    ReadingVoid,
    Step,
    run,
)
from benchproof.conduct.gearchecks import (
    Across,
    earlier,
    leads_nulled,
    no_voltage,
    resistor_limit_ohm,
    resistor_read,
)
from benchproof.conduct.opening import open_proof
from benchproof.conduct.work import Work, now
from benchproof.family.expectation import Kind
from benchproof.family.model import Pair, same_pair
from benchproof.instrument.dialect import Dialect
from benchproof.instrument.gearfile import TypedGear, read_gear, simulated_gear
from benchproof.instrument.problems import InstrumentProblem
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.instrument.station import Station, open_station
from benchproof.proof.closing import outcome_of
from benchproof.proof.events import (
    Check,
    GearChecked,
    LeverAt,
    Mode,
    ProofOutcome,
    ReadingSource,
    ReadingTaken,
    Remarked,
)
from benchproof.proof.problems import ProofProblem
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family

pytestmark = pytest.mark.usefixtures("limited")
NAME = "valley-coded-7"
FAMILY = shipped_family(NAME)
CHANNELS: dict[str, Pair] = {f"{101 + k}": pair for k, pair in enumerate(FAMILY.charted_pairs)}
Spoil = dict[tuple[str, str], float]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(f"{tmp_path}/shop.sqlite", lambda: datetime.now(UTC)) as store:
        file = store.files.put(shipped_bytes("families", NAME))
        store.parts.add(PartRow("S-1", NAME, file, datetime.now(UTC)))
        for initials in ("ab", "cd"):
            store.people.add(PersonRow(initials, "invented"))
        yield store


def new_work(store: Store) -> Work:
    return open_proof(
        store, "S-1", Mode.PROVE, meter="depot-bench", bench="relay-matrix", by="ab", another=True
    )


def charted(pair: Pair, position: str) -> float:
    """Return what a good part reads."""
    row = next(row for row in FAMILY.chart if same_pair(row.pair) == same_pair(pair))
    expected = row.expect[FAMILY.positions.index(position)]
    if expected.kind is Kind.OHMS:
        assert expected.nominal_ohm is not None
        return expected.nominal_ohm
    return 0.1 if expected.kind is Kind.CLOSED else float("inf")


class Table:
    """A simulated bench and a station at it; `lever` as a gear file names what knows it."""

    def __init__(self, lever: str = "moved", spoil: Spoil | None = None) -> None:
        def ohms(pair: Pair, position: str, _: str) -> float:
            return (spoil or {}).get((position, "-".join(pair)), charted(pair, position))

        self.bench = SimBench(Wiring(CHANNELS, FAMILY.positions, ohms), Faults())
        self.server = SimServer(self.bench, random.Random(5))
        self.asked: list[tuple[str, str]] = []
        self.answer: Callable[[str], str] = lambda position: position
        gear = read_gear(simulated_gear(self.server.resource, CHANNELS).encode(), "bench.toml")
        assert gear.lever is not None
        sensor = {"moved": gear.lever, "sensed": replace(gear.lever, move=""), "person": None}
        self.gear = replace(gear, lever=sensor[lever])
        self.station = self.station_of()

    def station_of(self) -> Station:
        return open_station(self.gear, lambda _: Dialect("standard"), self.ask, FAMILY.positions)

    def ask(self, position: str, lean: str) -> str:
        self.asked.append((position, lean))
        self.bench.position = self.answer(position)
        return self.bench.position

    def steps(
        self, work: Work, *, until_failure: bool = False, sleep: Callable[[float], None] = print
    ) -> Generator[Step, None, Ended]:
        return run(work, self.station, "ab", self.ask, until_failure=until_failure, sleep=sleep)


@contextmanager
def table(lever: str = "moved", spoil: Spoil | None = None) -> Iterator[Table]:
    made = Table(lever, spoil)
    try:
        yield made
    finally:
        made.station.close()
        made.server.close()


def worked(steps: Generator[Step, None, Ended]) -> tuple[list[Step], Ended]:
    seen: list[Step] = []
    while True:
        try:
            seen.append(next(steps))
        except StopIteration as stopped:
            ended = stopped.value
            assert isinstance(ended, Ended)
            return seen, ended


def readings(work: Work) -> list[ReadingTaken]:
    return [event for event in work.state.events if isinstance(event, ReadingTaken)]


def test_a_good_part_is_read_whole_and_can_be_accepted(store: Store) -> None:
    work = new_work(store)
    with table() as bench:
        checked = no_voltage(work, bench.station, "ab")
        seen, ended = worked(bench.steps(work))
        assert bench.bench.closed == set()
        assert bench.bench.most_closed == 1
    assert checked is not None
    assert checked.ok
    assert ended.problem == ""
    assert ended.stop is not None
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED
    # 42 cells, and the five start permits that must be open once more.
    assert len(readings(work)) == 47 == sum(isinstance(step, ReadingDone) for step in seen)
    assert {one.source for one in readings(work)} == {ReadingSource.METER}
    moved = [event.position for event in work.state.events if isinstance(event, LeverAt)]
    assert moved == [*FAMILY.positions[1:]]
    # What was recorded is what another program reads from the archive.
    assert Work(store, work.tag).state.events == work.state.events
    assert not verify(store.database).found


def test_the_route_begins_where_the_sensor_says_that_the_lever_is(store: Store) -> None:
    work = new_work(store)
    with table() as bench:
        bench.bench.position = FAMILY.positions[-1]
        steps = bench.steps(work)
        first = next(steps)
        steps.close()
    assert first == LeverWanted(FAMILY.positions[-1], "", by_hand=False)


def test_without_a_sensor_a_person_is_asked_for_every_move(store: Store) -> None:
    work = new_work(store)
    with table("person") as bench:
        seen, ended = worked(bench.steps(work))
        assert bench.asked == [(position, "") for position in FAMILY.positions]
    wanted = [step for step in seen if isinstance(step, LeverWanted)]
    assert all(step.by_hand for step in wanted)
    assert ended.problem == ""
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED


def test_a_person_who_names_another_position_stops_it(store: Store) -> None:
    work = new_work(store)
    with table("person") as bench:
        bench.answer = lambda _: "N"
        _, ended = worked(bench.steps(work))
        assert ended.stop is None
        assert ended.problem == (
            "lever: is not where it is asked for (N); move it there, and start again."
        )
        assert readings(work) == []
        bench.answer = lambda position: position
        assert worked(bench.steps(work))[1].problem == ""
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED


def test_a_lever_moved_by_hand_is_waited_for_and_not_asked_about(store: Store) -> None:
    work = new_work(store)
    way: list[str] = []

    def hand(_: float) -> None:
        # The hand takes its time, and passes where it is not wanted.
        if way:
            bench.bench.position = way.pop(0)

    with table("sensed") as bench:
        steps = bench.steps(work, sleep=hand)
        for step in steps:
            if isinstance(step, LeverWanted):
                way[:] = [bench.bench.position, "N", step.position]
            elif isinstance(step, ReadingDone):
                assert bench.bench.position == step.asked.position
        assert bench.asked == []
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED


def test_a_lever_that_nobody_moves_is_given_up(store: Store) -> None:
    work, waited = new_work(store), [0.0]

    def pass_time(seconds: float) -> None:
        waited[0] += seconds

    with table("sensed") as bench:
        bench.bench.position = "N"
        work.record(LeverAt(now(), "ab", "N"))
        steps = bench.steps(work, sleep=pass_time)
        seen, ended = worked(steps)
    assert "lever: is not where it is asked for" in ended.problem
    assert waited[0] == pytest.approx(MOST_WAIT_S, abs=2 * POLL_S)
    assert all(one.position == "N" for one in readings(work))
    assert any(isinstance(step, ReadingDone) for step in seen)


def test_a_reading_during_which_the_lever_moved_is_not_recorded(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = new_work(store)
    with table() as bench:
        read, moves = bench.station.read, [5, 6, 9]

        def disturbed(pair: Pair) -> object:
            value = read(pair)
            moves[:] = [number - 1 for number in moves]
            if 0 in moves:
                bench.bench.position = next(
                    p for p in FAMILY.positions if p != bench.bench.position
                )
            return value

        monkeypatch.setattr(bench.station, "read", disturbed)
        seen, ended = worked(bench.steps(work))
    assert sum(isinstance(step, ReadingVoid) for step in seen) == 3
    assert ended.problem == ""
    assert len(readings(work)) == 47
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED


def test_a_lever_that_never_stays_stops_it(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    work = new_work(store)
    with table() as bench:
        read = bench.station.read

        def disturbed(pair: Pair) -> object:
            value = read(pair)
            bench.bench.position = "N"
            return value

        monkeypatch.setattr(bench.station, "read", disturbed)
        seen, ended = worked(bench.steps(work))
        assert bench.bench.closed == set()
    assert sum(isinstance(step, ReadingVoid) for step in seen) == TRIES
    assert "moved during a reading" in ended.problem
    assert readings(work) == []


@pytest.mark.parametrize("end", ["closed", "interrupted"])
def test_however_it_is_left_the_selector_is_opened_and_it_goes_on(store: Store, end: str) -> None:
    work = new_work(store)
    with table() as bench:
        steps = bench.steps(work)
        for _ in range(9):
            next(steps)
        assert bench.bench.closed != set()
        if end == "closed":
            steps.close()
        else:
            with pytest.raises(KeyboardInterrupt):
                steps.throw(KeyboardInterrupt())
        assert bench.bench.closed == set()
        before = readings(work)
        assert before
        again = Work(store, work.tag)
        _, ended = worked(bench.steps(again))
    assert ended.problem == ""
    assert readings(again)[: len(before)] == before
    assert len(readings(again)) == 47


def test_what_others_add_meanwhile_is_taken_in(store: Store) -> None:
    work = new_work(store)
    other = Work(store, work.tag)
    with table() as bench:
        for number, step in enumerate(steps := bench.steps(work)):
            if number % 7 == 0:
                other.record(Remarked(now(), "cd", f"seen {type(step).__name__}"))
                other.catch_up()
        steps.close()
    assert len(readings(work)) == 47
    assert outcome_of(work.state) is ProofOutcome.ACCEPTED
    assert not verify(store.database).found


def test_an_instrument_that_goes_away_stops_it_with_one_sentence(store: Store) -> None:
    work = new_work(store)
    with table() as bench:
        steps = bench.steps(work)
        for _ in range(9):
            next(steps)
        bench.server.close()
        _, ended = worked(steps)
        count = len(readings(work))
        assert ended.stop is None
        assert "cannot be reached" in ended.problem
        assert "\n" not in ended.problem
        assert "switch it off" in ended.problem
        with pytest.raises(InstrumentProblem):
            bench.station.close()
        bench.station = open_station(
            replace(bench.gear, selector=None, meter=TypedGear("", 1.0), lever=None),
            lambda _: Dialect("standard"),
            bench.ask,
            FAMILY.positions,
        )
    with table() as bench:
        assert worked(bench.steps(Work(store, work.tag)))[1].problem == ""
    assert len(readings(Work(store, work.tag))) == 47 > count


def test_until_failure_stops_at_the_first_cell_that_fails_twice(store: Store) -> None:
    spoil = {("P", "-".join(pair)): 2.6 for pair in [FAMILY.charted_pairs[0]]}
    work = new_work(store)
    with table(spoil=spoil) as bench:
        _, ended = worked(bench.steps(work, until_failure=True))
        taken = len(readings(work))
        assert ended.failed
        assert ended.stop is not None
        assert ended.stop.reason.endswith("fails, read twice")
        assert worked(bench.steps(work, until_failure=True))[1] == ended
        assert len(readings(work)) == taken == 2


def test_gear_that_cannot_run_a_proof_is_refused(store: Store) -> None:
    work = new_work(store)
    with table() as bench:
        assert bench.gear.selector is not None
        few = {same_pair(pair): (name,) for name, pair in [*CHANNELS.items()][1:]}
        gears = (
            (replace(bench.gear, selector=None), "This gear has no selector; read the proof by"),
            (replace(bench.gear, meter=TypedGear("", 1.0)), "no meter that reads by itself"),
            (
                replace(bench.gear, selector=replace(bench.gear.selector, channels=few)),
                f"The selector has no channel for {'-'.join(FAMILY.charted_pairs[0])}; add it",
            ),
        )
        good = bench.station
        for gear, sentence in gears:
            bench.gear = gear
            bench.station = bench.station_of()
            with pytest.raises(ProofProblem, match=sentence):
                next(bench.steps(work))
            bench.station.close()
        bench.station = good


def test_a_voltage_is_recorded_and_stops_everything(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = new_work(store)
    with table() as bench:
        monkeypatch.setattr(bench.station, "read_volt", lambda _: -12.4)
        with pytest.raises(InstrumentProblem, match="carries a voltage"):
            no_voltage(work, bench.station, "ab")
        (event,) = work.state.checks
        assert (event.what, event.value, event.ok) == (Check.NO_VOLTAGE, 12.4, False)
        assert "gear-checked" in {one.name for one in work.state.objections}
        monkeypatch.setattr(bench.station, "read_volt", lambda _: float("inf"))
        with pytest.raises(InstrumentProblem, match="carries a voltage"):
            no_voltage(work, bench.station, "ab")
        assert work.state.checks[-1].value is None
        monkeypatch.undo()
        assert no_voltage(work, bench.station, "ab") is not None
        assert "gear-checked" not in {one.name for one in work.state.objections}


def test_nulled_leads_are_taken_off_the_readings(store: Store) -> None:
    pair = FAMILY.charted_pairs[0]
    spoil = {(position, "-".join(pair)): 0.3 for position in FAMILY.positions}
    work = new_work(store)
    with table(spoil=spoil) as bench:
        event = leads_nulled(work, Across(bench.station, pair), "ab")
        assert event.ok
        assert event.value == pytest.approx(0.3)
        assert work.state.meter_chosen is not None
        assert work.state.meter_chosen.lead_ohm == pytest.approx(0.3)
        next(steps := bench.steps(work))
        next(steps)
        steps.close()
        with pytest.raises(ProofProblem, match="Readings were taken already"):
            leads_nulled(work, Across(bench.station, pair), "ab")


def test_open_leads_are_recorded_as_such(store: Store) -> None:
    work, pair = new_work(store), FAMILY.charted_pairs[0]
    spoil = {("P", "-".join(pair)): float("inf")}
    with table(spoil=spoil) as bench, pytest.raises(InstrumentProblem, match="reads no short"):
        leads_nulled(work, Across(bench.station, pair), "ab")
    (event,) = work.state.checks
    assert (event.what, event.value, event.ok) == (Check.LEADS, None, False)
    assert "reads no short" in event.note


def test_checks_that_drift_are_noticed_across_proofs(store: Store) -> None:
    """Six that rise one after another are a trend: Nelson's third rule (from memory)."""
    pair, spoil = FAMILY.charted_pairs[0], Spoil()
    with table(spoil=spoil) as bench:
        for day in range(6):
            work = new_work(store)
            spoil["P", "-".join(pair)] = 100.0 + 0.02 * day
            event = resistor_read(work, Across(bench.station, pair), "ab", 100.0, 1.0)
            assert event.ok
            assert ("rise one after another" in event.note) is (day == 5)
        assert len(earlier(store, event.gear, 100.0)) == 6
        assert earlier(store, event.gear, 99.0) == earlier(store, "another", 100.0) == []
        spoil["P", "-".join(pair)] = 103.0
        with pytest.raises(ProofProblem, match=r"resistor of 100 ohm reads 103 ohm\. The last"):
            resistor_read(work, Across(bench.station, pair), "ab", 100.0, 1.0)
    assert [event.ok for event in work.state.checks] == [True, False]
    assert isinstance(work.state.events[-1], GearChecked)


def test_the_limit_of_a_resistor_is_its_own_and_the_meters(store: Store) -> None:
    work = new_work(store)
    assert 1.0 < resistor_limit_ohm(work, 100.0) < 1.5
    with pytest.raises(ProofProblem, match="more than depot bench meter reads"):
        resistor_limit_ohm(work, 9e8)
