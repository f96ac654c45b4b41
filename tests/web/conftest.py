"""A bench page of its own for the tests: by its application, by a real server, by Chromium."""

import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from starlette.testclient import TestClient

from benchproof.record.rows import CoreRow, PartRow, PersonRow, UnitRow
from benchproof.record.store import Store, open_store
from benchproof.web.app import make_app
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.devices import Devices
from benchproof.web.security import SESSION, token
from benchproof.web.serve import listening_socket
from benchproof.web.site import Site

_T = TypeVar("_T")
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def now() -> datetime:
    return datetime.now().astimezone()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "archive.sqlite"), now) as opened:
        yield opened


@pytest.fixture
def site(store: Store) -> Site:
    desk = desk_of(store)
    return Site(store, desk, secret_of(desk))


@dataclass
class Screen:
    """A browser without a screen, at the bench's own computer.

    Attributes
    ----------
    client : TestClient
    token : str
        What the forms of its session bear.
    """

    client: TestClient
    token: str

    def post(self, path: str, **typed: str) -> "Answer":
        """Send a form."""
        response = self.client.post(path, data={"token": self.token, **typed})
        return Answer(response.status_code, response.text, response.headers.get("location", ""))

    def get(self, path: str) -> "Answer":
        """Open a page."""
        response = self.client.get(path)
        return Answer(response.status_code, response.text, response.headers.get("location", ""))


@dataclass
class Answer:
    """What came back."""

    status: int
    text: str
    to: str


def screen_of(site: Site) -> Screen:
    client = TestClient(
        make_app(site),
        base_url="http://127.0.0.1:8780",
        client=("127.0.0.1", 50_000),
        follow_redirects=False,
    )
    client.cookies.set(SESSION, "a-session")
    return Screen(client, token(site.secret, "a-session"))


@pytest.fixture
def screen(site: Site) -> Iterator[Screen]:
    found = screen_of(site)
    with found.client:
        yield found


@pytest.fixture
def devices(tmp_path: Path) -> Devices:
    return Devices(tmp_path / "devices.json")


@pytest.fixture
def from_network(site: Site, devices: Devices) -> Callable[[], TestClient]:
    """Devices of the network, served over TLS."""
    site.devices = devices

    def connect() -> TestClient:
        return TestClient(
            make_app(site, ["bench.local", "127.0.0.1"]),
            base_url="https://bench.local",
            client=("192.0.2.77", 40_000),
            follow_redirects=False,
        )

    return connect


def fill(store: Store) -> None:
    """Fill an archive with invented things, one of each kind at least."""
    from benchproof.conduct.families import family_of
    from benchproof.conduct.opening import open_proof
    from benchproof.conduct.work import now as told
    from benchproof.proof.events import BodyTurned, Mode
    from benchproof.proof.taking import taken_from_sheet
    from benchproof.reading.ideal import ideal_readings

    store.people.add(PersonRow("MK", "invented"))
    store.cores.add(CoreRow("C-1", now(), "valley bus, six speeds", missing="lever"))
    store.units.add(UnitRow("U-1", now(), "valley bus, six speeds", serial="invented 12"))
    kept = family_of(store, "valley-coded-7")
    file = store.files.put(kept.content)
    store.parts.add(PartRow("S-1", kept.family.name, file, now() - timedelta(days=1), core="C-1"))
    store.conditions.note(part="S-1", item="bent pins", grade="slight", by="MK")
    work = open_proof(store, "S-1", Mode.PROVE, meter="ordinary-handheld", by="MK")
    meter = work.state.as_left.meter
    for offset in (5.0, 0.0):
        for one in ideal_readings(kept.family, meter, offset):
            work.record(taken_from_sheet(one, told(), "MK"))
        if offset:
            work.record(BodyTurned(told(), "MK", "five degrees back"))


@pytest.fixture
def filled(store: Store) -> Store:
    """Fill the archive with invented things."""
    fill(store)
    return store


@dataclass
class Served:
    """A page that is served for real."""

    address: str
    site: Site


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for all browser tests, its archive filled with invented things."""
    place = tmp_path_factory.mktemp("served") / "archive.sqlite"
    with open_store(str(place), now) as store:
        fill(store)
        desk = desk_of(store)
        site = Site(store, desk, secret_of(desk))
        with listening_socket("127.0.0.1", 0, site.gate) as listening:
            config = uvicorn.Config(
                make_app(site), log_level="warning", ws="none", lifespan="off",
                timeout_graceful_shutdown=1,
            )  # fmt: skip
            server = uvicorn.Server(config)
            thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
            thread.start()
            yield Served(f"http://127.0.0.1:{listening.getsockname()[1]}", site)
            server.should_exit = True
            thread.join(10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests: the library allows no second one beside it."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


CONTRASTS = """() => {
  const light = (text) => {
    const [r, g, b] = text.match(/[\\d.]+/g).slice(0, 3).map(Number).map((one) => {
      const part = one / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (el) => {
    for (let one = el; one; one = one.parentElement) {
      const colour = getComputedStyle(one).backgroundColor;
      if (!/^rgba\\(.*, 0\\)$|transparent/.test(colour)) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const el = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || !el.getClientRects().length || el.closest("svg")) continue;
    const a = light(getComputedStyle(el).color), b = light(ground(el));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 7) found.push(`${ratio.toFixed(2)} ${walk.currentNode.data.trim().slice(0, 40)}`);
  }
  return found;
}"""
"""Texts whose contrast is under 7:1, as WCAG 2.2 defines relative luminance and contrast ratio."""


@pytest.fixture(scope="session")
def contrasts() -> str:
    """Find such texts on a page: the script that does."""
    return CONTRASTS


def apart(do: Callable[..., _T], *given: object, **named: object) -> _T:
    """Do something in a thread of its own: a browser's tests leave an event loop in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(do, *given, **named).result()


SIZES = {"bench": (1280, 800), "tablet": (800, 1280), "phone": (360, 640), "zoomed": (640, 400)}
"""Zoomed is the bench's screen at 200 %: half as many pixels of the page each way."""
MOST_MS = 8000


class Bench:
    """A bench page as a process, which may be killed and started again on its port."""

    def __init__(self, archive: Path, *options: str) -> None:
        self.archive, self.options = archive, options
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = int(free.getsockname()[1])
        self.address = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        command = [f"{Path(sys.executable).with_name('benchproof')}", "bench", "--no-open"]
        self._process = subprocess.Popen(
            [*command, "--store", f"{self.archive}", "--port", f"{self.port}", *self.options],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout is not None
        assert "The bench page is at" in self._process.stdout.readline()

    def kill(self, with_signal: signal.Signals = signal.SIGKILL) -> None:
        if self._process is None:
            return
        self._process.send_signal(with_signal)
        self._process.wait(10)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process = None

    def __enter__(self) -> "Bench":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill(signal.SIGTERM)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with Bench(tmp_path_factory.mktemp("bench") / "archive.sqlite") as found:
        yield found


Opener = Callable[..., Page]


@pytest.fixture
def opened(browser: Browser) -> Iterator[Opener]:
    """Open pages that must not complain of anything."""
    contexts: list[BrowserContext] = []
    said: list[str] = []

    def open_page(size: str = "bench", look: str = "", address: str = "", **how: Any) -> Page:  # noqa: ANN401
        width, height = SIZES[size]
        context = browser.new_context(viewport={"width": width, "height": height}, **how)
        context.set_default_timeout(MOST_MS)
        contexts.append(context)
        if look:
            context.add_cookies([{"name": "benchproof-look", "value": look, "url": address}])
        page = context.new_page()
        page.on("pageerror", lambda error: said.append(f"{error}"))
        page.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
        return page

    yield open_page
    for context in contexts:
        context.close()
    # A server that is killed on purpose is complained of.
    cut_off = ("ERR_", "Failed to fetch", "network error")
    assert [one for one in said if not any(word in one for word in cut_off)] == []
