"""The pictures of what to do, on the proof page in Debian's Chromium."""

from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import FloatRect, Page
from tests.web.conftest import Bench, Opener
from tests.web.test_cell_browser import good, typed
from tests.web.test_proof_browser import FAMILY, asked, begin, good_values, wrong_for_some

SIZES = [(390, 844), (1280, 800), (1920, 1080)]
RINGED = """() => [...document.querySelectorAll('.show .pins')]
  .filter((el) => el.getClientRects().length)
  .flatMap((el) => [...el.querySelectorAll('.ringed text')]).map((el) => el.textContent)"""
PLACES = """() => Object.fromEntries([...document.querySelectorAll('.show .pins')]
  .filter((el) => el.getClientRects().length)
  .flatMap((el) => [...el.querySelectorAll('g.pins text, .ringed text')])
  .map((el) => [el.textContent, el.getBoundingClientRect().x]))"""


def box(page: Page, of: str) -> FloatRect:
    found = page.locator(of).filter(visible=True).first.bounding_box()
    assert found is not None, of
    return found


def bottom(page: Page, of: str) -> float:
    one = box(page, of)
    return one["y"] + one["height"]


@pytest.mark.parametrize("size", SIZES)
def test_picture_value_and_button_are_on_the_screen_together(
    opened: Opener, bench: Bench, size: tuple[int, int]
) -> None:
    page = opened()
    page.set_viewport_size({"width": size[0], "height": size[1]})
    begin(page, bench, f"SH-{size[0]}")
    # The first page has the caution before hook-up too; after it, the last reading.
    for _ in range(3):
        for what in (".show", "#asked", "#value", "#entry .act"):
            assert bottom(page, what) <= size[1], what
        page.evaluate("scrollTo(0, 0)")
        typed(page, good(page))
    if size[0] >= 1280:
        show, hero = box(page, ".show"), box(page, ".hero")
        assert show["x"] + show["width"] == pytest.approx(hero["x"] + hero["width"], abs=2)
        assert show["width"] > 0.45 * hero["width"], "the half that was empty is filled"
        assert show["height"] >= 0.2 * size[1]
    assert page.locator(".show svg text:visible").count() > 8
    widest = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(widest) <= 0


def test_it_shows_what_is_asked_and_nothing_moves(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "SM-1")
    at_first = box(page, ".show")
    typed(page, good(page))
    high = box(page, ".hero")["height"]
    for _ in range(8):
        position, pins = asked(page)
        assert set(page.evaluate(RINGED)) == set(pins.split("-"))
        lever = page.locator(".show .hand [class=names] [font-weight=bold]")
        assert lever.text_content() == position
        # A danger stands above it all; the head itself keeps its height.
        assert box(page, ".hero")["height"] == high
        show = box(page, ".show")
        assert (show["width"], show["height"]) == (at_first["width"], at_first["height"])
        typed(page, good(page))
    # A reading against the chart: the probes are lifted, and set again.
    while good_values(FAMILY)[asked(page)] != "closed":
        typed(page, good(page))
    typed(page, "OL")
    assert page.get_attribute("#asked", "data-again") == "yes"
    assert "Probes off, and on again" in page.locator(".show").aria_snapshot()
    show = box(page, ".show")
    assert (show["width"], show["height"]) == (at_first["width"], at_first["height"])
    # Held toward a neighbor: the lever, off its notch.
    position, pins = asked(page)
    page.locator("a:has-text('Hold toward')").first.click()
    page.wait_for_selector("#mine")
    lean = page.get_attribute("#mine", "data-lean")
    told = page.locator(".mine .show .hand desc").text_content() or ""
    assert f"Held toward {lean}." in told
    assert set(page.evaluate(RINGED)) == set(pins.split("-"))
    assert box(page, "#entry .act")["y"] + box(page, "#entry .act")["height"] <= 800


def test_it_is_said_to_who_cannot_see_it(opened: Opener, bench: Bench, contrasts: str) -> None:
    page = opened()
    begin(page, bench, "SA-1")
    position, pins = asked(page)
    one, other = pins.split("-")
    said = page.locator(".show").aria_snapshot()
    assert f"Pins {one} and {other} of the connector" in said
    assert f"Lever in {position}" in said
    assert wrong_for_some(page) == []
    assert page.evaluate(contrasts) == []


def test_the_wire_side_mirrors_the_mating_side_and_stays_chosen(
    opened: Opener, bench: Bench
) -> None:
    page = opened()
    begin(page, bench, "SW-1")
    mating = page.evaluate(PLACES)
    page.click("#side")
    wire = page.evaluate(PLACES)
    assert set(mating) == set(wire)
    by_mating = sorted(("A", "B", "C", "F", "E"), key=lambda pin: mating[pin])
    assert by_mating == ["A", "B", "C", "F", "E"]
    assert sorted(by_mating, key=lambda pin: wire[pin]) == by_mating[::-1]
    assert page.get_attribute("#side", "aria-pressed") == "true"
    page.reload()
    assert page.evaluate(PLACES) == wire
    page.click("#side")
    assert page.evaluate(PLACES) == mating


def test_a_part_without_a_lever_has_no_picture_of_one(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "SC-1", "depot-coils-3")
    assert page.locator(".show .pins.mating svg").count() == 1
    assert page.locator(".show .hand svg").count() == 0
    assert set(page.evaluate(RINGED)) == set(asked(page)[1].split("-"))
    before = box(page, ".show .pins svg")
    typed(page, "OL")
    assert "Probes off, and on again" in page.locator(".show").aria_snapshot()
    after = box(page, ".show .pins svg")
    assert (after["width"], after["height"]) == (before["width"], before["height"])


def test_without_script_the_picture_is_there(opened: Opener, bench: Bench) -> None:
    page = opened(java_script_enabled=False)
    begin(page, bench, "SN-1")
    assert page.locator(".show .mating svg").is_visible()
    assert not page.locator(".show .wire svg").is_visible()
    assert not page.locator("#side").is_visible()


@pytest.mark.parametrize("look", ["dark", "sunlight"])
def test_it_follows_the_look(opened: Opener, bench: Bench, look: str) -> None:
    page = opened(look=look, address=bench.address)
    begin(page, bench, f"SL-{look}")
    shown = page.locator(".show .mating svg").screenshot()
    grey = Image.open(BytesIO(shown)).convert("L")
    light = sum(grey.histogram()[128:]) / (grey.width * grey.height)
    assert light < 0.4 if look == "dark" else light > 0.6
