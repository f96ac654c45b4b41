"""The certificate: what stands on it, that it is always the same, and that nothing is cut off."""

import hashlib
import io
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from math import hypot
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from pypdf import PageObject, PdfReader
from scipy.stats import norm

from benchproof.judge.cell import AllowedRange, Result, nonconformance
from benchproof.proof.events import Check, GearChecked
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.value import Mark, Measured, OverRange
from benchproof.report.certificate import Certificate
from benchproof.report.certificate_of import Recorded, certificate_of
from benchproof.report.html import certificate_html
from benchproof.report.installer import installer_cautions
from benchproof.report.judgedchart import With, value_text
from benchproof.report.paper import MOST_NAMED, grouped, paper_of
from benchproof.report.pdf import certificate_pdf
from benchproof.report.text import certificate_text
from example_certificate import HASH, example_certificate, example_state, shipped_state

EVIL = "#import \"x\" *bold* $x$ <script>alert(1)</script> @ref \\ [a] {b} & 'q' // c /* d"
CURLED = "\N{RIGHT SINGLE QUOTATION MARK}"
"""What an apostrophe becomes on paper."""
FOUND = {("G-H", "N"), ("J-K", "R")}


@pytest.fixture(scope="module")
def accepted() -> Certificate:
    return example_certificate(shipped_state(found=FOUND))


@pytest.fixture(scope="module")
def failing() -> Certificate:
    return example_certificate(shipped_state(left={("A-E", "R"), ("G-H", "D")}), outcome="repair")


@pytest.fixture(scope="module")
def overridden() -> Certificate:
    return example_certificate(
        shipped_state(left={("A-E", "R")}),
        override_by="Mara Invented",
        override_reason="for a trial on the yard",
    )


def pages(pdf: bytes) -> list[PageObject]:
    return list(PdfReader(io.BytesIO(pdf)).pages)


def words(page: PageObject) -> str:
    return " ".join(page.extract_text().replace("\u200b", "").split())


def chart_of(positions: list[str], pairs: list[str]) -> bytes:
    kinds = {"P": "park", "N": "neutral", "R": "reverse"}
    lever = ["lever", *(kinds.get(name, "drive") for name in positions)]
    rows = [["pins", *positions], lever, ["start permit", "none"]]
    for k, pair in enumerate(pairs):
        cells = ["closed" if (k + n) % 3 else "open" for n in range(len(positions))]
        rows.append([pair, *cells])
    return "\n".join(",".join(row) for row in rows).encode()


def test_the_first_page_says_all_that_matters(accepted: Certificate) -> None:
    front, details, _ = map(words, pages(certificate_pdf(accepted)))
    for fact in (
        *("S-104.1", "S-104", "U-31", "C-77", "terrace-transit-9"),
        *("reused, from core C-77; original maker", "Solenoid block V-12"),
        *("bought, new or used not noted", "Invented Depot Gearbox Works", "7 Nowhere Lane"),
        *("Invented Bus Company", "INV-000417", "412,300 km", "2026-02-27"),
        *("✓ ACCEPTED", "All 63 cells of the chart pass.", "guarded acceptance", "2.3 %"),
        *("As found: 61 pass, 2 fail.", "As left, after the body was turned: 63 pass."),
        *("set the parking brake and hold the foot brake; chock the wheels", "local rules"),
        *("maker's service information", "Mara Invented", "Signature"),
    ):
        assert fact in front.replace(CURLED, "'"), fact
    for fact in (
        *("ordinary handheld (M-2)", "done 2026-01-12, due 2027-01-12", "21 °C", "nulled"),
        *("2026-03-02 14:05:09+01:00 by JB", "2026-03-02 14:21:40+01:00 by JB"),
        *("benchproof verify", f"Event {accepted.seq}", "3 mm at the marks, toward P"),
    ):
        assert fact in details.replace(CURLED, "'"), fact
    assert accepted.hash in details.replace(" ", "")


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize("which", ["accepted", "overridden"])
def test_a_page_that_counts_one_of_details_and_one_for_the_chart(
    which: str, size: str, request: pytest.FixtureRequest
) -> None:
    told: Certificate = request.getfixturevalue(which)
    front, _, chart = pages(certificate_pdf(told, size))
    wide, high = (float(n) for n in front.mediabox[2:])
    # ISO 216 A4 and ANSI letter, points; both from memory.
    assert (wide, high) == pytest.approx((595.3, 841.9) if size == "a4" else (612, 792), abs=0.2)
    assert (float(chart.mediabox[2]), float(chart.mediabox[3])) == pytest.approx((high, wide))


def test_the_chart_shows_every_cell_as_found_and_as_left(failing: Certificate) -> None:
    # With a danger on it the front may take more than one page.
    chart = words(pages(certificate_pdf(failing))[-1])
    for row in failing.chart.rows:
        assert row.pair in chart
        for cell in row.cells:
            assert cell.allowed in chart
            assert (
                f"F {'✓' if cell.found.result is Result.PASS else '!'} {cell.found.text}" in chart
            )
            assert f"L {'✓' if cell.left.result is Result.PASS else '!'} {cell.left.text}" in chart


def test_twelve_pairs_in_nine_positions_fit_and_forty_go_on() -> None:
    names = list("PRNDMSTUL")
    twelve = example_state(chart_of(names, [f"P{n}-Q{n}" for n in range(12)]), "twelve")
    assert len(pages(certificate_pdf(example_certificate(twelve)))) == 3
    pairs = [f"P{n}-Q{n}" for n in range(40)]
    forty = pages(certificate_pdf(example_certificate(example_state(chart_of(names, pairs), "x"))))
    assert len(forty) == 5
    for page in forty[2:]:
        # The heading of the table stands on every page of it.
        assert "pins P R N D M S T U L" in words(page)
    chart = " ".join(words(page) for page in forty[2:])
    assert all(f"{pair} " in chart for pair in pairs)


def test_more_positions_than_a_page_is_wide_go_into_a_second_table() -> None:
    names = [f"pos{n}" for n in range(14)]
    state = example_state(chart_of(names, ["A-B", "C-D", "E-F"]), "many")
    chart = words(pages(certificate_pdf(example_certificate(state, outcome="repair")))[-1])
    assert all(name in chart for name in names)
    assert chart.count("A-B") == 2


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_nothing_is_clipped_and_nothing_is_small(size: str) -> None:
    pins = ["Averyveryveryverylongpin", "Anotherveryveryverylong"]
    names = [f"A lever position, long, {n}".replace(",", "") for n in range(9)]
    state = example_state(chart_of(names, [f"{pins[0]}-{pins[1]}"]), "n" * 100)
    told = replace(
        example_certificate(state, outcome="repair"),
        part="S" * 60,
        unit="unit " * 20,
        override_by="W" * 90,
        override_reason=f"{'word ' * 60}{'W' * 120}",
        remarks=("x" * 300,),
        # Its labels are smaller: they have a test of their own.
        strip=None,
    )
    for page in pages(certificate_pdf(told, size)):
        wide, high = float(page.mediabox[2]), float(page.mediabox[3])
        found: list[tuple[float, float, float]] = []

        def visit(
            text: str,
            matrix: list[float],
            place: list[float],
            _: object,
            points: float,
            found: list[tuple[float, float, float]] = found,
        ) -> None:
            if text.strip():
                x = matrix[0] * place[4] + matrix[2] * place[5] + matrix[4]
                y = matrix[1] * place[4] + matrix[3] * place[5] + matrix[5]
                found.append((x, y, points * hypot(place[2], place[3]) * hypot(*matrix[2:4])))

        page.extract_text(visitor_text=visit)
        assert len(found) > 10
        for x, y, points in found:
            assert 20 < x < wide - 20
            assert 15 < y < high - 15
            assert points > 8.99


def drawn(pdf: bytes, folder: Path, dpi: int = 150) -> list[Path]:
    """Return the pages of a PDF drawn by another program than made it."""
    program = shutil.which("pdftoppm")
    assert program, "pdftoppm is missing: run tools/setup oracles"
    (folder / "x.pdf").write_bytes(pdf)
    command = [program, "-r", str(dpi), "-gray", "-png", "x.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True, timeout=60)
    return sorted(folder.glob("page*.png"))


def test_the_margins_are_white_and_the_code_reads_as_printed(
    overridden: Certificate, tmp_path: Path
) -> None:
    from numpy import asarray
    from PIL import Image

    sheets = [asarray(Image.open(one)) for one in drawn(certificate_pdf(overridden), tmp_path)]
    edge = 40
    for sheet in sheets:
        for margin in (sheet[:edge], sheet[-edge:], sheet[:, :edge], sheet[:, -edge:]):
            assert margin.min() == 255
    (code,) = zxingcpp.read_barcodes(sheets[1])
    assert code.text == f"benchproof:S-104.1:{overridden.seq}:{HASH}"


def test_the_figure_stands_on_the_first_page(accepted: Certificate, tmp_path: Path) -> None:
    text = shutil.which("pdftotext")
    assert text, "pdftotext is missing: run tools/setup oracles"
    (tmp_path / "x.pdf").write_bytes(certificate_pdf(accepted))
    command = [text, "-f", "1", "-l", "1", "x.pdf", "-"]
    shown = subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=60)
    front = shown.stdout.decode()
    assert "shaft angle, degrees" in front
    # Those that can hurt someone are never left out.
    assert "3 of 7 pairs, start permit and reverse lamp first" in front
    assert {"start permit", "reverse lamp"} <= {line.strip() for line in front.splitlines()}


def test_same_input_same_bytes_in_another_process_and_another_zone(accepted: Certificate) -> None:
    script = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1])\n"
        "from example_certificate import *\n"
        "from benchproof.report.pdf import certificate_pdf\n"
        "from benchproof.report.html import certificate_html\n"
        "told = example_certificate(shipped_state(found={('J-K', 'R'), ('G-H', 'N')}))\n"
        "print(hashlib.sha256(certificate_pdf(told)).hexdigest())\n"
        "print(hashlib.sha256(certificate_html(told).encode()).hexdigest())\n"
    )
    folder = str(Path(__file__).parents[2] / "benchmarks")
    ran = subprocess.run(
        [sys.executable, "-c", script, folder],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
        env={"TZ": "Pacific/Auckland", "PYTHONHASHSEED": "7", "LC_ALL": "C.UTF-8"},
    )
    here = (certificate_pdf(accepted), certificate_html(accepted).encode())
    assert ran.stdout.split() == [hashlib.sha256(data).hexdigest() for data in here]


def test_another_record_has_another_hash_on_paper(accepted: Certificate) -> None:
    other = replace(accepted, hash=hashlib.sha256(b"altered").hexdigest())
    assert grouped(other.hash) in " ".join(certificate_text(other).split())
    assert grouped(HASH) not in " ".join(certificate_text(other).split())
    assert certificate_pdf(other) != certificate_pdf(accepted)


def test_it_is_archival_and_accessible(accepted: Certificate) -> None:
    reader = PdfReader(io.BytesIO(certificate_pdf(accepted)))
    root: Any = reader.root_object
    # ISO 19005-2 (PDF/A-2a) and ISO 14289-1 (PDF/UA-1) ask for these; from memory.
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == "Certificate of electrical proof S-104.1"
    claims = root["/Metadata"].get_data().decode()
    for claim in ("<pdfaid:part>2<", "<pdfaid:conformance>A<", "<pdfuaid:part>1<"):
        assert claim in claims


def test_markup_is_shown_and_never_followed(accepted: Certificate) -> None:
    told = replace(
        accepted,
        unit=EVIL,
        override_by=EVIL,
        override_reason=EVIL,
        remarks=(EVIL,),
        family_note=EVIL,
        reasons=(EVIL,),
        fitted=((EVIL, EVIL),),
    )
    front = " ".join(words(page) for page in pages(certificate_pdf(told)))
    squeezed = front.replace(" ", "").replace(CURLED, "'")
    assert squeezed.count(EVIL.replace(" ", "")) >= 7
    page = Page(certificate_html(told))
    assert "script" not in page.tags
    assert page.text.count(EVIL) >= 7


def test_letters_without_a_shape_get_a_placeholder_that_is_explained(accepted: Certificate) -> None:
    told = replace(accepted, unit="中文 שלום مرحبا Ж \u202e x\u0308 👩\u200d🔧", part="한")
    front = words(pages(certificate_pdf(told))[0])
    assert "□□" in front
    assert "Ж" in front
    assert "□ stands for a character that the fonts of this paper lack" in front
    assert "中文 שלום" in certificate_html(told)
    assert "中文 שלום" in certificate_text(told)


class Page(HTMLParser):
    """An HTML page that is read strictly: every element is closed in its turn."""

    VOID = frozenset({"meta", "br", "img"})

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(html)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that begins."""
        self.tags.append(tag)
        found = {name: value or "" for name, value in attrs}
        assert len(found) == len(attrs)
        self.links += [found[n] for n in ("src", "href", "data", "srcset", "action") if n in found]
        self.ids += [found["id"]] if "id" in found else []
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that holds nothing."""
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        """Check that what ends is what was open last."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.text += data


def test_html_is_whole_and_needs_nothing_else(failing: Certificate) -> None:
    html = certificate_html(failing)
    page = Page(html)
    (logo,) = page.links
    assert logo.startswith("data:image/svg+xml;base64,")
    assert "url(http" not in html
    assert "@import" not in html
    assert len(set(page.ids)) == len(page.ids)
    # The travel figure and the code; the logo is a picture in the page itself.
    assert page.tags.count("svg") == 2
    assert page.tags.count("td") == 63
    assert "! NOT ACCEPTED: repair".replace("! ", "!") in page.text
    flat = " ".join(page.text.split())
    for line in every_line(failing):
        assert " ".join(line.split()) in flat, line


def every_line(told: Certificate) -> list[str]:
    """Return all that a certificate says in words."""
    paper = paper_of(told)
    sections = (paper.tested, *paper.before, *paper.after, *paper.details, paper.record)
    facts = [value for it in sections for _, value in it.facts]
    lines = [line for it in sections for line in it.lines]
    return [
        *paper.dangers,
        paper.title,
        paper.word,
        *paper.verdict,
        *paper.override,
        *paper.shop,
        *facts,
        *lines,
        *(word for field in paper.signature for word in field if word),
        paper.end,
    ]


@pytest.mark.parametrize("which", ["accepted", "failing", "overridden"])
def test_the_text_says_all_that_the_paper_does(which: str, request: pytest.FixtureRequest) -> None:
    told: Certificate = request.getfixturevalue(which)
    text = certificate_text(told)
    flat = " ".join(text.replace("\n** ", "\n").replace("\n!! ", "\n").split())
    for line in every_line(told):
        assert " ".join(line.split()) in flat, line
    for _, cell in told.chart.cells():
        assert cell.left.text in text
    assert f"benchproof:S-104.1:{told.seq}:{HASH}" in text


def test_a_start_permit_that_conducts_in_gear_comes_first(failing: Certificate) -> None:
    danger = paper_of(failing).dangers[0]
    assert danger.startswith("DANGER: start permit G-H in D reads 0.")
    # Before all else that is said of the part, on every form of the paper.
    front = words(pages(certificate_pdf(failing))[0])
    assert "".join(front.split()).startswith("".join(danger.split())[:60])
    assert certificate_text(failing).startswith("!! DANGER: start permit G-H in D")
    web = certificate_html(failing)
    assert web.index("DANGER: start permit G-H in D") < web.index("<h1>") < web.index("<dl>")
    others = installer_cautions(failing)
    assert "This part was not accepted: do not install it." in others[:2]
    # Nobody is told how to start with a part that is not to be fitted.
    assert not any("start the engine" in caution for caution in others)
    assert "local rules" in others[-1]


def test_a_start_permit_that_was_not_read_is_a_hazard_too() -> None:
    state = shipped_state(left=None)
    unread = replace(state, settings=(replace(state.as_left, taken=()),))
    cautions = installer_cautions(example_certificate(unread, outcome="abandoned"))
    (told,) = [c for c in cautions if c.startswith("The start permit is not proved open")]
    # Outside P and N there are seven positions in which it must be open.
    assert told.count("G-H in ") == 7


def test_an_override_stands_out_with_name_and_reason(overridden: Certificate) -> None:
    paper = paper_of(overridden)
    assert (paper.sign, paper.word) == ("!", "NOT PROVED, ACCEPTED BY OVERRIDE")
    assert paper.override[0] == "OVERRIDE by Mara Invented: for a trial on the yard"
    assert any("A-E in R fails" in line for line in paper.override)
    assert not overridden.accepted
    assert installer_cautions(overridden)[0].startswith("This part was not proved: Mara Invented")


def test_an_overdue_meter_is_said_twice() -> None:
    state = shipped_state(left=None, due_on="2026-03-01")
    told = example_certificate(state, override_by="Mara Invented", override_reason="trial")
    text = " ".join(certificate_text(told).split())
    assert "due 2026-03-01: OVERDUE" in text
    assert "Calibration of ordinary handheld was overdue (due 2026-03-01)" in text
    # The day it is due is still good.
    on_the_day = example_certificate(shipped_state(left=None, due_on="2026-03-02"))
    assert "OVERDUE" not in certificate_text(on_the_day)


def test_a_meter_that_was_not_named_is_said_to_be_invented() -> None:
    state = shipped_state(left=None, named_meter=False)
    told = example_certificate(state, override_by="Mara Invented", override_reason="trial")
    assert "not named; taken as an ordinary handheld (invented)" in certificate_text(told)


def test_without_a_turn_as_found_is_as_left() -> None:
    told = example_certificate(shipped_state(left=None))
    text = certificate_text(told)
    assert "As found and as left, nothing was turned: 63 pass." in text
    assert "F +" not in text


def test_what_was_checked_of_the_gear_is_said() -> None:
    at = "2026-03-02T14:15:00+01:00"
    checked = GearChecked(at, "JB", "M-2", Check.RESISTOR, 100.2, True, 100.0, 1.0)
    text = certificate_text(example_certificate(shipped_state(left=None).after(checked)))
    assert "Gear checked: M-2: known resistor of 100 ohm, 100.2 ohm, good" in text


def test_many_reasons_are_cut_with_a_word_about_the_rest(failing: Certificate) -> None:
    many = tuple(f"invented reason {n}." for n in range(MOST_NAMED + 3))
    told = replace(failing, reasons=many)
    section = next(it for it in paper_of(told).before if it.heading == "Against accepting")
    assert len(section.lines) == MOST_NAMED + 1
    assert section.lines[-1] == "and 3 more: the record has them."


def test_an_open_proof_has_no_certificate() -> None:
    with pytest.raises(ProofProblem, match=r"S-104\.1 is still open; close it first"):
        certificate_of(shipped_state(left=None), Recorded("S-104.1", 1, HASH), "0")


def test_the_stated_risk_is_that_of_the_rule() -> None:
    # A closed contact near its limit of 2 ohm; the normal distribution is scipy's.
    chart = b"pins,P,N\nA-B,closed,closed\nC-D,open,open\n"
    told = example_certificate(example_state(chart, "small", left=None), outcome="abandoned")
    number = next(c for name, c in told.chart.cells() if name == told.worst_cell).left.text
    value, twice_u = (float(n) for n in number.removesuffix(" Ω").split(" ± "))
    expected = norm.sf(2.0, loc=value, scale=twice_u / 2.0)
    assert told.worst_risk == pytest.approx(expected, rel=0.3)
    # The bound that the paper states: two standard uncertainties inside one limit.
    assert nonconformance(0.0, 1.0, AllowedRange(float("-inf"), 2.0)) == pytest.approx(norm.sf(2.0))
    assert norm.sf(2.0) < 0.023


METER = Meter("invented", (Range(400.0, 0.1, 1.0, 3.0), Range(4e7, 1e4, 3.0, 5.0)), Leads())


@pytest.mark.parametrize(
    ("value", "text"),
    [
        # GUM by hand: limits 0.302 (meter) and 0.05 (digit), rectangular, in squares, twice.
        (Measured(0.2, 0.1), "0.20 ± 0.35 Ω"),
        (Mark.CLOSED, "closed"),
        (OverRange(), ">40 MΩ"),
        (OverRange(4e5), ">400 kΩ"),
    ],
)
def test_a_reading_as_the_chart_shows_it(value: Measured | Mark | OverRange, text: str) -> None:
    assert value_text(value, With(METER)) == text


def test_the_benchmark_draws_different_certificates(accepted: Certificate) -> None:
    import certificate

    table = certificate.rows(5)
    assert len(table) == 7
    assert "PDF of 3 pages" in table[3]
    one, other = (certificate.numbered(accepted, n) for n in (1, 2))
    assert certificate_pdf(one) != certificate_pdf(other)
    assert certificate.empty_page(1).startswith(b"%PDF")
