"""How quick the bench page is, in Debian's Chromium on this machine.

From the press of a key until the screen shows what followed, against the bare echo of an event by
the same server to the same browser; how many bytes a page takes; when a cold server's first page
is painted.
"""

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Mount, Route

from benchproof.record.store import open_store
from benchproof.web.app import make_app
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.instruments import Simulated
from benchproof.web.live import stream
from benchproof.web.serve import listening_socket
from benchproof.web.site import Site
from figures import write_between

DOC = Path(__file__).parent.parent / "docs" / "performance.md"
CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PARTS = ("T-1", "S-2", "S-4", "S-6")
"""Tags whose invented parts are good, so that each is read to the end."""
READINGS = 160
COLD = 5
PAGES = {"start": "/", "proof": "", "chart workshop": "/chart", "record": "/proofs/T-1.1"}

PRESS = """async () => {
  const stage = document.getElementById("stage");
  const start = performance.now();
  const began = performance.timeOrigin + start;
  const seen = new Promise((done) => {
    const watch = new MutationObserver(() => {
      watch.disconnect();
      const changed = performance.now() - start;
      requestAnimationFrame(() => done([changed, performance.now() - start, began]));
    });
    watch.observe(stage, { childList: true, subtree: true, attributes: true, characterData: true });
  });
  document.activeElement.dispatchEvent(
    new KeyboardEvent("keydown", { key: "F13", bubbles: true, cancelable: true }));
  return await seen;
}"""
"""Press the pedal; return when the stage changed, when that was painted, and when it was pressed,
milliseconds."""
WATCH = """() => {
  window.changed = [];
  new MutationObserver(() => {
    const seq = document.querySelector("[data-undo]").dataset.undo;
    if (seq !== "0" && window.changed.at(-1)?.[0] !== seq) {
      window.changed.push([seq, performance.timeOrigin + performance.now()]);
    }
  }).observe(document.getElementById("stage"),
    { childList: true, subtree: true, attributes: true, characterData: true });
}"""
ECHO_PAGE = "<!doctype html><title>echo</title><p id=stage>0</p>"
ECHO_START = """() => new Promise((done) => {
  const source = new EventSource("/echo/live");
  source.onmessage = (event) => { document.getElementById("stage").textContent = event.data; };
  source.onopen = () => setTimeout(done, 100);
})"""
ECHO = """async () => {
  const stage = document.getElementById("stage");
  const start = performance.now();
  const seen = new Promise((done) => {
    const watch = new MutationObserver(() => {
      watch.disconnect();
      done(performance.now() - start);
    });
    watch.observe(stage, { childList: true, characterData: true, subtree: true });
  });
  fetch("/echo", { method: "POST" });
  return await seen;
}"""


@dataclass(frozen=True)
class Figures:
    """What was measured, milliseconds, one number a reading; bytes of each page as sent.

    Attributes
    ----------
    echo : list of float
        Press to change of the page, of the bare echo.
    reading, painted : list of float
        Press of the pedal to the changed screen, and to its next frame.
    other : list of float
        Press to the changed screen beside it.
    weight : dict of str to float
    """

    echo: list[float]
    reading: list[float]
    painted: list[float]
    other: list[float]
    weight: dict[str, float]


@contextmanager
def serving(archive: Path) -> Iterator[str]:
    """Serve a bench page with the simulated bench, and beside it the bare echo of an event."""
    with open_store(f"{archive}", lambda: datetime.now().astimezone()) as store:
        desk = desk_of(store)
        site = Site(store, desk, secret_of(desk), plugged=Simulated())
        count = 0

        async def page(_: Request) -> Response:
            return HTMLResponse(ECHO_PAGE)

        async def post(_: Request) -> Response:
            nonlocal count
            count += 1
            site.hub.publish("echo")
            return Response(status_code=204)

        async def live(request: Request) -> Response:
            return stream(request, "echo", lambda: f"{count}")

        app = Starlette(
            routes=[
                Route("/echo", page, methods=["GET"]),
                Route("/echo", post, methods=["POST"]),
                Route("/echo/live", live),
                Mount("/", make_app(site)),
            ]
        )
        app.state.site = site
        with listening_socket("127.0.0.1", 0, site.gate) as listening:
            server = uvicorn.Server(
                uvicorn.Config(
                    app, log_level="warning", ws="none", lifespan="off", timeout_graceful_shutdown=1
                )
            )
            thread = threading.Thread(target=server.run, args=([listening],), daemon=True)
            thread.start()
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
            server.should_exit = True
            thread.join(10)
        assert site.plugged is not None
        site.plugged.close()


def begin(page: Page, address: str, part: str) -> None:
    """Open a proof of a part."""
    page.goto(address)
    page.fill("#f-part", part)
    page.check("input[name=family][value=valley-coded-7]")
    page.click("button:has-text('Start')")
    page.wait_for_url("**/proof/**")
    page.wait_for_timeout(400)


def echoes(browser: Browser, address: str, count: int) -> list[float]:
    """Return how long the bare echo of an event takes, milliseconds."""
    page = browser.new_page()
    page.goto(f"{address}/echo")
    page.evaluate(ECHO_START)
    found = [float(page.evaluate(ECHO)) for _ in range(count)]
    page.close()
    return found


def readings(
    browser: Browser, address: str, count: int
) -> tuple[list[float], list[float], list[float]]:
    """Return how long each reading takes: to the change, to the paint, to the screen beside it."""
    changed: list[float] = []
    painted: list[float] = []
    other: list[float] = []
    for part in PARTS:
        one, beside = browser.new_context().new_page(), browser.new_context().new_page()
        begin(one, address, part)
        beside.goto(one.url)
        beside.wait_for_timeout(400)
        beside.evaluate(WATCH)
        began = {}
        while len(changed) < count and one.query_selector("#asked"):
            told = one.evaluate(PRESS)
            changed.append(told[0])
            painted.append(told[1])
            # A person is slower than this.
            one.wait_for_function("() => !document.documentElement.classList.contains('sent')")
            one.wait_for_timeout(60)
            began[one.get_attribute("[data-undo]", "data-undo")] = told[2]
        beside.wait_for_timeout(300)
        seen = dict(beside.evaluate("window.changed"))
        # Two readings in one push are one change of the screen beside it.
        assert len(seen) > 0.9 * len(began), "the screen beside it shows nearly every reading"
        other += [at - began[seq] for seq, at in seen.items()]
        one.context.close()
        beside.context.close()
    return changed, painted, other


def weights(browser: Browser, address: str) -> dict[str, float]:
    """Return the bytes that each page takes from nothing, as they were sent."""
    found = {}
    for name, path in PAGES.items():
        context = browser.new_context()
        page = context.new_page()
        tracer = context.new_cdp_session(page)
        tracer.send("Network.enable")
        sizes: list[float] = []
        tracer.on(
            "Network.loadingFinished", lambda one, to=sizes: to.append(one["encodedDataLength"])
        )
        page.goto(address + (path or "/proof/T-1.1"))
        page.wait_for_timeout(300)
        found[name] = sum(sizes)
        context.close()
    return found


def measure(count: int) -> Figures:
    """Measure all but the cold start."""
    with (
        tempfile.TemporaryDirectory() as folder,
        serving(Path(folder) / "archive.sqlite") as address,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        # Half before and half after, so that a busy moment of the machine meets both.
        echo = echoes(browser, address, count // 2)
        changed, painted, other = readings(browser, address, count)
        echo += echoes(browser, address, count - count // 2)
        weight = weights(browser, address)
        browser.close()
    return Figures(echo, changed, painted, other, weight)


def cold_start(folder: Path) -> dict[str, float]:
    """Return how long a cold server takes, seconds: until it serves, until its page is painted."""
    program = Path(sys.executable).with_name("benchproof")
    command = [f"{program}", "bench", "--no-open", "--port", "0", "--store", f"{folder}/a.sqlite"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()
        began = perf_counter()
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            address = server.stdout.readline().split()[5].rstrip(";")
            serves = perf_counter() - began
            page.goto(address)
            paint: Any = page.wait_for_function(
                "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
            ).json_value()
            whole = serves + paint / 1e3
        finally:
            server.terminate()
            server.wait(10)
            if server.stdout is not None:
                server.stdout.close()
            browser.close()
    return {"serves": serves, "paint": paint / 1e3, "whole": whole}


def told(figures: Figures, cold: list[dict[str, float]]) -> str:
    """Return the table of the document."""
    bare = np.percentile(figures.echo, [50, 99])
    rows = [
        "| from the press | p50 | p99 | p50 to the echo's | p99 to the echo's |",
        "| --- | --- | --- | --- | --- |",
    ]
    for name, values in (
        ("bare echo of an event: request, push, change of one text", figures.echo),
        ("reading: instrument, disk, judgement, diagnosis, screen changed", figures.reading),
        ("the same, until the frame after it", figures.painted),
        ("the same, on the screen beside it", figures.other),
    ):
        p50, p99 = np.percentile(values, [50, 99])
        rows.append(
            f"| {name} | {p50:.1f} ms | {p99:.1f} ms | {p50 / bare[0]:.1f} | {p99 / bare[1]:.1f} |"
        )
    rows += ["", "| page, with all it needs, nothing kept before | kB as sent |", "| --- | --- |"]
    rows += [f"| {name} | {size / 1e3:.0f} |" for name, size in figures.weight.items()]
    medians = {key: float(np.median([one[key] for one in cold])) for key in cold[0]}
    rows += [
        "",
        "| cold start | median |",
        "| --- | --- |",
        f"| `benchproof bench` until it serves, with a new archive | {medians['serves']:.2f} s |",
        f"| its first page asked for until first painted | {medians['paint']:.2f} s |",
        f"| both | {medians['whole']:.2f} s |",
    ]
    return "\n".join(rows)


def main() -> None:
    """Run it and write the document's figures."""
    figures = measure(READINGS)
    cold = []
    for _ in range(COLD):
        with tempfile.TemporaryDirectory() as folder:
            cold.append(cold_start(Path(folder)))
    table = told(figures, cold)
    write_between(DOC, "page", table)
    print(table)


if __name__ == "__main__":
    main()
