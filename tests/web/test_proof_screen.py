"""The proof screen without a browser: what it says, what it refuses, what is plugged in."""

from collections.abc import Iterator
from random import Random
from typing import TYPE_CHECKING

import pytest

from benchproof.conduct.families import family_of
from benchproof.conduct.opening import open_proof
from benchproof.examine.policy import seconds_left
from benchproof.family.model import pair_text
from benchproof.instrument.dialect import read_dialect
from benchproof.instrument.gearfile import read_gear, simulated_gear
from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.simbench import SimServer
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.plan.actions import TakeReading
from benchproof.plan.route import route
from benchproof.proof.events import Mode, ReadingSource, ReadingTaken
from benchproof.record.rows import CoreRow, PartRow, PersonRow
from benchproof.shipped.contents import DIALECTS, shipped_bytes
from benchproof.web.instruments import SIMULATED_NOTE, Gear, Simulated
from benchproof.web.pages.proofstage import MOST_LETTERS, asked_of, cut, stage

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.conduct.work import ProofStanding
    from benchproof.proof.state import State
    from benchproof.web.site import Site

OHM = 0.25


def opened(site: "Site", part: str = "T-1", mode: Mode = Mode.PROVE) -> str:
    """Open a proof of an invented part that is good."""
    kept = family_of(site.store, "valley-coded-7")
    file = site.store.files.put(kept.content)
    site.store.parts.add(PartRow(part, kept.family.name, file, site.store.now()))
    if not site.store.people.list():
        site.store.people.add(PersonRow("MK", "invented"))
    return open_proof(site.store, part, mode, meter="ordinary-handheld", by="MK").tag


@pytest.fixture
def simulated(site: "Site") -> Iterator["Site"]:
    site.plugged = Simulated()
    yield site
    site.plugged.close()


def form(standing: "ProofStanding", value: str = "") -> dict[str, str]:
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
    assert (event.value, event.source, event.note) == ("0.2", ReadingSource.TYPED, "")


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
    assert (event.source, event.note) == (ReadingSource.METER, SIMULATED_NOTE)
    # The same screen again, as a second press or another tablet sends it: nothing is taken.
    again = screen.post(f"/proof/{tag}/read", **form(before))
    assert again.status == 303
    assert simulated.works.standing(tag).state.seq == state.seq


def test_what_the_intake_saw_of_the_core_is_told_with_what_is_believed(
    screen: "Screen", site: "Site"
) -> None:
    kept = family_of(site.store, "valley-coded-7")
    site.store.people.add(PersonRow("MK", "invented"))
    site.store.cores.add(CoreRow("C-1", site.store.now()))
    site.store.conditions.note(core="C-1", item="bent pins", grade="bad", by="MK")
    file = site.store.files.put(kept.content)
    site.store.parts.add(PartRow("T-1", kept.family.name, file, site.store.now(), core="C-1"))
    tag = open_proof(site.store, "T-1", Mode.PROVE, meter="ordinary-handheld", by="MK").tag
    told = "bent pins (bad), seen by eye: pin open 5 times likelier at each place."
    for path in (f"/proof/{tag}", f"/proof/{tag}/belief"):
        assert told in screen.get(path).text


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


def test_what_is_done_bears_the_initials_of_somebody(screen: "Screen", site: "Site") -> None:
    """Who is at the screen is chosen among the people; initials that are nobody's do nothing."""
    tag = opened(site)
    before = site.works.standing(tag).hash
    nobody = "nobody in this archive has these initials; add them with benchproof person add zz"
    refused = screen.post("/settings", do="who", who="zz")
    assert refused.status == 400
    assert nobody in refused.text
    screen.client.cookies.set("benchproof-by", "zz")
    acts = {
        "read": form(site.works.standing(tag), "0.2"),
        "turn": {"note": "back"},
        "remark": {"text": "so"},
        "work": {"what": "cleaned"},
        "close": {"outcome": "abandoned"},
    }
    for path, typed in acts.items():
        answer = screen.post(f"/proof/{tag}/{path}", **typed)
        assert answer.status == 400, path
        assert nobody in answer.text, path
    assert site.works.standing(tag).hash == before
    del screen.client.cookies["benchproof-by"]
    page = screen.get("/settings").text
    assert '<option value="MK">MK, invented</option>' in page
    chosen = screen.post("/settings", do="who", who="MK")
    assert (chosen.status, chosen.to) == (303, "/settings")
    screen.post(f"/proof/{tag}/remark", text="so")
    assert site.works.standing(tag).state.remarks[-1].by == "MK"
    assert '<option value="MK" selected>' in screen.get("/settings").text


def test_a_second_proof_of_a_part_is_opened_only_when_asked(screen: "Screen", site: "Site") -> None:
    """The page names the open one and leads to it; a tick opens another."""
    tag = opened(site)
    assert 'name="another"' not in screen.get("/").text
    for page in (screen.get("/?part=T-1"), screen.post("/", part="T-1")):
        assert f'href="/proof/{tag}">Go on with {tag}</a>' in page.text
        assert '<input type="checkbox" name="another" value="yes">' in page.text
    refused = screen.post("/", part="T-1")
    assert refused.status == 409
    assert f"Proof {tag} of this part is open: go on with it" in refused.text
    told = screen.client.post("/api/proofs", json={"part": "T-1"})
    assert told.status_code == 409
    assert f"benchproof proof read {tag}" in told.json()["problem"]
    assert len(site.store.proofs.list()) == 1
    assert screen.post("/", part="T-1", another="yes").to == "/proof/T-1.2"
    more = screen.client.post("/api/proofs", json={"part": "T-1", "another": True})
    assert more.json()["proof"] == "T-1.3"


def test_grades_and_shelf_moves_bear_the_initials_of_somebody(
    screen: "Screen", site: "Site"
) -> None:
    opened(site)
    grade = {"do": "grade", "item": "bent pins", "grade": "slight", "by": "zz"}
    move = {"do": "move", "to": "stock", "moved_by": "zz"}
    for typed in (grade, move):
        answer = screen.post("/parts/T-1", **typed)
        assert answer.status == 400
        assert "benchproof person add zz" in answer.text
    for path, body in (
        ("/api/parts/T-1/conditions", {"item": "bent pins", "grade": "slight", "by": "zz"}),
        ("/api/parts/T-1/moves", {"to": "stock", "by": "zz"}),
        ("/api/proofs", {"part": "T-1", "by": "zz"}),
        ("/api/proofs/T-1.1/remarks", {"text": "so", "by": "zz"}),
    ):
        told = screen.client.post(path, json=body)
        assert told.status_code == 400, path
        assert "benchproof person add zz" in told.json()["problem"]
    assert site.store.conditions.list(part="T-1") == []


def test_a_turn_noted_by_mistake_is_taken_back(screen: "Screen", site: "Site") -> None:
    """The page offers it while a turn stands, and the record shows it ever after."""
    tag = opened(site)
    assert ' id="unturn-form" hidden' in screen.get(f"/proof/{tag}").text
    screen.post(f"/proof/{tag}/turn", note="two degrees back")
    turn = stage(site.works.standing(tag))["unturn"]
    shown = screen.get(f"/proof/{tag}").text
    assert ' id="unturn-form">' in shown
    assert f'name="seq" value="{turn}"' in shown
    nobody = screen.post(f"/proof/{tag}/unturn", seq=f"{turn}", reason="wrong part")
    assert nobody.status == 409
    assert "Say who you are in the settings first" in nobody.text
    screen.client.cookies.set("benchproof-by", "MK")
    assert screen.post(f"/proof/{tag}/unturn", seq=f"{turn}", reason="wrong part").status == 303
    assert site.works.standing(tag).state.turns == ()
    line = "Turned by nobody named: two degrees back; taken back by MK"
    for page in (f"/proof/{tag}", f"/proofs/{tag}"):
        told = screen.get(page).text
        assert line in told
        assert "the body was not turned: wrong part" in told
    twice = screen.post(f"/proof/{tag}/unturn", seq=f"{turn}")
    assert twice.status == 409
    assert "was taken back before" in twice.text


@pytest.mark.parametrize(
    "path", ["read", "other", "undo", "turn", "unturn", "remark", "photograph", "close"]
)
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
    assert "do not install it" in screen.get(f"/proof/{tag}/close").text
    assert "Closed as abandoned" in screen.get(f"/proof/{tag}").text


def test_when_all_is_read_it_says_what_stands_against_accepting(
    screen: "Screen", site: "Site"
) -> None:
    """Another proof of the part found it bad; this one, all good, must not end in a riddle."""
    tag = opened(site)
    with site.works.opened(tag) as work:
        pair = work.state.ground.family.chart[0].pair
        work.record(ReadingTaken("2026-01-02T03:04:05Z", "", "P", pair, "OL"))
    again = open_proof(
        site.store, "T-1", Mode.PROVE, meter="ordinary-handheld", by="MK", another=True
    ).tag
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
