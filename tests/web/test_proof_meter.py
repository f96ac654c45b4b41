"""Meter and leads at the screen of a proof: chosen, nulled and checked, by hand or instrument."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from tests.conduct.test_automatic import Table, table
from tests.web.test_proof_browser import begin, wrong_for_some
from tests.web.test_proof_screen import opened as open_one

from benchproof.instrument.dialect import Dialect
from benchproof.proof.events import Check
from benchproof.record.rows import GearRow
from benchproof.shipped.contents import shipped_bytes
from benchproof.web.instruments import Gear

if TYPE_CHECKING:
    from tests.web.conftest import Bench, Opener, Screen

    from benchproof.proof.state import State
    from benchproof.web.site import Site

SHORT = 0.3


@pytest.fixture
def tag(site: "Site") -> str:
    return open_one(site)


@pytest.fixture
def plugged(site: "Site") -> Iterator[Table]:
    """Instruments with a short across the first pair, in every position."""
    with table("moved", {(at, "A-E"): SHORT for at in ("P", "R", "N", "D")}) as made:
        site.plugged = Gear(made.gear, lambda _: Dialect("standard"))
        yield made
        site.plugged.close()


def state_of(site: "Site", tag: str) -> "State":
    return site.works.standing(tag).state


def said(screen: "Screen", path: str, **typed: str) -> str:
    """Return what the screen says of a form that the script sent."""
    sent = screen.client.post(
        path, data={"token": screen.token, **typed}, headers={"hx-request": "true"}
    )
    assert sent.status_code == 200, sent.text
    return sent.text.partition('<div id="said"')[2]


def test_a_meter_is_chosen_before_the_first_reading_and_no_other_after_it(
    screen: "Screen", site: "Site", tag: str
) -> None:
    file = site.store.files.put(shipped_bytes("meters", "depot-bench"))
    site.store.gear.add(GearRow("M-1", "meter", file))
    assert '<option value="M-1">' in screen.get(f"/proof/{tag}").text
    chosen = screen.post(f"/proof/{tag}/meter", meter="M-1", lead_ohm="0,2", ambient_c="31")
    assert chosen.status == 303
    now = state_of(site, tag).meter_chosen
    assert now is not None
    assert (now.tag, now.name, now.lead_ohm, now.ambient_c, now.by) == (
        "M-1", "depot bench meter", 0.2, 31.0, "",
    )  # fmt: skip
    assert state_of(site, tag).as_left.meter.leads.ohm == 0.2
    screen.post(f"/proof/{tag}/other", position="P", pins="A-E", value="0.3")
    late = screen.post(f"/proof/{tag}/meter", meter="workshop-dial")
    assert late.status == 409
    assert "taken with another meter" in late.text
    shown = screen.get(f"/proof/{tag}").text
    assert "taken with another meter" in shown
    assert "Use this meter" not in shown
    # A bench may be chosen at any time.
    assert screen.post(f"/proof/{tag}/meter", bench="needle-probes").status == 303
    assert state_of(site, tag).ground.bench.name == "needle probes"


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ({}, "Name a meter, a bench, or both."),
        ({"meter": "none-such"}, "neither a tag of the gear"),
        ({"meter": "depot-bench", "lead_ohm": "far"}, "Type what the leads read"),
        ({"meter": "depot-bench", "lead_ohm": "-3"}, "Leads read 0 to 100 ohm"),
        ({"meter": "depot-bench", "ambient_c": "300"}, "At the meter it is -40 to 60"),
        ({"bench": "relay-matrix", "lead_ohm": "0.2"}, "is told of a meter; name it too"),
        ({"meter": "depot-bench", "bench": "none-such"}, "neither a tag of the gear"),
    ],
)
def test_what_cannot_be_chosen_is_said_and_nothing_is_recorded(
    screen: "Screen", site: "Site", tag: str, typed: dict[str, str], why: str
) -> None:
    before = state_of(site, tag).seq
    assert why in said(screen, f"/proof/{tag}/meter", **typed)
    assert state_of(site, tag).seq == before


def test_leads_that_a_person_reads_are_nulled(screen: "Screen", site: "Site", tag: str) -> None:
    assert "join the probe tips" in screen.get(f"/proof/{tag}").text
    told = said(screen, f"/proof/{tag}/leads", values="0.2 0,2  0.3")
    assert "leads, 0.2333 ohm, good" in told
    now = state_of(site, tag)
    assert now.meter_chosen is not None
    assert now.meter_chosen.lead_ohm == pytest.approx(0.7 / 3)
    assert [(one.what, one.ok) for one in now.checks] == [(Check.LEADS, True)]
    assert "leads, 0.2333 ohm, good" in screen.get(f"/proof/{tag}").text
    # Leads that the meter nulled itself take nothing off.
    said(screen, f"/proof/{tag}/leads", values="-0.1 0 0")
    nulled = state_of(site, tag).meter_chosen
    assert nulled is not None
    assert nulled.lead_ohm == 0.0
    screen.post(f"/proof/{tag}/other", position="P", pins="A-E", value="0.3")
    assert "Readings were taken already" in said(screen, f"/proof/{tag}/leads", values="1 1 1")


@pytest.mark.parametrize(
    ("values", "why", "recorded"),
    [
        ("", "No instrument of this bench reads that; type", False),
        ("0.2 0.2", "Read the leads 3 times", False),
        ("0.2 far 0.2", "far", False),
        ("c c c", "says nothing of the leads", False),
        ("OL 0.2 0.2", "reads no short", True),
        ("0.2 0.4 0.2", "wanders", True),
    ],
)
def test_leads_that_are_no_short_are_refused(
    screen: "Screen", site: "Site", tag: str, values: str, why: str, recorded: bool
) -> None:
    before = state_of(site, tag).meter_chosen
    assert why in said(screen, f"/proof/{tag}/leads", values=values)
    now = state_of(site, tag)
    assert now.meter_chosen == before
    assert [one.ok for one in now.checks] == ([False] if recorded else [])


def test_a_known_resistor_that_a_person_reads(screen: "Screen", site: "Site", tag: str) -> None:
    path = f"/proof/{tag}/resistor"
    assert "known resistor of 100 ohm, 100.4 ohm, good" in said(
        screen, path, known="100", value="100.4"
    )
    far = said(screen, path, known="0.1k", value="108")
    assert "The resistor of 100 ohm reads 108 ohm." in far
    assert "do not use this meter and these leads" in far
    assert "100 ohm, 108 ohm, good" in said(screen, path, known="100", value="108", limit="9")
    assert "Type how many ohms the resistor is" in said(screen, path, known="", value="1")
    assert "Type how many ohms the resistor is" in said(screen, path, known="-4", value="1")
    assert "says nothing" in said(screen, path, known="100", value="closed")
    assert [one.ok for one in state_of(site, tag).checks] == [True, False, True]
    # A check that is not good stands against accepting the part until another is.
    assert "gear-checked" not in {one.name for one in state_of(site, tag).objections}


def test_the_bench_instrument_reads_leads_resistor_and_voltage(
    screen: "Screen", site: "Site", plugged: Table, tag: str
) -> None:
    assert "a short across A-E" in screen.get(f"/proof/{tag}").text
    assert "leads, 0.3 ohm, good" in said(screen, f"/proof/{tag}/leads")
    now = state_of(site, tag).meter_chosen
    assert now is not None
    assert now.lead_ohm == pytest.approx(SHORT)
    assert now.identity
    assert "no voltage, " in said(screen, f"/proof/{tag}/voltage")
    assert "of 100 ohm reads" in said(screen, f"/proof/{tag}/resistor", known="100")
    kinds = [(one.what, one.ok) for one in state_of(site, tag).checks]
    assert kinds == [(Check.LEADS, True), (Check.NO_VOLTAGE, True), (Check.RESISTOR, False)]


def test_a_program_does_the_same(screen: "Screen", site: "Site", tag: str) -> None:
    for what, body in (
        ("gear", {"meter": "depot-bench", "lead_ohm": 0.1, "by": "MK"}),
        ("leads", {"values": "0.2 0.2 0.2", "by": "MK"}),
        ("resistor", {"known": "100", "value": "100.2", "by": "MK"}),
    ):
        answer = screen.client.post(f"/api/proofs/{tag}/{what}", json=body)
        assert answer.status_code == 201, answer.text
    now = state_of(site, tag)
    assert [(one.by, one.ok) for one in now.checks] == [("MK", True), ("MK", True)]
    assert now.meter_chosen is not None
    assert now.meter_chosen.name == "depot bench meter"


def test_the_leads_are_nulled_by_keys(opened: "Opener", bench: "Bench") -> None:
    page = opened()
    begin(page, bench, "ML-1")
    page.focus("[data-opens=meter]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#f-leads")
    assert wrong_for_some(page) == []
    page.focus("#f-leads")
    page.keyboard.type("0.2 0.2 0.2")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said .done")
    assert "leads, 0.2 ohm, good" in page.inner_text("#said")
    # With a meter of another name the page says so at once.
    page.focus("[data-opens=meter]")
    page.keyboard.press("Enter")
    page.select_option("#f-meter", "depot-bench")
    page.focus("text=Use this meter")
    page.keyboard.press("Enter")
    page.wait_for_selector(".of:has-text('depot bench meter')")
    page.focus("[data-opens=meter]")
    page.keyboard.press("Enter")
    assert page.input_value("#f-meter") == "depot-bench"


def test_the_gear_is_checked_on_its_page_as_by_the_command(
    screen: "Screen", site: "Site", plugged: Table, tag: str
) -> None:
    shown = screen.get("/gear").text
    assert "off the vehicle or unplugged, and de-energised" in shown
    assert f'href="/proof/{tag}#meter"' in shown
    told = screen.post("/gear/check")
    assert told.status == 200
    assert "Meter: benchproof, simulated bench, invented" in told.text
    assert "No voltage stands on any pair." in told.text
    assert "<li>A-E: " not in told.text
    assert "<li>A-E: 0.3000" in screen.post("/gear/check", reads="yes").text
    # The proof goes on with the same instruments.
    assert "leads, 0.3 ohm, good" in said(screen, f"/proof/{tag}/leads")
    assert "nobody named" in screen.get("/gear").text
    plugged.server.close()
    gone = screen.post("/gear/check")
    assert gone.status == 409
    assert 'class="mistake"' in gone.text


def test_every_recorded_check_is_listed_with_who_and_when(screen: "Screen", site: "Site") -> None:
    tag = open_one(site)
    body = {"values": "0.2 0.2 0.2", "by": "MK"}
    assert screen.client.post(f"/api/proofs/{tag}/leads", json=body).status_code == 201
    said(screen, f"/proof/{tag}/resistor", known="100", value="180")
    page = screen.get("/gear").text
    (leads, resistor) = state_of(site, tag).checks
    assert f"<td>{leads.at[:16].replace('T', ' ')}</td><td>MK</td>" in page
    assert leads.told in page
    assert "180 ohm, NOT good" in page
    assert page.index(resistor.told) < page.index(leads.told), "the latest first"


def test_without_instruments_the_gear_page_says_what_to_do(screen: "Screen") -> None:
    assert "benchproof bench --gear FILE" in screen.get("/gear").text
    refused = screen.post("/gear/check")
    assert refused.status == 409
    assert "No instrument that reads by itself is plugged in" in refused.text
