"""The page in Debian's Chromium: for everybody, at every size, with nothing from elsewhere.

`BENCHPROOF_SCREENS=docs/screens .venv/bin/pytest tests/web/test_browser.py` takes new pictures.
"""

import os
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Browser, Page, Response

if TYPE_CHECKING:
    from tests.web.conftest import Served

PAGES = {
    "start": "/",
    "all": "/all",
    "proofs": "/proofs",
    "record": "/proofs/S-1.1",
    "decide": "/proofs/S-1.1/decide",
    "foretell-proof": "/proofs/S-1.1/foretell",
    "parts": "/parts",
    "part": "/parts/S-1",
    "search": "/search?q=s-1",
    "families": "/families",
    "family": "/families/valley-coded-7",
    "wiring": "/families/valley-coded-7/wiring",
    "route": "/families/valley-coded-7/route",
    "align-pick": "/align",
    "align": "/align/valley-coded-7",
    "foretell": "/foretell/valley-coded-7?offset=5",
    "chart": "/chart?like=valley-coded-7",
    "shelf": "/shelf",
    "cores": "/cores",
    "core": "/cores/C-1",
    "units": "/units",
    "unit": "/units/U-1",
    "gear": "/gear",
    "people": "/people",
    "jobs": "/jobs",
    "archive": "/archive",
    "settings": "/settings",
    "shop": "/shop",
    "pair": "/pair",
    "mistake": "/proofs/none-such",
}
SIZES = {"bench": (1280, 800), "tablet": (800, 1280), "phone": (360, 640), "zoomed": (640, 400)}
"""Zoomed is the bench's screen at 200 %: half as many pixels of the page each way."""
LOOKED_AT = ("bench", "phone")
MOST_BYTES = 150_000
SCREENS = os.environ.get("BENCHPROOF_SCREENS")


class Opened:
    """A page in the browser, and what it complained of."""

    def __init__(self, browser: Browser, size: tuple[int, int], look: str, address: str) -> None:
        width, height = size
        self.context = browser.new_context(viewport={"width": width, "height": height})
        cookie = {"name": "benchproof-look", "value": look, "url": address}
        self.context.add_cookies([cookie])  # type: ignore[list-item]
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda one: self.said.append(f"{one.type}: {one.text}"))
        self.page.on("pageerror", lambda one: self.said.append(f"{one}"))
        self.page.on("request", lambda one: self.asked.append(one.url))

    def go(self, address: str) -> Response:
        response = self.page.goto(address)
        assert response is not None
        self.page.wait_for_timeout(60)
        return response

    def __enter__(self) -> "Opened":
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()


def picture(page: Page, path: Path) -> None:
    """Take a picture, in as few colours as a page of text has."""
    drawn = Image.open(BytesIO(page.screenshot())).convert("RGB")
    drawn.quantize(48).save(path, optimize=True)


def wrong_for_some(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {[node['html'][:90] for node in one['nodes'][:3]]}" for one in found]


def too_wide(page: Page) -> int:
    wide: int = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return wide


@pytest.mark.parametrize("name", PAGES)
def test_every_page_is_for_everybody(browser: Browser, served: "Served", name: str) -> None:
    with Opened(browser, SIZES["bench"], "light", served.address) as opened:
        response = opened.go(served.address + PAGES[name])
        assert response.status == (404 if name == "mistake" else 200)
        for size, (width, height) in SIZES.items():
            opened.page.set_viewport_size({"width": width, "height": height})
            assert too_wide(opened.page) <= 0, size
            if size in LOOKED_AT:
                assert wrong_for_some(opened.page) == [], size
                if SCREENS:
                    picture(opened.page, Path(SCREENS) / f"{name}-{size}.png")
        assert [one for one in opened.said if "404" not in one] == []
        # Nothing comes from anywhere else.
        assert all(one.startswith((served.address, "data:")) for one in opened.asked)


@pytest.mark.parametrize("look", ["dark", "sunlight"])
def test_every_look_is_for_everybody(browser: Browser, served: "Served", look: str) -> None:
    with Opened(browser, SIZES["bench"], look, served.address) as opened:
        for name in ("start", "record", "align", "chart", "foretell", "jobs", "mistake"):
            opened.go(served.address + PAGES[name])
            assert wrong_for_some(opened.page) == [], name
            if SCREENS and name in ("start", "record"):
                picture(opened.page, Path(SCREENS) / f"{name}-{look}.png")


def test_too_little_contrast_is_found(browser: Browser, contrasts: str) -> None:
    page = browser.new_page()
    page.set_content("<p style='color:#666;background:#fff'>grey</p><p>black</p>")
    # (1 + 0.05) / (0.1329 + 0.05), from memory: #666 on white is 5.74:1.
    assert page.evaluate(contrasts) == ["5.74 grey"]
    page.close()


@pytest.mark.parametrize("look", ["light", "dark", "sunlight"])
def test_contrast_is_at_least_seven_to_one(
    browser: Browser, served: "Served", contrasts: str, look: str
) -> None:
    with Opened(browser, SIZES["bench"], look, served.address) as opened:
        for name in ("record", "align", "foretell-proof", "start", "part", "chart", "mistake"):
            opened.go(served.address + PAGES[name])
            assert opened.page.evaluate(contrasts) == [], name


def test_targets_are_large_enough_for_a_glove(browser: Browser, served: "Served") -> None:
    small = """() => [...document.querySelectorAll('button, .button, .head a, .card, .picks label,'
      + 'input:not([type=hidden]):not([type=radio]):not([type=checkbox]), select')]
      .filter((el) => el.getClientRects().length)
      .filter((el) => el.getBoundingClientRect().height < 63.5)
      .map((el) => el.outerHTML.slice(0, 80))"""
    with Opened(browser, SIZES["phone"], "light", served.address) as opened:
        for name in ("start", "part", "align", "jobs", "settings"):
            opened.go(served.address + PAGES[name])
            assert opened.page.evaluate(small) == [], name


def test_a_page_is_light(browser: Browser, served: "Served") -> None:
    for name in ("start", "record", "align", "chart"):
        with Opened(browser, SIZES["bench"], "light", served.address) as opened:
            tracer = opened.context.new_cdp_session(opened.page)
            tracer.send("Network.enable")
            sizes: list[float] = []
            tracer.on(
                "Network.loadingFinished",
                lambda one, to=sizes: to.append(one["encodedDataLength"]),
            )
            opened.go(served.address + PAGES[name])
            opened.page.wait_for_timeout(100)
            assert 10_000 < sum(sizes) < MOST_BYTES, name


def test_what_is_typed_elsewhere_arrives(browser: Browser, served: "Served") -> None:
    """Two screens on one alignment stay in step, and a reload loses nothing."""
    address = f"{served.address}/align/valley-coded-7?part=two-screens"
    with (
        Opened(browser, SIZES["bench"], "light", served.address) as one,
        Opened(browser, SIZES["tablet"], "light", served.address) as other,
    ):
        one.go(address)
        other.go(address)
        # One field, its cursor kept: a number where it goes as asked, words where it does not.
        asked = [("4.1", "up", "opens"), ("3.9", "down", "closes"), ("-4.1", "down", "opens")]
        for scale, turned, becomes in asked:
            told = f"Turn {turned} the scale until G-H {becomes}"
            assert told in one.page.inner_text("#live .huge")
            assert one.page.evaluate("document.activeElement.id") == "f-edge"
            one.page.keyboard.type(scale)
            one.page.keyboard.press("Enter")
            one.page.wait_for_function(
                "scale => document.querySelector('.edges')?.innerText.includes(scale)", arg=scale
            )
            # What was typed and what is next reach the second screen.
            other.page.wait_for_function(
                "scale => document.querySelector('.edges')?.innerText.includes(scale)", arg=scale
            )
        # Enough to set it by; the fourth edge is still asked for.
        assert "up the scale until G-H closes" in other.page.inner_text("#live .next-edge")
        one.page.keyboard.type("-3.9")
        one.page.keyboard.press("Enter")
        one.page.wait_for_load_state()
        one.page.wait_for_selector("#live .huge >> text=Set at")
        assert "Set at" in one.page.inner_text("#live")
        other.page.wait_for_function(
            "document.querySelector('#live').innerText.includes('Set at')", timeout=5000
        )
        one.page.fill("#f-now", "-1.5")
        one.page.click("text=How far?")
        one.page.wait_for_load_state()
        other.page.wait_for_function(
            "document.querySelector('#live .huge').innerText.includes('Up by')", timeout=5000
        )
        if SCREENS:
            picture(one.page, Path(SCREENS) / "align-live-bench.png")
        assert "benchproof" not in one.page.inner_text("main").casefold()
        one.page.click("text=Freeze")
        one.page.wait_for_load_state()
        assert "Hold it at" in one.page.inner_text("#live")
        one.page.fill("#f-after", "9")
        one.page.click("text=Recheck")
        one.page.wait_for_load_state()
        assert "outside" in one.page.inner_text("#live .huge")
        other.page.reload()
        assert "outside" in other.page.inner_text("#live .huge")
        assert "read every pair of the chart" in other.page.inner_text("#live")
        assert [text for text in (*one.said, *other.said) if "error" in text] == []


def test_a_chart_is_audited_as_it_is_typed(browser: Browser, served: "Served") -> None:
    with Opened(browser, SIZES["bench"], "light", served.address) as opened:
        opened.go(f"{served.address}/chart?like=valley-coded-7")
        chart = opened.page.input_value("#f-chart")
        # A misprint: one cell of a range bit the other way round.
        spoilt = chart.replace("A-E\tclosed\topen", "A-E\topen\topen", 1)
        assert spoilt != chart
        opened.page.fill("#f-chart", spoilt)
        opened.page.wait_for_selector("text=Likely misprints", timeout=8000)
        assert "A-E in P" in opened.page.inner_text("#findings")
        if SCREENS:
            picture(opened.page, Path(SCREENS) / "chart-misprint-bench.png")
        opened.page.click("button:has-text('Make A-E in P closed')")
        opened.page.wait_for_load_state()
        assert opened.page.input_value("#f-chart") == chart
        # Half a row is no chart; it says so and loses nothing, over a reload too.
        opened.page.fill("#f-chart", chart + "L-M\tclosed\n")
        opened.page.wait_for_selector("text=Not readable yet", timeout=8000)
        opened.go(f"{served.address}/chart")
        assert opened.page.input_value("#f-chart") == chart + "L-M\tclosed\n"
        assert [text for text in opened.said if "error" in text] == []


def test_the_pedal_is_learnt_by_stepping_on_it(browser: Browser, served: "Served") -> None:
    with Opened(browser, SIZES["bench"], "light", served.address) as opened:
        opened.go(f"{served.address}/settings")
        opened.page.focus("#f-pedal")
        opened.page.keyboard.press("F9")
        assert opened.page.input_value("#f-pedal") == "F9"
        opened.page.click("form:has(#f-pedal) button")
        opened.page.wait_for_load_state()
        opened.go(f"{served.address}/?part=PEDAL-1")
        opened.page.keyboard.press("F9")
        opened.page.wait_for_url("**/proof/PEDAL-1.*")


def test_without_script_a_first_proof_is_begun(browser: Browser, served: "Served") -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(served.address)
    page.fill("#f-part", "plain-1")
    page.select_option("#f-family", "harvest-ladder-8")
    page.click("button:has-text('Start')")
    assert page.url == f"{served.address}/proof/plain-1.1"
    context.close()


def test_what_takes_a_while_shows_that_it_is_at_work(browser: Browser, served: "Served") -> None:
    with Opened(browser, SIZES["bench"], "light", served.address) as opened:
        opened.go(f"{served.address}/settings")
        sign = opened.page.locator("#at-work")
        assert not sign.is_visible()
        # An answer that does not come: playwright looks at nothing while one is waited for.
        opened.page.evaluate("addEventListener('submit', (event) => event.preventDefault())")
        opened.page.click("text=Use it >> nth=0")
        sign.wait_for(state="visible", timeout=5000)
        opened.page.evaluate("dispatchEvent(new Event('pageshow'))")
        assert not sign.is_visible()


@pytest.mark.parametrize("size", [(1280, 800), (390, 844)])
def test_start_is_above_the_fold_and_takes_one_key(
    browser: Browser, served: "Served", size: tuple[int, int]
) -> None:
    with Opened(browser, size, "light", served.address) as opened:
        opened.go(served.address)
        box = opened.page.locator("button.act").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= size[1]
        assert opened.page.evaluate("document.activeElement.id") == "f-part"
        opened.page.select_option("#f-family", "orchard-single-7")
        opened.page.focus("#f-part")
        opened.page.keyboard.press("Enter")
        opened.page.wait_for_url("**/proof/S-*")
        opened.go(served.address)
        # The next part of the kind: nothing to choose, nothing to type.
        assert opened.page.input_value("#f-family") == "orchard-single-7"
        opened.page.keyboard.press("Enter")
        opened.page.wait_for_url("**/proof/S-*")


def test_a_page_of_another_origin_changes_nothing(browser: Browser, served: "Served") -> None:
    """Whatever a browser lets a foreign page send, nothing is recorded."""
    before = served.site.store.cores.tags("", 1000)
    context = browser.new_context()
    page = context.new_page()
    page.route("http://evil.example/", lambda route: route.fulfill(
        content_type="text/html",
        body=f"""<form method=post action="{served.address}/cores"><input name=tag value=EVIL>
        <input name=token value=x></form><script>
        fetch("{served.address}/api/cores", {{method: "POST", mode: "no-cors",
          headers: {{"content-type": "text/plain"}}, body: '{{"tag":"EVIL"}}'}});
        fetch("{served.address}/api/cores", {{method: "POST",
          headers: {{"content-type": "application/json"}}, body: '{{"tag":"EVIL"}}'}})
          .catch(() => 0).finally(() => document.forms[0].submit());
        </script>""",
    ))  # fmt: skip
    page.goto("http://evil.example/")
    page.wait_for_timeout(800)
    assert served.site.store.cores.tags("", 1000) == before
    # Nor can it be shown within one.
    page.route("http://evil.example/frame", lambda route: route.fulfill(
        content_type="text/html", body=f'<iframe src="{served.address}/"></iframe>',
    ))  # fmt: skip
    page.goto("http://evil.example/frame")
    page.wait_for_timeout(300)
    assert len(page.frames) == 2
    assert "benchproof" not in page.frames[1].content()
    context.close()
