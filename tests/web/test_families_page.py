"""The page of a family, and what is planned for it: as the command tells it."""

import html
import re
from typing import TYPE_CHECKING

import pytest

from benchproof.align.band import share
from benchproof.align.toturn import GOOD_SHARE
from benchproof.align.window import shape_of, window_of
from benchproof.conduct.front import load_family
from benchproof.plan.actions import BenchPlace
from benchproof.plan.route import route, runs_of
from benchproof.report.connectorview import draw_connector
from benchproof.report.wiringplan import wiring_plan
from benchproof.report.worksheet import worksheet_csv
from benchproof.shipped.contents import shipped, shipped_bytes
from benchproof.shipped.read import shipped_bench, shipped_priors

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store


@pytest.mark.parametrize("name", shipped("families"))
def test_every_family_has_a_page_a_route_and_a_plan(screen: "Screen", name: str) -> None:
    family = load_family(name)
    told = screen.get(f"/families/{name}")
    assert told.status == 200
    assert f'href="/families/{name}"' in screen.get("/families").text
    for row in family.chart:
        assert f'<th scope="row">{"-".join(row.pair)}' in told.text
    assert ("How far out of line" in told.text) == family.lever
    found = route(family, shipped_bench(), BenchPlace(family.positions[0]))
    page = screen.get(f"/families/{name}/route").text
    assert f"{len(found.readings)} readings" in page
    for _, pairs in runs_of(found.readings):
        assert ", ".join(pairs) in page
    for kind in ("selector", "matrix", "probes"):
        plan = wiring_plan(family, kind, 2, 12)
        wired = screen.get(f"/families/{name}/wiring?kind={kind}")
        assert wired.status == 200
        assert wired.text.count("<table>") == len(plan.tables)
        for cells in (cells for table in plan.tables for cells in table.rows):
            assert "".join(f"<td>{one}</td>" for one in cells) in wired.text
        for caution in plan.cautions:
            assert caution in html.unescape(wired.text)


def test_the_band_of_the_page_holds_in_so_many_parts(screen: "Screen") -> None:
    text = screen.get("/families/valley-coded-7").text
    found = re.search(r'<p class="big">([+-][0-9.]+) to ([+-][0-9.]+)°', text)
    assert found
    known = shipped_priors("valley-coded-7")
    window = window_of(shape_of(load_family("valley-coded-7"), known), known)
    low, high = float(found[1]), float(found[2])
    # Written to a tenth of a degree, so the ends themselves may miss it by that.
    assert share(window, low + 0.05) >= GOOD_SHARE > share(window, low - 0.05)
    assert share(window, high - 0.05) >= GOOD_SHARE > share(window, high + 0.05)
    # It stands before what the file's own numbers say.
    assert found.start() < text.index("By the file")


def test_papers_and_file_of_a_family(screen: "Screen") -> None:
    at = "/families/valley-coded-7"
    for path in ("worksheet.pdf", "wiring.pdf", "wiring.pdf?kind=matrix"):
        sent = screen.client.get(f"{at}/{path}")
        assert (sent.status_code, sent.content[:5]) == (200, b"%PDF-")
    blank = screen.client.get(f"{at}/worksheet.csv")
    assert blank.text == worksheet_csv(load_family("valley-coded-7"))
    file = screen.client.get(f"{at}/file")
    assert file.content == shipped_bytes("families", "valley-coded-7")
    assert 'filename="valley-coded-7.toml"' in file.headers["content-disposition"]


def test_every_screen_that_names_a_family_leads_to_it(screen: "Screen", filled: "Store") -> None:
    key = filled.parts.get("S-1").family_file
    for path in ("/parts", "/parts/S-1", "/proofs/S-1.1", "/?part=S-1"):
        assert f'href="/families/{key}"' in screen.get(path).text, path
    assert 'href="/families"' in screen.get("/all").text
    assert 'href="/families/valley-coded-7"' in screen.get("/?family=valley-coded-7").text
    # By its name or by its file, it is the same family, with the same parts.
    for address in (f"/families/{key}", "/families/valley-coded-7"):
        page = screen.get(address)
        assert page.status == 200
        assert 'href="/parts/S-1"' in page.text


def test_the_connector_is_drawn_from_both_sides(screen: "Screen") -> None:
    pins = load_family("valley-coded-7").pins
    text = screen.get("/families/valley-coded-7").text
    for mirrored in (False, True):
        figure = draw_connector(pins, mirrored=mirrored)
        assert figure in text
        # Nothing is asked for, so no pin is ringed.
        assert "row 1 from the top" in figure
        assert figure.count("<circle") == len(pins)


def test_a_mistake_stands_at_its_field(screen: "Screen") -> None:
    at = "/families/valley-coded-7"
    for path, field, said in (
        (f"{at}/wiring?poles=99", "poles", "from 1 to 24"),
        (f"{at}/wiring?positions=x", "positions", "from 1 to 60"),
        (f"{at}/wiring?kind=spaghetti", "kind", "selector, matrix, probes"),
        (f"{at}/wiring.pdf?poles=0", "poles", "from 1 to 24"),
        (f"{at}/wiring?poles=1", "kind", "cannot be wired so"),
        (f"{at}/route?bench=none", "bench", "come along"),
    ):
        page = screen.get(path)
        assert page.status in (404, 422), path
        told = re.search(rf'id="e-{field}"[^>]*>([^<]*)<', page.text)
        assert told, path
        assert said in told[1], path
    for ending in ("", "/wiring", "/route", "/worksheet.pdf", "/file", "/wiring.pdf"):
        assert screen.get(f"/families/none-such{ending}").status == 404


def test_a_kept_chart_has_a_page(screen: "Screen") -> None:
    chart = "pins\tP\tR\tN\tD\trole\nA-B\tclosed\topen\tclosed\topen\tstart permit\n"
    kept = screen.post("/chart", do="save", name="own-3", chart=chart)
    key = kept.to.rpartition("=")[2]
    page = screen.get(f"/families/{key}")
    assert page.status == 200
    assert "own-3" in page.text
    assert "No part of it is recorded" in page.text
