"""Every view of a part whose start permit conducts in gear shows that before all else of it.

That the starter must not turn in gear: 49 CFR 571.102 S3.1.3. The signal word DANGER: ANSI
Z535.4-2007, 4.14, as quoted in public works.
"""

import csv
import html
import io
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader
from sqlalchemy import insert
from tests.web.conftest import Screen, now, screen_of
from tests.web.test_screens import job_ended

from benchproof.cli.main import main
from benchproof.conduct.families import read
from benchproof.conduct.familyanswers import kept, understood
from benchproof.conduct.opening import open_proof
from benchproof.conduct.work import now as told
from benchproof.family.model import CellName, Family, pair_text, same_pair
from benchproof.family.roles import answered
from benchproof.instrument.gearfile import simulated_gear
from benchproof.plan.actions import TakeReading
from benchproof.proof.closing import closing
from benchproof.proof.events import BodyTurned, Mode, ProofOutcome, ReadingTaken
from benchproof.proof.problems import ProofProblem
from benchproof.proof.taking import taken_from_sheet
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.meter import Meter
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import format_value
from benchproof.record import schema
from benchproof.record.rows import MoveRow, PartRow, PersonRow, UnitRow
from benchproof.record.shelf import move_values
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_meter
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.site import Site

_ROWS = "A-E,{c},{o},{o},{c}\nB-E,{o},{c},{o},{c}\nG-H,{c},{o},{c},{gear}\nJ-K,{o},{c},{o},{o}\n"
_ROLES = ("range bit", "range bit", "start permit", "reverse lamp")


def _chart(positions: str, gear: str = "open", *, roles: bool = False) -> bytes:
    lines = _ROWS.format(c="closed", o="open", gear=gear).splitlines()
    if roles:
        lines = [f"{line},{role}" for line, role in zip(lines, _ROLES, strict=True)]
    head = f"pins,{positions}{',role' if roles else ''}"
    return "\n".join([head, *lines, ""]).encode()


CHARTS: dict[str, tuple[bytes, tuple[str, ...]]] = {
    "shipped": (shipped_bytes("families", "valley-coded-7"), ()),
    "no-roles": (_chart("P,R,N,D"), ()),
    "odd-names": (_chart("Pk,Rv,Nt,Dr"), ()),
    "charted-closed": (
        _chart("P,R,N,D", "closed", roles=True),
        ("chart=Jo Invented says the sheet is right",),
    ),
}


def sheet_of(family: Family, meter: Meter, shorted: set[CellName]) -> str:
    """Return a sheet of a good part, but for cells that read 0.2 ohm."""
    if family.name == "valley-coded-7":
        texts = {
            (one.position, same_pair(one.pair)): format_value(one.value)
            for one in ideal_readings(family, meter)
        }
    else:
        # Of the sheet in the maker's manual, not of what was typed of it.
        chart = read(_chart(",".join(family.positions)), "manual")
        texts = {
            (position, same_pair(row.pair)): "0.3" if cell.conducts else "OL"
            for row in chart.chart
            for position, cell in zip(chart.positions, row.expect, strict=True)
        }
    lines = [",".join(["pins", *family.positions])]
    for row in family.chart:
        cells = ((position, same_pair(row.pair)) for position in family.positions)
        read_ = ("0.2" if cell in shorted else texts[cell] for cell in cells)
        lines.append(",".join([pair_text(row.pair), *read_]))
    return "\n".join(lines) + "\n"


@dataclass
class Shop:
    """An archive with a part whose start permit conducts in the last position."""

    family: Family
    folder: Path
    key: str
    screen: Screen
    site: Site


@pytest.fixture(params=CHARTS)
def shop(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Shop]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "archive.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    content, said = CHARTS[request.param]
    family = read(content, request.param)
    if said:
        answers = understood(family, said)
        content, family = kept(content, family, answers), answered(family, answers)
    meter = shipped_meter()
    last = family.positions[-1]
    sheet = sheet_of(family, meter, {(last, frozenset("GH"))})
    Path("sheet.csv").write_text(sheet, encoding="utf-8")
    Path("family.toml" if b"[[" in content else "family.csv").write_bytes(content)
    with open_store("archive.sqlite", now) as store:
        key = store.files.put(content)
        store.people.add(PersonRow("ab", "invented"))
        store.parts.add(PartRow("S-1", family.name, key, now()))
        work = open_proof(store, "S-1", Mode.PROVE, by="ab")
        for one in read_readings(sheet.encode(), "sheet.csv", family, meter):
            work.record(taken_from_sheet(one, told(), "ab"))
        desk = desk_of(store)
        site = Site(store, desk, secret_of(desk))
        screen = screen_of(site)
        with screen.client:
            yield Shop(family, tmp_path, key, screen, site)


def body(page: str) -> str:
    """Return what stands in the main part of a page, without its marks."""
    main_part = page[page.index("<main") :]
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", main_part)))


def test_each_page_of_the_part_begins_with_the_danger(shop: Shop) -> None:
    part = ("/parts/S-1", "/proofs/S-1.1", "/proof/S-1.1/belief", "/proof/S-1.1/close",
            "/proofs/S-1.1/foretell")  # fmt: skip
    for path in part:
        answer = shop.screen.get(path)
        assert answer.status == 200, path
        assert body(answer.text).strip().startswith("DANGER"), path
        assert "could be cranked in gear" in answer.text, path


def test_the_bench_screen_shows_the_danger_above_what_to_do(shop: Shop) -> None:
    page = shop.screen.get("/proof/S-1.1").text
    said = page.index("<strong>DANGER</strong>")
    assert said < page.index('aria-label="What to do next"')
    assert said < page.index('aria-label="Last reading"')


def test_alignment_of_the_part_begins_with_the_danger(shop: Shop) -> None:
    answer = shop.screen.get(f"/align/{shop.key}?part=S-1")
    assert answer.status == 200
    assert body(answer.text).strip().startswith("DANGER")


@pytest.mark.parametrize(
    ("path", "link"),
    [("/parts", "/parts/S-1"), ("/proofs", "/proofs/S-1.1"), ("/", "/proof/S-1.1"),
     ("/parts/S-1", "/proofs/S-1.1")],
)  # fmt: skip
def test_each_list_marks_it_before_its_tag(shop: Shop, path: str, link: str) -> None:
    page = shop.screen.get(path).text
    mark = '<strong class="mark">DANGER</strong>'
    before, after = rf'{mark}\s*<a[^>]*href="{link}"', f'href="{link}">{mark}'
    assert re.search(before, page) or after in page


def test_many_sheets_put_it_first_whenever_it_came(shop: Shop) -> None:
    good = sheet_of(shop.family, shipped_meter(), set()).encode()
    bad = Path("sheet.csv").read_bytes()
    sheets = [
        (name, content)
        for name, content in (("a.csv", b"no sheet"), ("b.csv", bad), ("c.csv", good))
    ]
    files = [("sheets", (name, content, "text/csv")) for name, content in sheets]
    form = {"token": shop.screen.token, "do": "judge", "family": shop.key}
    begun = shop.screen.client.post("/jobs", data=form, files=files)
    path = begun.headers["location"]
    page = job_ended(shop.screen, path)
    rows = re.findall(r"<tr><td>([^<]*)</td><td><strong>([^<]*)</strong>", page)
    assert rows[0] == ("b.csv", "DANGER")
    saved = list(csv.reader(io.StringIO(shop.screen.client.get(f"{path}/file").text)))
    assert saved[1][:2] == ["b.csv", "DANGER"]


def run(*arguments: str) -> str:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), arguments
    assert result.stdout, result.stderr
    return result.stdout


def _family_file() -> str:
    return "family.toml" if Path("family.toml").exists() else "family.csv"


@pytest.mark.parametrize("command", ["judge", "next", "decide", "foretell"])
def test_each_command_says_it_first(shop: Shop, command: str) -> None:
    assert shop.family.chart
    told_first = run(command, _family_file(), "sheet.csv")
    assert told_first.startswith("DANGER: "), told_first[:300]
    as_json = json.loads(run(command, _family_file(), "sheet.csv", "--json"))
    assert next(iter(as_json)) == "dangers"
    assert as_json["dangers"][0]["signal"] == "DANGER"


@pytest.mark.parametrize("command", [("proof", "show", "S-1.1"), ("part", "show", "S-1")])
def test_each_record_says_it_first(shop: Shop, command: tuple[str, ...]) -> None:
    assert shop.family.chart
    assert run(*command).startswith("DANGER: ")
    as_json = json.loads(run(*command, "--json"))
    assert next(iter(as_json)) == "dangers"
    assert as_json["dangers"][0]["signal"] == "DANGER"


@pytest.mark.parametrize("kind", ["part", "proof"])
def test_each_list_of_the_commands_marks_it(shop: Shop, kind: str) -> None:
    assert shop.family.chart
    assert re.search(r"^DANGER +S-1", run(kind, "list"), re.MULTILINE)
    assert json.loads(run(kind, "list", "--json"))[f"{kind}s"][0]["danger"] == "DANGER"


def test_the_program_beside_the_bench_is_told_it(shop: Shop) -> None:
    for path in ("/api/proofs/S-1.1", "/api/parts/S-1"):
        answer = shop.screen.client.get(path)
        assert answer.status_code == 200
        assert next(iter(answer.json())) == "dangers"
        assert answer.json()["dangers"][0]["signal"] == "DANGER"


def test_each_list_of_the_program_beside_the_bench_begins_with_it(shop: Shop) -> None:
    _on_the_shelf(shop)
    client = shop.screen.client
    lists = [client.get(f"/api/{kind}").json() for kind in ("parts", "proofs", "shelf")]
    for rows in (*lists, client.get("/api/units/U-1").json()["parts"]):
        assert next(iter(rows[0].items())) == ("danger", "DANGER")


@pytest.mark.parametrize("command", [("read", "S-1.1"), ("close", "S-1.1", "--as", "repair")])
def test_at_the_prompt_it_comes_before_anything_else(shop: Shop, command: tuple[str, ...]) -> None:
    assert shop.family.chart
    result = CliRunner().invoke(main, ["proof", *command], input="q\n")
    assert result.output.startswith("DANGER: "), result.output[:300]


def test_after_each_reading_at_the_prompt_it_comes_first(shop: Shop) -> None:
    permit = next(row.pair for row in shop.family.chart if set(row.pair) == set("GH"))
    typed = f"{shop.family.positions[-1]} {'-'.join(permit)} OL\nq\n"
    told_ = CliRunner().invoke(main, ["proof", "read", "S-1.1"], input=typed).output
    after = told_[told_.index("> ") :]
    assert 0 < after.index("DANGER: ") < after.index("Next: ")


def test_an_automatic_run_that_has_nothing_left_to_read_says_it_first(shop: Shop) -> None:
    with shop.site.works.opened("S-1.1") as work:
        for _ in range(60):
            action = work.state.next.action
            if not isinstance(action, TakeReading):
                break
            row = next(row for row in shop.family.chart if row.pair == action.pair)
            cell = row.expect[shop.family.positions.index(action.position)]
            bad = action.position == shop.family.positions[-1] and set(row.pair) == set("GH")
            value = "0.2" if cell.conducts or bad else "OL"
            taken = ReadingTaken(told(), "ab", action.position, action.pair, value)
            work.record(taken)
        assert not isinstance(work.state.next.action, TakeReading)
    Path("bench.toml").write_text(simulated_gear("TCPIP::127.0.0.1::1::SOCKET", {"1": ("G", "H")}))
    result = CliRunner().invoke(main, ["proof", "run", "S-1.1", "--gear", "bench.toml"])
    assert result.exit_code == 1
    assert result.output.startswith("DANGER: "), result.output[:300]


def test_turning_the_body_hides_nothing_until_it_is_read_open_again(shop: Shop) -> None:
    """As found it starts in gear; a turn alone mends nothing, in no view and no list."""
    with shop.site.works.opened("S-1.1") as work:
        work.record(BodyTurned(told(), "ab", "two degrees back"))
        (first, *_) = work.state.dangers
        assert first.signal.value == "DANGER"
        assert first.sentence.startswith("before the body was turned ")
    assert run("proof", "show", "S-1.1").startswith("DANGER: before the body was turned")
    assert re.search(r"^DANGER +S-1", run("part", "list"), re.MULTILINE)
    assert run("part", "show", "S-1").startswith("DANGER: ")
    assert body(shop.screen.get("/parts/S-1").text).strip().startswith("DANGER")
    pair = next(row.pair for row in shop.family.chart if set(row.pair) == set("GH"))
    with shop.site.works.opened("S-1.1") as work:
        work.record(ReadingTaken(told(), "ab", shop.family.positions[0], pair, "0.2"))
        assert work.state.dangers[0].sentence.startswith("before the body was turned ")
        work.record(ReadingTaken(told(), "ab", shop.family.positions[-1], pair, "OL"))
        # Of a chart that lets it conduct there an open reading is no pass: it stays.
        row = next(row for row in shop.family.chart if row.pair == pair)
        turned = [d for d in work.state.dangers if d.sentence.startswith("before the body")]
        assert bool(turned) is row.expect[-1].conducts


def _on_the_shelf(shop: Shop) -> None:
    """Put the part into stock and reserve it, as if it had been proved before it was read so."""
    shop.site.store.units.add(UnitRow("U-1", now(), "valley-box"))
    steps = [MoveRow("S-1", 1, "stock", None, "S-1.1", now(), None, "")]
    steps.append(MoveRow("S-1", 2, "reserved", "U-1", None, now(), None, ""))
    with shop.site.store.database.writing() as connection:
        for last, row in zip([None, *steps], steps, strict=False):
            connection.execute(insert(schema.shelf_moves).values(move_values(row, last)))


@pytest.mark.parametrize(
    ("path", "first"), [("/shelf", "Part Family State"), ("/units/U-1", "Unit U-1")]
)
def test_the_shelf_and_the_unit_mark_it(shop: Shop, path: str, first: str) -> None:
    _on_the_shelf(shop)
    text = body(shop.screen.get(path).text)
    assert "DANGER" in text
    if path == "/shelf":
        assert re.search(r"DANGER\s+S-1", text)
    else:
        assert text.strip().startswith("DANGER")
    assert first in text


@pytest.mark.parametrize("command", [("shelf", "list"), ("unit", "show", "U-1")])
def test_the_shelf_and_the_unit_say_it_as_commands(shop: Shop, command: tuple[str, ...]) -> None:
    _on_the_shelf(shop)
    assert re.search(r"^DANGER\b.*S-1", run(*command), re.MULTILINE)
    assert json.loads(run(*command, "--json"))["parts"][0]["danger"] == "DANGER"


def _text(pdf: bytes) -> str:
    return PdfReader(io.BytesIO(pdf)).pages[0].extract_text()


def test_nobody_accepts_it_and_every_paper_says_so_first(shop: Shop) -> None:
    tag = _text(shop.screen.client.get("/parts/S-1/tag.pdf").content)
    assert "DANGER: do not fit" in tag
    with shop.site.works.opened("S-1.1") as work:
        with pytest.raises(ProofProblem, match="DANGER"):
            closing(
                work.state,
                told(),
                "ab",
                "0",
                ProofOutcome.ACCEPTED,
                override_by="Jo Invented",
                override_reason="I say so",
            )
        work.append(lambda state: closing(state, told(), "ab", "0", ProofOutcome.REPAIR))
    getters: list[tuple[str, Callable[[bytes], str]]] = [
        ("txt", bytes.decode),
        ("html", lambda content: re.sub(r"<[^>]*>", " ", content.decode().partition("<body")[2])),
        ("pdf", _text),
    ]
    for ending, words in getters:
        answer = shop.screen.client.get(f"/proofs/S-1.1/certificate.{ending}")
        assert answer.status_code == 200
        text = words(answer.content)
        assert 0 <= text.find("DANGER") < text.find("G-H in") + 1, ending
        before = text[: text.index("DANGER")]
        assert "cells" not in before, ending
    assert "DANGER: do not fit" in _text(shop.screen.client.get("/parts/S-1/tag.pdf").content)
