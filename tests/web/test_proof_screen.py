"""The proof screen without a browser: what it says, what it refuses, what is plugged in."""

from collections.abc import Iterator
from random import Random
from typing import TYPE_CHECKING

import pytest

from benchproof.conduct.families import family_of
from benchproof.conduct.opening import open_proof
from benchproof.conduct.shipped import shipped_bytes
from benchproof.examine.policy import seconds_left
from benchproof.family.model import pair_text
from benchproof.instrument.dialect import read_dialect
from benchproof.instrument.gearfile import read_gear, simulated_gear
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.plan.actions import TakeReading
from benchproof.plan.route import route
from benchproof.proof.events import Mode, ReadingTaken, Source
from benchproof.record.rows import PartRow
from benchproof.web.pages.proofstage import MOST_LETTERS, asked_of, cut, stage
from benchproof.web.plugged import DIALECTS, SIMULATED_NOTE, Gear, Simulated

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.conduct.work import Standing
    from benchproof.proof.state import State
    from benchproof.web.site import Site

OHM = 0.25


def opened(site: "Site", part: str = "T-1", mode: Mode = Mode.PROVE) -> str:
    """Open a proof of an invented part that is good."""
    kept = family_of(site.store, "valley-coded-7")
    file = site.store.files.put(kept.content)
    site.store.parts.add(PartRow(part, kept.family.name, file, site.store.now()))
    return open_proof(site.store, part, mode, meter="ordinary-handheld", by="MK").tag


@pytest.fixture
def simulated(site: "Site") -> Iterator["Site"]:
    site.plugged = Simulated()
    yield site
    site.plugged.close()


def form(standing: "Standing", value: str = "") -> dict[str, str]:
    """Return what the screen sends of what it shows."""
    action = standing.state.next.action
    assert isinstance(action, TakeReading)
    return {
        "position": action.position,
        "pins": pair_text(action.pair),
        "lean": action.lean,
        "again": "yes" if action.again else "",
        "seq": f"{standing.state.seq}",
        "value": value,
    }


def test_without_an_instrument_it_says_so_and_a_value_is_typed(
    screen: "Screen", site: "Site"
) -> None:
    tag = opened(site)
    shown = screen.get(f"/proof/{tag}").text
    assert "No instrument: type what the meter shows" in shown
    assert "Before you hook up" in shown
    standing = site.works.standing(tag)
    empty = screen.post(f"/proof/{tag}/read", **form(standing))
    assert empty.status == 409
    assert "Type what the meter shows first" in empty.text
    assert screen.post(f"/proof/{tag}/read", **form(standing, "0.2")).status == 303
    event = site.works.standing(tag).state.events[-1]
    assert isinstance(event, ReadingTaken)
    assert (event.value, event.source, event.note) == ("0.2", Source.TYPED, "")


def test_the_simulated_bench_reads_over_its_protocol_and_is_named_in_the_record(
    screen: "Screen", simulated: "Site"
) -> None:
    tag = opened(simulated)
    assert "simulated bench (invented)" in screen.get(f"/proof/{tag}").text
    before = simulated.works.standing(tag)
    assert screen.post(f"/proof/{tag}/read", **form(before)).status == 303
    state = simulated.works.standing(tag).state
    event = state.events[-1]
    assert isinstance(event, ReadingTaken)
    assert (event.source, event.note) == (Source.METER, SIMULATED_NOTE)
    # The same screen again, as a second press or another tablet sends it: nothing is taken.
    again = screen.post(f"/proof/{tag}/read", **form(before))
    assert again.status == 303
    assert simulated.works.standing(tag).state.seq == state.seq


def test_an_invented_part_reads_the_same_after_the_power_failed(simulated: "Site") -> None:
    standing = simulated.works.standing(opened(simulated))
    action = standing.state.next.action
    assert isinstance(action, TakeReading)
    assert simulated.plugged is not None
    first = simulated.plugged.read(standing, action)
    simulated.plugged.close()
    assert simulated.plugged.read(standing, action) == first


def test_the_simulated_bench_never_reads_a_chart_of_ones_own(simulated: "Site") -> None:
    """None of its readings may get into the proof of a real part."""
    chart = b"pins,P,R,N,D\nA-B,closed,open,closed,open\nC-D,open,closed,open,open\n"
    file = simulated.store.files.put(chart)
    simulated.store.parts.add(PartRow("own-1", "own", file, simulated.store.now()))
    tag = open_proof(simulated.store, "own-1", Mode.PROVE).tag
    assert simulated.plugged is not None
    assert simulated.plugged.plug(simulated.works.standing(tag).state) is None


def test_a_typed_value_belongs_to_the_cell_that_was_shown(screen: "Screen", site: "Site") -> None:
    tag = opened(site)
    shown = site.works.standing(tag)
    headers = {"hx-request": "true"}
    one, other = form(shown, "0.2"), form(shown, "0.3")
    url = f"/proof/{tag}/read"
    first = screen.client.post(url, data={"token": screen.token, **one}, headers=headers)
    assert "Another screen" not in first.text
    second = screen.client.post(url, data={"token": screen.token, **other}, headers=headers)
    assert f"Yours is recorded for {one['pins']} in {one['position']}" in second.text
    # The very same once more is a key that was hit twice.
    third = screen.client.post(url, data={"token": screen.token, **other}, headers=headers)
    assert "is read already" in third.text
    taken = site.works.standing(tag).state.as_left.taken
    assert [(one.reading.position, pair_text(one.reading.pair)) for one in taken] == [
        (one["position"], one["pins"])
    ] * 2


def test_undo_takes_back_what_was_shown_once(screen: "Screen", site: "Site") -> None:
    tag = opened(site)
    for _ in range(2):
        screen.post(f"/proof/{tag}/read", **form(site.works.standing(tag), "0.2"))
    last = stage(site.works.standing(tag))["undo"]
    assert screen.post(f"/proof/{tag}/undo", seq=f"{last}").status == 303
    twice = screen.post(f"/proof/{tag}/undo", seq=f"{last}")
    assert twice.status == 409
    assert "was withdrawn before" in twice.text
    assert len(site.works.standing(tag).state.as_left.taken) == 1


@pytest.mark.parametrize("path", ["read", "other", "undo", "turn", "remark", "photograph", "close"])
def test_nothing_odd_that_is_sent_breaks_it(screen: "Screen", site: "Site", path: str) -> None:
    tag = opened(site)
    for text in ("", "\0", "ü" * 3000, "<script>", "-1", "9" * 30, "A-A", "nan"):
        names = ("position", "pins", "lean", "seq", "value", "text", "note", "outcome", "reason")
        answer = screen.post(f"/proof/{tag}/{path}", **dict.fromkeys(names, text))
        assert answer.status < 500, text
        assert "<script>" not in answer.text.replace("<script src", "")
    assert screen.get(f"/proof/{tag}").status == 200
    assert screen.post(f"/proof/none-such.1/{path}", text="x").status == 404


def test_closing_needs_name_and_reason_where_something_stands_against_it(
    screen: "Screen", site: "Site"
) -> None:
    tag = opened(site)
    page = screen.get(f"/proof/{tag}/close").text
    assert "Nothing is decided yet" in page
    # A start permit that was not read: nobody can answer for it, so no override is offered.
    assert "Nobody can answer for that" in page
    assert "Accept it nevertheless" not in page
    refused = screen.post(f"/proof/{tag}/close", do="override", override_by="MK", reason="x")
    assert refused.status == 409
    assert site.works.standing(tag).state.closed is None
    nameless = screen.post(f"/proof/{tag}/close", do="override")
    assert nameless.status == 422
    assert "Say who answers for it" in nameless.text
    assert screen.post(f"/proof/{tag}/close", outcome="abandoned").status == 303
    assert "do not fit it" in screen.get(f"/proof/{tag}/close").text
    assert "Closed as abandoned" in screen.get(f"/proof/{tag}").text


def test_when_all_is_read_it_says_what_stands_against_accepting(
    screen: "Screen", site: "Site"
) -> None:
    """Another proof of the part found it bad; this one, all good, must not end in a riddle."""
    tag = opened(site)
    with site.works.opened(tag) as work:
        pair = work.state.ground.family.chart[0].pair
        work.record(ReadingTaken("2026-01-02T03:04:05Z", "", "P", pair, "OL"))
    again = open_proof(site.store, "T-1", Mode.PROVE, meter="ordinary-handheld", by="MK").tag
    with site.works.opened(again) as work:
        for _ in range(80):
            action = work.state.next.action
            if not isinstance(action, TakeReading):
                break
            step = asked_of(work.state)
            assert step is not None
            value = {"closed": "0.2", "open": "OL"}.get(step.expected, "270")
            work.record(
                ReadingTaken("2026-01-02T03:04:05Z", "", action.position, action.pair, value)
            )
        assert work.state.objections
    shown = screen.get(f"/proof/{again}").text
    hero = shown[shown.index('class="hero"') : shown.index("</section>")]
    assert "Not to be accepted:" in hero
    assert tag in hero


def time_left(state: "State") -> float | None:
    return seconds_left(state.as_left.examination.standing, state.next)


def test_the_time_left_is_that_of_the_route(site: "Site") -> None:
    """From the start it is the whole route of the plan; each reading on the way takes its share."""
    tag = opened(site)
    state = site.works.standing(tag).state
    whole = route(state.ground.family, state.bench, state.as_left.start).seconds
    left = time_left(state)
    assert left == pytest.approx(whole)
    taken = state.next.seconds
    with site.works.opened(tag) as work:
        action = work.state.next.action
        assert isinstance(action, TakeReading)
        step = asked_of(work.state)
        assert step is not None
        value = {"closed": "0.2", "open": "OL"}[step.expected]
        work.record(ReadingTaken("2026-01-02T03:04:05Z", "", action.position, action.pair, value))
        then = time_left(work.state)
    assert then == pytest.approx(whole - taken)
    assert time_left(site.works.standing(opened(site, "T-9", Mode.FIND)).state) is None


def test_long_sentences_are_cut_at_a_word() -> None:
    assert cut("short.") == "short."
    long = cut("contact open at A-B, " * 40)
    assert len(long) <= MOST_LETTERS + 2
    assert long.rstrip(" …").rpartition(" ")[2] in ("contact", "open", "at", "A-B")


def served(lever_moves: bool) -> tuple[SimServer, SimBench, Gear]:
    """Serve a meter and a lever sensor at the end of one line; a person sets the probes."""
    channels = {"101": ("A", "E")}
    bench = SimBench(
        Wiring(channels, ("P", "R", "N", "D", "3", "2", "1"), lambda *_: OHM), Faults()
    )
    bench.closed.add("101")
    server = SimServer(bench, Random(1))
    text = simulated_gear(server.resource, channels)
    if not lever_moves:
        text = text.replace('\nmove = "BENC:LEV:POS"', "")
    text = text[: text.index("[selector]")] + '[selector]\nkind = "person"\n'

    def dialect(name: str) -> "object":
        return read_dialect(shipped_bytes(DIALECTS, name), f"{name}.toml")

    return server, bench, Gear(read_gear(text.encode(), "gear.toml"), dialect)  # type: ignore[arg-type]


def test_gear_is_read_only_with_the_lever_where_it_is_asked_for(site: "Site") -> None:
    standing = site.works.standing(opened(site))
    server, bench, gear = served(lever_moves=False)
    try:
        assert gear.plug(standing.state) is not None
        bench.position = "P"
        assert gear.read(standing, TakeReading("P", ("A", "E"))) == "0.250000000 ohm"
        with pytest.raises(InstrumentProblem) as found:
            gear.read(standing, TakeReading("R", ("A", "E")))
        assert found.value.trouble is Trouble.NOT_MOVED
    finally:
        gear.close()
        server.close()
