"""No view of a part without a lever has a word of one, asks for a start permit, or shows a place.

The part is an invented block of solenoid coils; the third view of each kind is a chart typed as a
table, whose pairs are taken for plain resistors.
"""

import html
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader
from tests.web.conftest import Screen, now, screen_of
from tests.web.test_screens import job_ended

from benchproof.cli.main import main
from benchproof.cli.serve import start_bench
from benchproof.conduct.families import read
from benchproof.conduct.opening import open_proof
from benchproof.instrument.gearfile import simulated_gear
from benchproof.plan.actions import Mode
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.site import Site

OF_A_LEVER = re.compile(
    r"\b(realign\w*|offsets?|lean(?:ed|s|ing)?|levers?|positions?|detents?|notch(?:es)?|at rest"
    r"|turned|edges?|sweeps?|start permit|starter|in gear|reverse lamps?|cranked)\b",
    re.IGNORECASE,
)
CHART = b"pins,expect\n1-C,13.2 ohm\n2-C,13.2 ohm\n3-C,4.6 ohm\nC-case,open\n"
FAMILIES = {"coils": shipped_bytes("families", "depot-coils-3"), "table": CHART}
GOOD = "pins,reading\n1-C,13.3\n2-C,13.1\n3-C,4.62\nC-case,OL\n"
OPEN = GOOD.replace("13.1", "OL")


@dataclass
class Shop:
    """An archive with a part without a lever; its family's file stands in the folder."""

    kind: str
    file: str
    key: str
    screen: Screen
    site: Site

    @property
    def words(self) -> str:
        """What an open second coil is called."""
        return "coil open at 2-C" if self.kind == "coils" else "resistor open at 2-C"


@pytest.fixture(params=FAMILIES)
def shop(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Shop]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "archive.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    content = FAMILIES[request.param]
    family = read(content, request.param)
    file = "block.toml" if request.param == "coils" else "block.csv"
    Path(file).write_bytes(content)
    Path("good.csv").write_text(GOOD, encoding="utf-8")
    Path("open.csv").write_text(OPEN, encoding="utf-8")
    with open_store("archive.sqlite", now) as store:
        key = store.files.put(content)
        store.people.add(PersonRow("ab", "invented"))
        store.parts.add(PartRow("B-1", family.name, key, now()))
        open_proof(store, "B-1", Mode.PROVE, meter="depot-bench", by="ab")
        desk = desk_of(store)
        site = Site(store, desk, secret_of(desk))
        screen = screen_of(site)
        with screen.client:
            yield Shop(request.param, file, key, screen, site)


def run(*arguments: str, typed: str = "") -> str:
    result = CliRunner().invoke(main, list(arguments), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), arguments
    assert result.output
    return result.output


def shown(page: str) -> str:
    """Return what a page shows, what stands in its fields and its labels included."""
    main_part = page[page.index("<main") :]
    labels = re.findall(r'(?:aria-label|placeholder|title|alt)="([^"]*)"', main_part)
    plain = re.sub(r"<(script|style).*?</\1>", " ", main_part, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]*>", " ", plain) + " ".join(labels))


def texts(found: object) -> Iterator[str]:
    """Yield every text of a JSON object that is meant to be read: values, not keys."""
    match found:
        case str():
            yield found
        case dict():
            for value in found.values():
                yield from texts(value)
        case list():
            for value in found:
                yield from texts(value)


def silent(told: str, what: str = "") -> None:
    """Check that something says no word of a lever."""
    plain = " ".join(told.split())
    found = [plain[max(0, one.start() - 60) : one.end() + 20] for one in OF_A_LEVER.finditer(plain)]
    assert found == [], what


def _pdf(content: bytes) -> str:
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


@pytest.mark.parametrize("sheet", ["good.csv", "open.csv"])
@pytest.mark.parametrize("command", ["judge", "next", "decide"])
def test_no_command_has_a_word_of_a_lever(shop: Shop, command: str, sheet: str) -> None:
    told = run(command, shop.file, sheet, "--meter", "depot-bench")
    silent(told, command)
    as_json = json.loads(run(command, shop.file, sheet, "--meter", "depot-bench", "--json"))
    for text in texts(as_json):
        silent(text, command)
    assert as_json.get("questions", []) == []
    if command == "judge" and sheet == "open.csv":
        assert shop.words in told
        assert as_json["diagnosis"]["offset_deg"] is None
        assert {cell["position"] for cell in as_json["cells"]} == {None}
        assert "realign" not in as_json["diagnosis"]["verdicts"]


def test_audit_route_and_worksheet_have_none_either(shop: Shop) -> None:
    silent(run("audit", shop.file))
    for text in texts(json.loads(run("audit", shop.file, "--json"))):
        silent(text)
    silent(run("route", shop.file))
    run("certificate", "--blank", shop.file, "--out", "sheet.csv")
    run("certificate", "--blank", shop.file, "--out", "sheet.pdf")
    silent(Path("sheet.csv").read_text(encoding="utf-8"))
    silent(_pdf(Path("sheet.pdf").read_bytes()))
    filled = Path("sheet.csv").read_text(encoding="utf-8")
    for pins, value in (("1-C", "13.3"), ("2-C", "13.1"), ("3-C", "4.62"), ("C-case", "OL")):
        filled = filled.replace(f"{pins},", f"{pins},{value}")
    Path("sheet.csv").write_text(filled, encoding="utf-8")
    assert "Verdict: PASS" in run("judge", shop.file, "sheet.csv", "--temperature", "20")


def test_no_paper_page_prompt_or_record_has_any_of_a_part_with_an_open_coil(shop: Shop) -> None:
    prompt = run("proof", "read", "B-1.1", "--temperature", "21", typed="?\n13.4\nOL\nOL\nq\n")
    silent(prompt, "prompt")
    assert shop.words in prompt
    client = shop.screen.client
    for path in ("/proof/B-1.1", "/proof/B-1.1/belief", "/proof/B-1.1/close", "/proofs/B-1.1",
                 "/parts/B-1", "/proofs", "/parts"):  # fmt: skip
        answer = client.get(path)
        assert answer.status_code == 200, path
        # What can be seen of cores and parts by eye is one list for all of them.
        silent(shown(answer.text).partition("How it looks")[0], path)
    assert shop.words in shown(client.get("/proof/B-1.1").text)
    silent(_pdf(client.get("/proofs/B-1.1/worksheet.pdf").content))
    for path in ("/api/proofs/B-1.1", "/api/parts/B-1"):
        for text in texts(client.get(path).json()):
            silent(text, path)
    silent(run("proof", "show", "B-1.1"))
    silent(run("part", "show", "B-1"))
    closed = run("proof", "close", "B-1.1")
    silent(closed)
    assert "Closed as repair" in closed
    pages = [client.get(f"/proofs/B-1.1/certificate.{ending}") for ending in ("txt", "html", "pdf")]
    told = [
        pages[0].text,
        html.unescape(re.sub(r"<[^>]*>", " ", pages[1].text.partition("<body")[2])),
        _pdf(pages[2].content),
    ]
    for one in told:
        silent(one, "certificate")
        assert shop.words in " ".join(one.split())
    silent(_pdf(client.get("/parts/B-1/tag.pdf").content))
    for path in ("/proof/B-1.1", "/proof/B-1.1/close", "/proofs/B-1.1"):
        silent(shown(client.get(path).text), path)


def test_a_good_one_is_accepted_without_a_question(shop: Shop) -> None:
    typed = "temperature 20 1\n13.3\n13.1\n4.62\nOL\nq\n"
    silent(run("proof", "read", "B-1.1", typed=typed))
    closed = run("proof", "close", "B-1.1")
    silent(closed)
    assert "Closed as accepted" in closed
    text = shop.screen.client.get("/proofs/B-1.1/certificate.txt").text
    silent(text, "certificate")
    assert "All 4 cells of the chart pass." in text


def test_a_program_records_readings_without_a_position(shop: Shop) -> None:
    client, path = shop.screen.client, "/api/proofs/B-1.1/readings"
    headers = {"origin": "http://127.0.0.1:8780"}
    new = {"pins": "1-C", "value": "13.3", "part_c": 22.0, "by": "ab"}
    answer = client.post(path, json=new, headers=headers)
    assert answer.status_code == 201, answer.text
    (reading,) = client.get("/api/proofs/B-1.1").json()["readings"]
    assert reading["position"] is None
    assert reading["conditions"]["part_c"] == 22.0
    refused = client.post(path, json={**new, "position": "P"}, headers=headers)
    assert refused.status_code == 409
    assert "has no lever; name pins and value only" in refused.text


@pytest.mark.parametrize("with_lever", [True, False])
def test_a_bench_runs_it_and_moves_nothing(shop: Shop, with_lever: bool) -> None:
    """Nobody is asked to move anything, whether the bench has a lever or not."""
    server, _, channels = start_bench(shop.file, 3, "depot-bench")
    try:
        gear = simulated_gear(server.resource, channels)
        head, rest = gear.split("[lever]")
        cut = f"{head}{rest[rest.index('[selector]') :]}"
        Path("bench.toml").write_text(gear if with_lever else cut, encoding="utf-8")
        told = run("proof", "run", "B-1.1", "--gear", "bench.toml", "--temperature", "20")
    finally:
        server.close()
    silent(told)
    as_json = json.loads(run("proof", "show", "B-1.1", "--json"))
    # The part has a fault, so the run may end before its last cell.
    assert len(as_json["readings"]) >= 3
    assert {one["conditions"]["part_c"] for one in as_json["readings"]} == {20.0}


def test_many_sheets_are_judged_in_words_of_their_own(shop: Shop) -> None:
    files = [
        ("sheets", (f"{n}.csv", one.encode(), "text/csv")) for n, one in enumerate((GOOD, OPEN))
    ]
    form = {"token": shop.screen.token, "do": "judge", "family": shop.key}
    begun = shop.screen.client.post("/jobs", data=form, files=files)
    path = begun.headers["location"]
    silent(shown(job_ended(shop.screen, path)))
    silent(shop.screen.client.get(f"{path}/file").text)


@pytest.mark.parametrize(
    ("arguments", "done"),
    [
        (("window", "{}"), "align"),
        (("centre", "{}"), "align"),
        (("foretell", "{}"), "foretell"),
        (("simulate", "{}", "--traces", "--out", "parts"), "sweep"),
        (("proof", "turn", "B-1.1"), "turn"),
        (("proof", "offset", "B-1.1", "--at", "1", "--u", "0.2"), "measure an offset of"),
        (("proof", "close", "B-1.1", "--as", "realign"), "realign"),
        (
            ("proof", "edge", "B-1.1", "P", "1-C", "--at", "1", "--u", "1", "--below", "1",
             "--above", "OL"), "find an edge of",
        ),
    ],
)  # fmt: skip
def test_what_needs_a_lever_is_refused_in_one_sentence(
    shop: Shop, arguments: tuple[str, ...], done: str
) -> None:
    result = CliRunner().invoke(main, [one.format(shop.file) for one in arguments])
    assert result.exit_code == 2
    (line,) = result.output.strip().splitlines()
    assert line.endswith(f"has no lever, so there is nothing to {done}."), line


def test_the_pages_of_alignment_offer_and_show_none(shop: Shop) -> None:
    client = shop.screen.client
    for path in ("/align", "/foretell"):
        assert shop.key not in client.get(path).text
        answer = client.get(f"{path}/{shop.key}")
        assert answer.status_code == 422
        assert "has no lever, so there is nothing to" in answer.text
