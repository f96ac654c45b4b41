"""Any cell of the chart as a handle, in Debian's Chromium: what was read there, and what to do."""

from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Page
from tests.web.conftest import Bench, Opener
from tests.web.test_proof_browser import (
    FAMILY,
    asked,
    begin,
    good_values,
    press,
    seq,
    wait_on,
    wrong_for_some,
)
from tests.web.test_proof_found import off_readings, trace

from benchproof.cli import main
from benchproof.reading.sheet import write_readings

PHONES = ((390, 844), (360, 640))


def api(page: Page, bench: Bench) -> dict[str, Any]:
    tag = page.inner_text("h1")
    found: dict[str, Any] = page.request.get(f"{bench.address}/api/proofs/{tag}").json()
    return found


def typed(page: Page, text: str) -> None:
    was = seq(page)
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    wait_on(page, was)


def good(page: Page) -> str:
    return {"closed": "0.2", "open": "OL"}.get(value := good_values(FAMILY)[asked(page)], value)


def test_minus_belongs_to_numbers(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "MI-1")
    typed(page, good(page))
    while good_values(FAMILY)[asked(page)] != "closed":
        typed(page, good(page))
    here, before = asked(page), len(api(page, bench)["readings"])
    typed(page, "-0.1")
    told = api(page, bench)["readings"]
    assert len(told) == before + 1
    assert not any(one.get("withdrawn") for one in told)
    last = told[-1]
    assert (last["position"], "-".join(last["pins"]), last["value"]) == (*here, "-0.1")


def test_undo_is_u_and_backspace_with_nothing_typed(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "UN-1")
    first = asked(page)
    typed(page, good(page))
    press(page, "u")
    assert asked(page) == first
    typed(page, good(page))
    page.wait_for_timeout(800)
    press(page, "Backspace")
    assert asked(page) == first
    # What deletes what was typed is no undo, however often it is pressed.
    typed(page, good(page))
    was = seq(page)
    page.keyboard.type("27")
    for _ in range(4):
        page.keyboard.press("Backspace")
    page.wait_for_timeout(200)
    assert seq(page) == was


@pytest.mark.parametrize("size", PHONES)
def test_undo_is_on_the_screen_of_a_phone(
    opened: Opener, bench: Bench, size: tuple[int, int]
) -> None:
    page = opened("phone", has_touch=True, is_mobile=True)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    begin(page, bench, f"PH-{size[0]}")
    page.keyboard.press("Enter")
    page.wait_for_selector(".undo")
    box = page.locator(".undo").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= size[1]
    page.tap(".undo")
    page.wait_for_selector("#said >> text=It stays in the record and does not count")
    # No word is broken in two.
    for button in page.locator(".marks button").all():
        assert button.evaluate(
            "el => el.getClientRects().length && el.scrollWidth <= el.clientWidth"
        )
        assert (
            button.evaluate(
                "el => { const r = document.createRange(); r.selectNodeContents(el.firstChild);"
                " return r.getClientRects().length }"
            )
            == 1
        )


def test_a_slip_is_put_right_in_two_presses(opened: Opener, bench: Bench) -> None:
    """A slipped probe reads open, never a low value (common practice, no source)."""
    page = opened()
    begin(page, bench, "SL-1")
    while good_values(FAMILY)[asked(page)] != "closed":
        typed(page, good(page))
    slipped = asked(page)
    typed(page, "OL")
    assert asked(page) == slipped, "it is read again at once"
    # A first press: the good reading. A second: what the first was.
    typed(page, "0.2")
    place = page.inner_text(".arrived-reading")
    assert "OL" in place or ">" in place
    assert "decides" in page.inner_text(".takes li >> nth=0")
    assert page.locator(".takes .result").all_inner_texts() == ["! fail", "+ pass"]
    was = seq(page)
    page.keyboard.press("s")
    wait_on(page, was)
    readings = api(page, bench)["readings"]
    assert readings[-2]["withdrawn_as"] == "slip"
    assert not readings[-1]["withdrawn"]
    # The rules of what was withdrawn hold, and the page says what is lacking and offers it.
    assert "2 readings since must agree against it" in page.inner_text(".arrived-reading")
    page.click(".arrived-reading a:has-text('Hold toward') >> nth=0")
    page.wait_for_selector("#mine")
    typed(page, "0.2")
    page.click(f"{here(slipped)}")
    page.wait_for_selector("#chosen")
    assert page.locator("#chosen .head-of-it .result").inner_text() == "+ pass"


def here(at: tuple[str, str]) -> str:
    return f"table.cells a[href='?at={at[0]}&pins={at[1]}']"


def test_a_start_in_gear_is_no_slip(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "SG-1")
    page.click(here(("D", "G-H")))
    page.wait_for_selector("#chosen")
    page.click("#chosen >> text=Read it")
    page.wait_for_selector("#mine")
    assert page.inner_text("#mine").split()[:2] == ["Lever", "D"]
    typed(page, "0.2")
    page.click(here(("D", "G-H")))
    page.wait_for_selector("#chosen .takes")
    page.keyboard.type("*")
    was = seq(page)
    page.keyboard.press("Enter")
    wait_on(page, was)
    assert page.query_selector(".slip") is None
    assert "DANGER" in page.inner_text(".dangers")
    # The doubled cell shows what decides, not what came last.
    assert "0.2" in page.inner_text(here(("D", "G-H")))
    assert "fail" in page.inner_text(here(("D", "G-H")))


def test_arrows_go_to_any_cell_and_typing_there_reads_it_again(
    opened: Opener, bench: Bench
) -> None:
    page = opened()
    begin(page, bench, "AR-1")
    first = asked(page)
    typed(page, good(page))
    page.keyboard.press("ArrowLeft")
    page.wait_for_selector("#chosen")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.click(here(first))
    page.wait_for_function(
        "name => document.querySelector('#chosen .name')?.textContent === name",
        arg=f"{first[1]} in {first[0]}",
    )
    assert page.locator("#chosen .takes li").count() == 1
    page.focus(here(first))
    was = seq(page)
    page.keyboard.type("0.3")
    assert page.input_value("#value") == "0.3"
    page.keyboard.press("Enter")
    wait_on(page, was)
    last = api(page, bench)["readings"][-1]
    assert (last["position"], "-".join(last["pins"]), last["value"]) == (*first, "0.3")
    assert not page.query_selector("#chosen")
    page.keyboard.press("ArrowUp")
    page.wait_for_selector("#chosen")
    page.keyboard.press("Escape")
    assert page.query_selector("#chosen") is None
    assert page.evaluate("document.activeElement.id") == "value"


def test_a_cell_is_withdrawn_with_its_reason_and_remarked_on(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "WR-1")
    first = asked(page)
    for _ in range(3):
        typed(page, good(page))
    page.click(here(first))
    page.click("#chosen >> text=Remark here")
    page.fill("#f-here", "pin bent")
    was = seq(page)
    page.click("text=Note it here")
    wait_on(page, was)
    assert f"{first[1]} in {first[0]}: pin bent" in page.inner_text(".foot")
    page.click(here(first))
    page.click("#chosen >> text=Withdraw")
    assert wrong_for_some(page) == []
    page.select_option("#f-kind", "wrong cell")
    page.fill("#f-why", "pin B touched")
    was = seq(page)
    page.click("text=Withdraw it")
    wait_on(page, was)
    assert "withdrawn as wrong cell by nobody named: pin B touched" in page.inner_text("#said")
    page.click(here(first))
    page.wait_for_selector("#chosen .gone")
    assert "pin B touched" in page.inner_text("#chosen")


def test_without_script_a_cell_is_read_again(opened: Opener, bench: Bench) -> None:
    page = opened(java_script_enabled=False)
    begin(page, bench, "NS-1")
    page.fill("#value", "0.2")
    page.click("#entry button[data-pedal]")
    page.click("table.cells a >> nth=0")
    page.click("#chosen >> text=Read again")
    page.fill("#value", "0.4")
    page.click("#entry button[data-pedal]")
    assert "×2" in page.inner_text("table.cells a >> nth=0")
    page.click("table.cells a >> nth=0")
    page.click("#chosen >> text=Withdraw >> nth=0")
    page.fill("#f-why", "no script")
    page.click("text=Withdraw it")
    assert "no script" in page.inner_text(".foot")


def test_before_any_reading_nothing_is_said_of_the_part(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "PR-1")
    assert "%" not in page.inner_text("main")
    assert "Nothing is read yet" in page.inner_text(".belief")
    page.click("text=All that is believed")
    assert "%" not in page.inner_text("main")
    page.go_back()
    typed(page, good(page))
    assert "%" in page.inner_text(".belief")


def test_the_chart_grows_with_the_screen_and_what_passes_is_quiet(
    opened: Opener, bench: Bench
) -> None:
    page = opened()
    begin(page, bench, "GR-1")
    typed(page, good(page))
    while good_values(FAMILY)[asked(page)] != "closed":
        typed(page, good(page))
    typed(page, "OL")
    size = "el => parseFloat(getComputedStyle(el).fontSize)"
    fail = page.locator("table.cells td.fail small")
    at_bench = fail.evaluate(size)
    page.set_viewport_size({"width": 1920, "height": 1080})
    assert fail.evaluate(size) > 1.3 * at_bench
    assert fail.evaluate(size) >= 18
    # Quiet to the eye; who listens hears the word.
    assert "pass" in (page.locator("table.cells td.pass").first.aria_snapshot())
    ground = "el => getComputedStyle(el).backgroundColor"
    plain = page.locator("table.cells td.missing").first.evaluate(ground)
    assert page.locator("table.cells td.pass").first.evaluate(ground) == plain
    assert page.locator("table.cells td.fail").evaluate(ground) != plain


def test_no_figure_is_white_in_the_dark(opened: Opener, bench: Bench) -> None:
    page = opened(look="dark", address=bench.address)
    begin(page, bench, "DK-1")
    shown = page.locator(".travel .figure svg").screenshot()
    grey = Image.open(BytesIO(shown)).convert("L")
    assert sum(grey.histogram()[128:]) < 0.3 * grey.width * grey.height


def out_of_line(page: Page, bench: Bench, tmp_path: Path, part: str) -> str:
    """Prove a part 5 degrees ahead, by its sheet and a sweep; return the proof's tag."""
    begin(page, bench, part)
    tag = page.inner_text("h1")
    (tmp_path / "off.csv").write_text(write_readings(off_readings()), encoding="utf-8")
    (tmp_path / "sweep.csv").write_bytes(trace(5.0))
    sheet = ["proof", "read", tag, "--sheet", f"{tmp_path / 'off.csv'}"]
    read = CliRunner().invoke(main, [*sheet, "--store", f"{bench.archive}"])
    assert read.exit_code == 0, read.stderr
    page.wait_for_selector("text=42 of 42 cells read")
    page.click("text=Edge or sweep")
    page.set_input_files("#f-sweep", tmp_path / "sweep.csv")
    page.click("text=Record the sweep")
    page.wait_for_selector("text=Align it", timeout=24_000)
    return tag


def test_what_is_decided_is_shown_on_a_dial_and_carried_along(
    opened: Opener, bench: Bench, contrasts: str, tmp_path: Path
) -> None:
    page = opened()
    tag = out_of_line(page, bench, tmp_path, "RE-1")
    hero = " ".join(page.inner_text(".hero").split())
    # Arc = radius x degrees x 0.01745 (common practice, no source: a trade rule of thumb):
    # 5 degrees on a circle of 30 mm.
    assert "Turn the body 5.0° At the marks 2.6 mm" in hero
    assert "Counter-clockwise, seen from the cover side" in hero
    assert "Good from -2.7 to +2.7°" in hero
    assert page.locator(".hero .act").inner_text().startswith("Align it")
    assert "act" not in (page.get_attribute(".hero a:has-text('Close as realign')", "class") or "")
    # It is the biggest thing.
    areas = page.evaluate(
        "() => Object.fromEntries([...document.querySelectorAll('.hero .figure, .hero .huge, "
        ".hero .button')].map(el => { const r = el.getBoundingClientRect();"
        " return [el.className, r.width * r.height]; }))"
    )
    assert max(areas, key=lambda name: areas[name]).startswith("figure")
    for width, height in ((1280, 800), *PHONES):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(contrasts) == []
        assert wrong_for_some(page) == []
    page.set_viewport_size({"width": 1280, "height": 800})
    page.keyboard.press("Enter")
    page.wait_for_url("**/align/**")
    shown = " ".join(page.inner_text("main").split())
    assert f"Align RE-1, {FAMILY} proof {tag}" in shown
    assert "Turn the body 5.0° At the marks 2.6 mm" in shown
    assert "benchproof" not in shown, "nobody is sent to the command line"
    assert page.evaluate(contrasts) == []
    assert wrong_for_some(page) == []
    page.click("text=It is turned and tight: prove it again")
    page.wait_for_url(f"**/proof/{tag}")
    assert "0 of 42 cells read" in page.inner_text(".chart h2")
    assert "5.0° counter-clockwise, as the proof says" in page.inner_text(".foot")
