"""Who reads: shown on each screen of a proof, asked where nobody is named, borne by readings."""

from typing import TYPE_CHECKING

from tests.web.conftest import screen_of

from benchproof.web.pages.start import BY

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store
    from benchproof.web.site import Site


def test_a_second_screen_is_asked_who_reads_and_its_readings_bear_it(
    screen: "Screen", filled: "Store", site: "Site"
) -> None:
    second = screen_of(site)
    shown = second.get("/proof/S-1.1").text
    assert "Who reads?" in shown
    assert second.post("/proof/S-1.1/who", who="MK").to == "/proof/S-1.1"
    assert second.client.cookies[BY] == "MK"
    shown = second.get("/proof/S-1.1").text
    assert "Who reads?" not in shown
    assert '<option value="MK" selected>' in shown
    second.post("/proof/S-1.1/other", position="P", pins="A-E", value="0.2")
    last = site.works.standing("S-1.1").state.as_left.taken[-1]
    assert last.by == "MK"
    # The first screen is its own.
    assert "Who reads?" in screen.get("/proof/S-1.1").text


def test_nobody_unknown_reads(screen: "Screen", filled: "Store") -> None:
    refused = screen.post("/proof/S-1.1/who", who="XX")
    assert refused.status == 400
    assert "nobody in this archive has these initials" in refused.text


def test_where_nobody_is_recorded_nobody_is_asked(screen: "Screen", site: "Site") -> None:
    screen.post("/", part="S-9", family="valley-coded-7")
    assert "Who reads?" not in screen.get("/proof/S-9.1").text
