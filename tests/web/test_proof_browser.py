"""Whole proofs at the bench in Debian's Chromium, against `benchproof bench` as its own process.

`BENCHPROOF_SCREENS=docs/screens .venv/bin/pytest tests/web/test_proof_browser.py` takes the
pictures of the screen anew.
"""

import os
import re
import signal
from io import BytesIO
from pathlib import Path

import pypdf
import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Page, Route
from tests.web.conftest import MOST_MS, SIZES, Bench, Opener
from tests.web.test_proof_found import off_readings, trace

from benchproof.cli import main
from benchproof.conduct.families import read
from benchproof.family.expectation import Kind
from benchproof.family.model import pair_text
from benchproof.reading.sheet import write_readings
from benchproof.shipped.contents import shipped_bytes

SCREENS = os.environ.get("BENCHPROOF_SCREENS")
FAMILY = "valley-coded-7"
GOOD, BAD = "T-1", "S-1"
"""Tags whose invented parts, drawn from them, are good, and fail early."""
SMALL_CHART = (
    "pins\tP\tR\tN\tD\nA-B\tclosed\topen\tclosed\topen\nC-D\topen\tclosed\topen\t270 ohm\n"
)


def begin(page: Page, bench: Bench, part: str, family: str = FAMILY) -> None:
    page.goto(bench.address)
    page.fill("#f-part", part)
    if page.query_selector(f"#f-family option[value='{family}']"):
        page.select_option("#f-family", family)
    page.click("button:has-text('Start')")
    page.wait_for_url("**/proof/**")


def seq(page: Page) -> str:
    found = page.query_selector("#asked")
    return "" if found is None else found.get_attribute("data-seq") or ""


def asked(page: Page) -> tuple[str, str]:
    return (
        page.get_attribute("#asked", "data-position") or "",
        page.get_attribute("#asked", "data-pins") or "",
    )


def is_asked(page: Page) -> bool:
    return page.query_selector("#asked") is not None


def wait_on(page: Page, was: str) -> None:
    """Wait until the screen has another event than before, and nothing is on its way."""
    page.wait_for_function(
        "was => document.querySelector('#asked')?.dataset.seq !== was"
        " && !document.documentElement.classList.contains('sent')",
        arg=was,
        timeout=MOST_MS,
    )


def press(page: Page, *keys: str) -> None:
    was = seq(page)
    for key in keys:
        page.keyboard.press(key)
    wait_on(page, was)


def pedal(page: Page, key: str) -> None:
    """Send a key that a keyboard may not have, as a pedal does."""
    page.evaluate(
        """key => document.activeElement.dispatchEvent(
          new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }))""",
        key,
    )


def good_values(family: str) -> dict[tuple[str, str], str]:
    """Return what a good part reads: "closed", "open", or ohms as digits."""
    found = read(shipped_bytes("families", family), family)
    told = {}
    for row in found.chart:
        for position, wanted in zip(found.positions, row.expect, strict=True):
            if wanted.kind is Kind.OHMS:
                low, high = wanted.bounds(found.limits)
                told[position, pair_text(row.pair)] = f"{(low + high) / 2:.0f}"
            else:
                told[position, pair_text(row.pair)] = wanted.kind.value
    return told


def shot(page: Page, name: str) -> None:
    if SCREENS:
        page.wait_for_timeout(150)
        picture = Image.open(BytesIO(page.screenshot()))
        # A few greys and the blue are enough, and a third of the bytes.
        picture.convert("RGB").quantize(24).save(Path(SCREENS) / f"proof-{name}.png", optimize=True)


def test_a_whole_proof_by_the_keys_of_a_number_pad(opened: Opener, bench: Bench) -> None:
    page = opened()
    page.goto(f"{bench.address}/?part=K-1")
    wanted = "ferry-two-of-four-6"
    page.focus("#f-family")
    page.keyboard.type("ferry")
    assert page.input_value("#f-family") == wanted
    page.focus("#f-part")
    page.keyboard.press("Enter")
    page.wait_for_url("**/proof/K-1.1")
    assert page.inner_text("#asked").split()[0] == "Lever"
    values = good_values(wanted)
    for _ in range(80):
        if not is_asked(page):
            break
        value = values[asked(page)]
        press(page, *{"closed": (".", "2"), "open": ("*",)}[value], "Enter")
    assert "Every cell is read" in page.inner_text(".hero")
    assert page.locator(".arrived-reading .result").inner_text() == "+ pass"
    page.keyboard.press("Enter")
    page.wait_for_url("**/close")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Closed as accepted")
    # Before the first start, where the act is.
    told = page.inner_text("main")
    assert "set the parking brake and hold the foot brake; chock the wheels" in told
    assert "Only then start the engine, in park." in told


def own_part(page: Page, bench: Bench, tag: str) -> None:
    """Say what the chart does not tell, keep it, and record a part of it."""
    page.click("button[value='proposed']")
    page.wait_for_function(
        "() => document.querySelector('#f-chart')?.value.includes('start permit')"
    )
    page.click("button[value='save']")
    page.wait_for_url("**/parts?family=*")
    new = {"tag": tag, "family": page.url.rpartition("=")[2]}
    assert page.request.post(f"{bench.address}/api/parts", data=new).status == 201


def small_values() -> dict[tuple[str, str], str]:
    """Return what a good part of the small chart reads."""
    head, *rows = [line.split("\t") for line in SMALL_CHART.splitlines()]
    return {
        (position, row[0]): wanted.removesuffix(" ohm")
        for row in rows
        for position, wanted in zip(head[1:], row[1:], strict=True)
    }


def test_a_whole_proof_by_touch_on_a_tablet(opened: Opener, bench: Bench) -> None:
    page = opened("tablet", has_touch=True, is_mobile=True)
    page.goto(f"{bench.address}/chart")
    page.fill("#f-name", "mill-one")
    page.fill("#f-chart", SMALL_CHART)
    own_part(page, bench, "mill-1")
    page.goto(f"{bench.address}/?part=mill-1")
    page.tap("button:has-text('Start')")
    page.wait_for_url("**/proof/**")
    # The page's own pad takes the place of the system's.
    assert page.get_attribute("#value", "inputmode") == "none"
    values = small_values()
    for _ in range(40):
        if not is_asked(page):
            break
        was, value = seq(page), values[asked(page)]
        for key in {"closed": [".", "2"], "open": ["OL"]}.get(value, [*value]):
            page.tap(f"[data-put='{key}']")
        page.tap("#entry [data-pedal]")
        wait_on(page, was)
    assert "Every cell is read" in page.inner_text(".hero")
    page.tap(".hero a.act")
    page.wait_for_url("**/close")
    page.tap("button:has-text('Close as accepted')")
    page.wait_for_selector("text=Closed as accepted")


def test_a_whole_proof_by_one_pedal_and_its_certificate(opened: Opener, bench: Bench) -> None:
    """The simulated bench reads; one key does all, and the paper says what was read."""
    page = opened()
    begin(page, bench, GOOD)
    tag = page.inner_text("h1")
    assert "simulated bench (invented) reads" in page.inner_text(".source")
    assert "part unplugged from the vehicle and de-energised" in page.inner_text("#hook-up")
    shot(page, "first")
    count = 0
    while is_asked(page):
        assert count < 90, "it comes to an end"
        was = seq(page)
        pedal(page, "F13" if count % 2 else " ")
        wait_on(page, was)
        count += 1
        if count == 18:
            shot(page, "bench")
            for size in ("tablet", "phone", "zoomed"):
                page.set_viewport_size({"width": SIZES[size][0], "height": SIZES[size][1]})
                shot(page, size)
            page.set_viewport_size({"width": 1280, "height": 800})
    # 42 cells, and the start permit twice where it must be open: 5 of them.
    assert count == 42 + 5
    assert page.locator("table.cells .result.pass").count() == 42
    shot(page, "read")
    # One pedal closes it too.
    page.evaluate("document.documentElement.dataset.pedal = 'F13'")
    pedal(page, "F13")
    page.wait_for_url("**/close")
    shot(page, "close")
    page.evaluate("document.documentElement.dataset.pedal = 'F13'")
    pedal(page, "F13")
    page.wait_for_selector("text=Closed as accepted")
    shot(page, "closed")
    response = page.request.get(f"{bench.address}/proofs/{tag}/certificate.pdf")
    paper = pypdf.PdfReader(BytesIO(response.body()))
    text = "\n".join(one.extract_text() for one in paper.pages)
    assert tag in text
    assert "accepted" in text.casefold()
    digest = page.request.get(f"{bench.address}/api/proofs/{tag}").json()["hash"]
    assert digest in re.sub(r"\s", "", text)


def test_a_block_of_coils_at_a_temperature_of_its_own(opened: Opener, bench: Bench) -> None:
    """No lever is asked for; what was typed as the part's temperature goes with every reading."""
    page = opened()
    begin(page, bench, "B-1", "depot-coils-3")
    assert "Lever" not in page.inner_text("main")
    assert asked(page) == ("", "1-C")
    page.fill("#f-warm", "60")
    page.fill("#f-warm-u", "2")
    page.focus("#value")
    for value in ("15.3", "OL", "OL"):
        was = seq(page)
        page.fill("#value", value)
        page.keyboard.press("Enter")
        page.wait_for_function(
            "was => document.querySelector('[data-undo]').dataset.undo !== was"
            " && !document.documentElement.classList.contains('sent')",
            arg=f"{int(was)}",
        )
    assert page.input_value("#f-warm") == "60"
    belief = page.inner_text(".belief")
    assert "coil open at 2-C" in belief
    assert "offset" not in belief
    assert "13.2" in page.inner_text("table.cells")
    shot(page, "coils")
    assert "Sound" in page.inner_text("body")
    tag = page.inner_text("h1")
    readings = page.request.get(f"{bench.address}/api/proofs/{tag}").json()["readings"]
    assert {one["conditions"]["part_c"] for one in readings} == {60.0}
    assert {one["position"] for one in readings} == {None}
    page.reload()
    assert page.input_value("#f-warm") == "60"


def test_a_block_of_coils_is_proved_by_the_simulated_bench(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "B-2", "depot-coils-3")
    for _ in range(12):
        if not is_asked(page):
            break
        press(page, "Enter")
    assert not is_asked(page)
    assert page.locator("table.cells .result.missing").count() == 0


def test_a_reload_loses_nothing(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "R-1")
    for _ in range(3):
        press(page, "Enter")
    was, told = asked(page), page.inner_text("table.cells")
    page.keyboard.type("27")
    page.keyboard.press("+")
    page.fill("#f-text", "cover scratched")
    page.reload()
    assert asked(page) == was
    assert page.inner_text("table.cells") == told
    assert page.input_value("#value") == "27"
    assert page.input_value("#f-text") == "cover scratched"
    page.focus("#value")
    press(page, "Enter")
    assert page.input_value("#value") == ""
    assert "27" in page.inner_text(".arrived-reading")
    page.reload()
    assert page.input_value("#value") == ""


def test_killed_in_mid_proof_it_goes_on(opened: Opener, tmp_path: Path) -> None:
    with Bench(tmp_path / "archive.sqlite") as bench:
        page = opened()
        begin(page, bench, GOOD)
        for _ in range(4):
            press(page, "Enter")
        was, told, events = asked(page), page.inner_text("table.cells"), seq(page)
        bench.kill(signal.SIGKILL)
        page.wait_for_selector("#cut-off:not([hidden])")
        assert "What is recorded is safe" in page.inner_text("#cut-off")
        page.keyboard.type("0.2")
        page.keyboard.press("Enter")
        page.wait_for_timeout(300)
        assert page.input_value("#value") == "0.2"
        bench.start()
        page.wait_for_selector("#cut-off", state="hidden")
        assert (asked(page), seq(page)) == (was, events)
        assert page.inner_text("table.cells") == told
        # Nobody loads the page anew: what was typed is confirmed, then the bench reads on.
        page.focus("#value")
        press(page, "Enter")
        press(page, "Enter")
        assert int(seq(page)) == int(events) + 2


def test_two_screens_stay_in_step(opened: Opener, bench: Bench) -> None:
    one, other = opened(), opened("tablet")
    begin(one, bench, GOOD)
    other.goto(one.url)
    tag = one.inner_text("h1")
    for screen, mirror in ((one, other), (other, one)):
        press(screen, "Enter")
        mirror.wait_for_function(
            "seq => document.querySelector('#asked').dataset.seq === seq", arg=seq(screen)
        )
        assert asked(mirror) == asked(screen)
        for part in ("table.cells", ".arrived-reading", ".belief"):
            both = [" ".join(one.inner_text(part).split()) for one in (screen, mirror)]
            assert both[0] == both[1]
    # What is being typed stays with the cell that it was typed for.
    mine = asked(other)
    other.keyboard.type("0.77")
    press(one, "Enter")
    other.wait_for_selector("#elsewhere:not([hidden])")
    assert f"{mine[1]} in {mine[0]}" in other.inner_text("#elsewhere")
    was = seq(other)
    other.keyboard.press("Enter")
    wait_on(other, was)
    said = other.inner_text("#said")
    assert "Another screen read on meanwhile" in said
    assert f"{mine[1]} in {mine[0]}" in said
    api = f"{bench.address}/api/proofs/{tag}"
    assert other.request.get(api).json()["events"] == int(was) + 1
    # A command, or a program, moves the screens too.
    undone = other.request.post(f"{api}/withdrawals", data={"event": int(was) + 1})
    assert undone.status == 201
    for screen in (one, other):
        wait_on(screen, f"{int(was) + 1}")
        assert screen.is_hidden("#elsewhere")


def test_it_is_kept_in_step_however_late_its_parts_came(opened: Opener, bench: Bench) -> None:
    page = opened()

    def late(route: Route) -> None:
        page.wait_for_timeout(250)
        route.continue_()

    begin(page, bench, "V-1")
    page.route("**/static/htmx-sse.js*", late)
    page.reload()
    was, tag = seq(page), page.inner_text("h1")
    remark = {"text": "from elsewhere"}
    assert page.request.post(f"{bench.address}/api/proofs/{tag}/remarks", data=remark).status == 201
    wait_on(page, was)
    assert "from elsewhere" in page.inner_text(".foot")


def test_keys_held_or_hit_twice_record_once(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "H-1")
    was = int(seq(page))
    page.keyboard.down("Enter")
    for _ in range(5):
        page.keyboard.down("Enter")
    page.keyboard.up("Enter")
    wait_on(page, f"{was}")
    page.evaluate(
        "() => { const b = document.querySelector('#entry [data-pedal]'); b.click(); b.click(); }"
    )
    wait_on(page, f"{was + 1}")
    page.wait_for_timeout(200)
    assert int(seq(page)) == was + 2
    # Undo takes back the last one, which stays in the record.
    press(page, "u")
    assert "It stays in the record and does not count." in page.inner_text("#said")
    assert int(seq(page)) == was + 3


def test_keys_mean_letters_where_words_are_typed(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "L-1")
    was = seq(page)
    page.keyboard.press("+")
    page.keyboard.type("co - slip / * + 7")
    assert page.input_value("#f-text") == "co - slip / * + 7"
    assert seq(page) == was
    press(page, "Enter")
    page.wait_for_selector(".foot >> text=co - slip / * + 7")
    assert page.evaluate("document.activeElement.id") == "value"
    assert page.input_value("#f-text") == ""


def test_a_value_that_cannot_be_understood_stays(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "M-1")
    was = seq(page)
    page.keyboard.type("12..")
    page.keyboard.press("Enter")
    page.wait_for_selector("#said .mistake")
    assert "is no reading; type c or closed" in page.inner_text("#said")
    assert page.input_value("#value") == "12.."
    assert seq(page) == was
    page.fill("#value", "0,3")
    press(page, "Enter")
    assert page.query_selector("#said .mistake") is None


TONES = """() => {
  window.heard = [];
  window.AudioContext = class {
    state = "running"; currentTime = 0; destination = {};
    resume() {}
    createOscillator() {
      const one = { frequency: {}, connect: (to) => to, stop() {},
        start() { window.heard.push(one.frequency.value); } };
      return one;
    }
    createGain() {
      const gain = { setValueAtTime() {}, exponentialRampToValueAtTime() {} };
      return { gain, connect: (to) => to };
    }
  };
}"""


def test_tones_tell_results_apart_and_can_be_muted(opened: Opener, bench: Bench) -> None:
    page = opened()
    page.add_init_script(f"({TONES})()")
    begin(page, bench, "N-1")
    values = good_values(FAMILY)
    opposite = {"closed": "*", "open": "/"}
    heard = {}
    press(page, *{"closed": [".", "2"], "open": ["*"]}[values[asked(page)]], "Enter")
    heard["pass"] = page.evaluate("window.heard.splice(0)")
    press(page, opposite[values[asked(page)]], "Enter")
    heard["fail"] = page.evaluate("window.heard.splice(0)")
    assert "! fail" in page.inner_text(".arrived-reading")
    assert len(heard["pass"]) == 1
    assert len(heard["fail"]) >= 2
    assert max(heard["fail"]) < min(heard["pass"])
    page.click("#mute")
    assert page.inner_text("#mute") == "Sound off"
    page.focus("#value")
    press(page, "/", "Enter")
    assert page.evaluate("window.heard") == []
    page.reload()
    assert page.inner_text("#mute") == "Sound off"


def test_turned_photographed_and_read_elsewhere(
    opened: Opener, bench: Bench, tmp_path: Path
) -> None:
    page = opened()
    begin(page, bench, "G-1")
    for _ in range(3):
        press(page, "Enter")
    picture = Image.new("RGB", (60, 40), "grey")
    exif = Image.Exif()
    # 0x8825: where it was taken.
    exif.get_ifd(0x8825)[1] = "N"
    exif[0x010F] = "invented camera"
    picture.save(tmp_path / "crack.jpg", exif=exif)
    page.click("text=Photograph >> nth=0")
    assert page.get_attribute("#f-photograph", "capture") == "environment"
    page.fill("#f-what", "a hair crack")
    page.set_input_files("#f-photograph", tmp_path / "crack.jpg")
    was = seq(page)
    page.click("text=Keep it")
    wait_on(page, was)
    link = page.get_attribute(".foot a:has-text('a hair crack')", "href") or ""
    kept = page.request.get(bench.address + link)
    assert Image.open(BytesIO(kept.body())).getexif() == {}
    page.click("text=Another cell")
    page.select_option("#f-at", "1")
    page.fill("#f-pins", "j k")
    page.fill("#f-other", "OL")
    was = seq(page)
    page.click("text=Record it")
    wait_on(page, was)
    assert "J-K in 1" in page.inner_text(".arrived-reading")
    page.click("text=Body turned")
    caution = page.inner_text("#turn .caution")
    assert "wheels chocked, parking brake on, engine off" in caution
    page.fill("#f-note", "two degrees back")
    was = seq(page)
    page.click("text=It is turned and tight")
    wait_on(page, was)
    assert "0 of 42 cells read" in page.inner_text(".chart h2")
    shot(page, "turned")
    page.click("#which")
    assert page.inner_text("#which") == "As left"
    assert page.locator("#has-found .result:visible").count() == 4
    page.focus("#value")
    press(page, "Enter")
    # The choice outlives the next reading.
    assert page.locator("#has-found .result:visible").count() == 4
    page.click("#which")
    assert page.locator("table.cells .result:visible").count() == 1


def test_a_sweep_says_which_way_the_part_is_out_of_line(
    opened: Opener, bench: Bench, tmp_path: Path
) -> None:
    """Every cell of a part 5 degrees off is read: either way is as likely, until it is swept."""
    page = opened()
    begin(page, bench, "W-1")
    tag = page.inner_text("h1")
    (tmp_path / "off.csv").write_text(write_readings(off_readings()), encoding="utf-8")
    (tmp_path / "sweep.csv").write_bytes(trace(5.0))
    sheet = ["proof", "read", tag, "--sheet", f"{tmp_path / 'off.csv'}"]
    read = CliRunner().invoke(main, [*sheet, "--store", f"{bench.archive}"])
    assert read.exit_code == 0, read.stderr
    page.wait_for_selector("text=42 of 42 cells read", timeout=MOST_MS)
    assert "Which way the part is out of line cannot be known" in page.inner_text(".belief")
    page.click("text=Edge or sweep")
    assert "wheels chocked" in page.inner_text("#found .caution")
    page.set_input_files("#f-sweep", tmp_path / "sweep.csv")
    page.click("text=Record the sweep")
    page.wait_for_selector(".foot >> text=sweep of 5120 points", timeout=3 * MOST_MS)
    assert "Which way" not in page.inner_text(".belief")
    assert "realign" in page.inner_text(".verdicts li >> nth=0")
    shot(page, "swept")
    page.goto(f"{bench.address}/proofs/{tag}")
    assert "20 edges found, 42 cells read" in page.inner_text("main")


def test_who_is_at_the_screen_takes_back_what_was_noted_by_mistake(
    opened: Opener, bench: Bench
) -> None:
    """A person is added and chosen; a reading is withdrawn with its reason, a turn taken back."""
    page = opened()
    page.goto(f"{bench.address}/people")
    page.fill("#f-initials", "MK")
    page.click("form:has(#f-initials) button")
    page.goto(f"{bench.address}/settings")
    page.select_option("#f-who", "MK")
    page.click("text=Use them")
    page.goto(bench.address)
    assert page.input_value("#f-by") == "MK"
    begin(page, bench, "G-2")
    for _ in range(2):
        press(page, "Enter")
    page.click(".arrived-reading .said-of-it a")
    page.click("#chosen >> text=Withdraw")
    page.select_option("#f-kind", "wrong cell")
    page.fill("#f-why", "pin B touched")
    was = seq(page)
    page.click("text=Withdraw it")
    wait_on(page, was)
    assert "withdrawn as wrong cell by MK: pin B touched" in page.inner_text("#said")
    assert page.query_selector("#chosen") is None
    page.click("text=Body turned")
    assert not page.is_visible("#unturn-form")
    was = seq(page)
    page.click("text=It is turned and tight")
    wait_on(page, was)
    assert "0 of 42 cells read" in page.inner_text(".chart h2")
    page.click("[data-opens=turn]")
    page.fill("#f-unturn", "meant another part")
    was = seq(page)
    page.click("text=Take the last turn back")
    wait_on(page, was)
    assert "1 of 42 cells read" in page.inner_text(".chart h2")
    assert "taken back by MK" in page.inner_text(".foot")
    shot(page, "taken-back")


def test_a_chart_pasted_from_a_spreadsheet_is_proved_by_typing(
    opened: Opener, bench: Bench
) -> None:
    page = opened(permissions=["clipboard-read", "clipboard-write"])
    page.goto(f"{bench.address}/chart")
    page.fill("#f-name", "mill-two")
    page.fill("#f-chart", "")
    page.evaluate("text => navigator.clipboard.writeText(text)", SMALL_CHART)
    page.focus("#f-chart")
    page.keyboard.press("Control+V")
    page.wait_for_function("() => document.querySelector('#f-chart')?.value.includes('C-D')")
    own_part(page, bench, "mill-2")
    begin(page, bench, "mill-2")
    # The simulated bench never reads a part of somebody's own chart.
    assert "No instrument: type what the meter shows" in page.inner_text(".source")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Type what the meter shows first")
    wanted = small_values()
    for _ in range(40):
        if not is_asked(page):
            break
        press(page, *{"closed": ".2", "open": "*"}.get(wanted[asked(page)], "270"), "Enter")
    assert page.locator("table.cells .result.pass").count() == 8


def wrong_for_some(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {[node['html'][:90] for node in one['nodes'][:3]]}" for one in found]


SMALL = """() => [...document.querySelectorAll('main button, main .button, main select,'
  + 'main input:not([type=hidden]):not([type=radio])')]
  .filter((el) => el.getClientRects().length && !el.closest('.top'))
  .filter((el) => el.getBoundingClientRect().height < 63.5)
  .map((el) => el.outerHTML.slice(0, 80))"""
"""Targets that a glove would miss."""


@pytest.mark.parametrize("look", ["light", "dark", "sunlight"])
def test_it_is_for_everybody_from_start_to_end(
    opened: Opener, bench: Bench, contrasts: str, look: str
) -> None:
    """Good and bad news, every panel open, every size: axe, contrast, targets, the huge line."""
    page = opened(look=look, address=bench.address)
    begin(page, bench, f"X-{look}")
    looked_at(page, contrasts, look, "first")
    values = good_values(FAMILY)
    # A start permit that conducts in gear, twice: a hazard.
    for _ in range(2):
        page.click("text=Another cell")
        page.select_option("#f-at", "D")
        page.fill("#f-pins", "G-H")
        page.fill("#f-other", "0.1")
        was = seq(page)
        page.click("text=Record it")
        wait_on(page, was)
    assert "DANGER" in page.inner_text(".dangers")
    shot(page, f"danger-{look}")
    for name in ("remark", "photograph", "turn", "found", "other"):
        page.click(f"[data-opens={name}]")
        if look == "light":
            looked_at(page, contrasts, look, name)
    if is_asked(page):
        page.focus("#value")
        press(page, {"closed": "/", "open": "*"}.get(values[asked(page)], "1"), "Enter")
    tag = page.inner_text("h1")
    page.goto(f"{bench.address}/proof/{tag}/belief")
    looked_at(page, contrasts, look, "belief", huge=False)
    shot(page, f"belief-{look}") if look == "light" else None
    page.goto(f"{bench.address}/proof/{tag}/close")
    looked_at(page, contrasts, look, "close")
    page.check("input[value=repair]")
    page.click("text=Close it so")
    page.wait_for_selector("text=Closed as repair")
    looked_at(page, contrasts, look, "closed")
    page.goto(f"{bench.address}/proof/{tag}")
    looked_at(page, contrasts, look, "after")


def looked_at(page: Page, contrasts: str, look: str, what: str, *, huge: bool = True) -> None:
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        name = f"{what} {look} {size}"
        wide = page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 0, name
        assert page.evaluate(SMALL) == [], name
        if huge:
            letters = page.evaluate(
                "parseFloat(getComputedStyle(document.querySelector('.huge')).fontSize)"
            )
            assert letters >= 0.06 * height, name
        if size == "bench" or (size == "phone" and look == "light"):
            assert page.evaluate(contrasts) == [], name
            assert wrong_for_some(page) == [], name
    page.set_viewport_size({"width": 1280, "height": 800})


def test_without_script_it_still_works(opened: Opener, bench: Bench) -> None:
    page = opened(java_script_enabled=False)
    begin(page, bench, "P-1")
    page.fill("#value", "closed")
    page.click("#entry button[data-pedal]")
    assert "closed" in page.inner_text(".arrived-reading")
    page.fill("#f-text", "by hand")
    page.click("text=Note it")
    assert "by hand" in page.inner_text(".foot")


def test_a_page_of_another_origin_changes_no_proof(opened: Opener, bench: Bench) -> None:
    page = opened()
    begin(page, bench, "E-1")
    api = f"{bench.address}/api/proofs/E-1.1"
    before = page.request.get(api).json()["events"]
    evil = page.context.new_page()
    evil.route("http://evil.example/", lambda route: route.fulfill(
        content_type="text/html", body="<form method=post></form>"))  # fmt: skip
    evil.goto("http://evil.example/")
    for path, body in (
        ("/proof/E-1.1/remark", "text=evil"),
        ("/proof/E-1.1/turn", "note=evil"),
        ("/api/proofs/E-1.1/remarks", '{"text":"evil"}'),
        ("/api/proofs/E-1.1/closing", '{"outcome":"abandoned"}'),
    ):
        for mode in ("no-cors", "cors"):
            evil.evaluate(
                """([to, body, mode]) => fetch(to, {method: "POST", mode, body,
                  credentials: "include"}).then(() => 0, () => 0)""",
                [bench.address + path, body, mode],
            )
    assert page.request.get(api).json()["events"] == before


ACT = re.compile(
    r"[Tt]ype `(?P<typed>[^`]+)` into \*\*(?P<field>[^*]+)\*\*"
    r"|choose \*\*(?P<choice>[^*]+)\*\*"
    r"|[Pp]ress \*\*(?P<button>[^*]+)\*\*"
    r"|`(?P<key>[A-Z][a-z]+)`(?P<until> until the page says \*\*(?P<seen>[^*]+)\*\*)?"
    r"|says \*\*(?P<said>[^*]+)\*\*"
)


def test_a_newcomer_follows_the_readme(opened: Opener, tmp_path: Path) -> None:
    """On an archive of their own: an earlier proof of the part may stand against accepting it."""
    with Bench(tmp_path / "archive.sqlite") as bench:
        follow_the_readme(opened(), bench)


def follow_the_readme(page: Page, bench: Bench) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    steps = readme.split("## A first proof on the bench page")[1].split("\n## ")[0]
    acts = list(ACT.finditer(steps[steps.index("1. ") :]))
    assert len(acts) >= 8
    page.goto(bench.address)
    for act in acts:
        if act["typed"]:
            page.get_by_label(act["field"]).fill(act["typed"])
        elif act["choice"]:
            page.get_by_label("Family").select_option(act["choice"])
        elif act["button"] == "Certificate":
            # A browser without a screen shows no PDF, so what the link leads to is fetched.
            link = page.get_by_role("link", name="Certificate").first.get_attribute("href")
            paper = page.request.get(f"{bench.address}{link}")
            assert "ACCEPTED" in pypdf.PdfReader(BytesIO(paper.body())).pages[0].extract_text()
        elif act["button"]:
            page.get_by_role("button", name=act["button"]).first.click()
            page.wait_for_url("**/proof/**")
        elif act["until"]:
            for _ in range(80):
                page.wait_for_load_state()  # a page still on its way asks nothing yet
                if not is_asked(page):
                    break
                press(page, act["key"])
            assert act["seen"] in page.inner_text("main")
        elif act["key"]:
            page.wait_for_load_state()
            with page.expect_navigation():
                page.keyboard.press(act["key"])
        else:
            page.wait_for_selector(f"text={act['said']}")
