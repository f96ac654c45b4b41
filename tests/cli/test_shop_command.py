"""The shop's settings: kept with the archive, put on its papers, refused in a sentence."""

import io
import json
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image
from pypdf import PdfReader

from benchproof.cli import main
from benchproof.conduct.shopsettings import MOST_LOGO_BYTES
from benchproof.report.letterhead import LABELS

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0 0h9v9z"/></svg>'


def run(*args: str) -> Result:
    return CliRunner().invoke(main, args)


def png(side: int = 8) -> bytes:
    out = io.BytesIO()
    Image.new("L", (side, 4)).save(out, "PNG")
    return out.getvalue()


@pytest.fixture
def where(tmp_path: Path) -> str:
    place = str(tmp_path / "archive.db")
    for args in (
        ("person", "add", "JB", "--name", "Jo Invented"),
        ("customer", "add", "K-1", "--name", "Invented Bus Company", "--contact", "yard 3"),
        ("unit", "add", "U-1", "--customer", "K-1", "--serial", "INV-7", "--mileage-km", "160934"),
        ("part", "add", "S-1", "orchard-single-7", "--bought"),
    ):
        done = run(*args, "--store", place)
        assert done.exit_code == 0, done.output
    return place


def shown(where: str) -> dict[str, object]:
    found = run("shop", "--json", "--store", where)
    assert found.exit_code == 0, found.output
    return dict(json.loads(found.output))


def test_without_settings_it_says_so_and_records_nothing(where: str) -> None:
    told = run("shop", "--store", where)
    assert told.exit_code == 0
    assert "Name       not set" in told.output
    assert shown(where)["paper"] == "a4"
    with sqlite3.connect(where) as database:
        assert database.execute("select count(*) from shop_settings").fetchone() == (0,)


def test_what_is_set_stays_and_what_is_not_named_is_kept(where: str, tmp_path: Path) -> None:
    logo = tmp_path / "logo.svg"
    logo.write_bytes(SVG)
    first = ("--name", "Invented Depot", "--address", r"7 Nowhere Lane\nInvented Falls")
    assert run("shop", *first, "--logo", str(logo), "--by", "JB", "--store", where).exit_code == 0
    units = ("--distance", "miles", "--temperature", "F", "--paper", "letter", "--label", "small")
    assert run("shop", *units, "--language", "es", "--store", where).exit_code == 0
    assert shown(where) == {
        "name": "Invented Depot",
        "address": "7 Nowhere Lane\nInvented Falls",
        "signer": "",
        "logo": True,
        "paper": "letter",
        "label": "small",
        "distance": "miles",
        "temperature": "F",
        "language": "es",
    }
    assert run("shop", "--no-logo", "--store", where).exit_code == 0
    assert shown(where)["logo"] is False
    # Every change is kept, and told by the ledger; saying the same again is no change.
    assert run("shop", "--name", "Invented Depot", "--store", where).exit_code == 0
    with sqlite3.connect(where) as database:
        assert database.execute("select count(*) from shop_settings").fetchone() == (3,)
    assert run("verify", "--store", where).exit_code == 0


def test_settings_that_another_program_changed_are_not_printed(where: str) -> None:
    assert run("shop", "--name", "Invented Depot", "--store", where).exit_code == 0
    with sqlite3.connect(where) as database:
        for (name,) in database.execute("select name from sqlite_master where type='trigger'"):
            database.execute(f'drop trigger "{name}"')
        database.execute("update shop_settings set name = 'Another Shop'")
    refused = run("shop", "--store", where)
    assert refused.exit_code == 2
    assert "was altered" in refused.stderr
    assert "shop settings" in run("verify", "--store", where).output


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"GIF89a", "logo: is neither PNG nor SVG; save it as one of these."),
        (b"\x89PNG\r\n\x1a\n broken", "logo: cannot be drawn; save it anew"),
        (SVG.replace(b"<path", b"<script>alert(1)</script><path"), "logo: an SVG may draw only"),
        (SVG.replace(b"<path", b'<image href="x.png"/><path'), "logo: an SVG may draw only"),
        (b"<!DOCTYPE svg>" + SVG, "logo: an SVG may draw only"),
        (SVG + b" " * MOST_LOGO_BYTES, "logo: is larger than 200 kB"),
        (png(4000), "logo: has more than 3000 pixels a side"),
    ],
)
def test_a_logo_that_cannot_be_is_refused_in_a_sentence(
    content: bytes, sentence: str, where: str, tmp_path: Path
) -> None:
    logo = tmp_path / "logo"
    logo.write_bytes(content)
    refused = run("shop", "--name", "X", "--logo", str(logo), "--store", where)
    assert refused.exit_code == 2
    assert refused.stderr.startswith(sentence)
    assert refused.stderr.count("\n") == 1
    # Nothing of it was kept.
    assert shown(where)["name"] == ""


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        (("--name", "N" * 81), "name: is longer than 80 letters"),
        (("--address", "\\n".join("abcdef")), "address: has too many lines"),
        (("--by", "ZZ", "--name", "X"), "ZZ"),
        (("--logo", "no-such.png"), "no-such.png: cannot be read"),
        (("--logo", "x.png", "--no-logo"), "Give --logo FILE or --no-logo, not both."),
    ],
)
def test_mistakes_get_a_sentence(args: tuple[str, ...], sentence: str, where: str) -> None:
    refused = run("shop", *args, "--store", where)
    assert refused.exit_code == 2
    assert sentence in refused.stderr
    assert "Traceback" not in refused.output


def test_the_papers_have_it(where: str, tmp_path: Path) -> None:
    logo = tmp_path / "logo.png"
    logo.write_bytes(png())
    first = ("--name", "Invented Depot", "--address", "7 Nowhere Lane", "--logo", str(logo))
    units = ("--paper", "letter", "--label", "large", "--distance", "miles", "--temperature", "F")
    assert run("shop", *first, *units, "--store", where).exit_code == 0
    opened = run("proof", "open", "S-1", "--meter", "depot-bench", "--by", "JB", "--store", where)
    assert opened.exit_code == 0, opened.output
    closed = run("proof", "close", "S-1.1", "--as", "abandoned", "--by", "JB", "--store", where)
    assert "Traceback" not in closed.output
    text = " ".join(run("certificate", "S-1.1", "--store", where).output.split())
    assert "Tested by, and where Invented Depot, 7 Nowhere Lane" in text
    assert "Authorized by: Jo Invented (JB)" in text
    # It was noted in the ledger when it was first printed.
    assert "Issued 20" in text
    out = tmp_path / "x.pdf"
    assert run("certificate", "S-1.1", "--store", where, "--out", str(out)).exit_code == 0
    page = PdfReader(out).pages[0]
    # ANSI letter, points; from memory.
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx([612, 792], abs=0.2)
    assert len(page.images) == 1
    tag = tmp_path / "tag.pdf"
    assert run("tag", "S-1", "--store", where, "--out", str(tag)).exit_code == 0
    assert sides_mm(tag) == pytest.approx(LABELS["large"], abs=0.1)
    assert run("tag", "S-1", "--label", "small", "--store", where, "--out", str(tag)).exit_code == 0
    assert sides_mm(tag) == pytest.approx(LABELS["small"], abs=0.1)
    sheet = tmp_path / "sheet.pdf"
    asked = ("certificate", "--blank", "orchard-single-7", "--out", str(sheet), "--store", where)
    assert run(*asked).exit_code == 0
    words = " ".join(PdfReader(sheet).pages[0].extract_text().split())
    assert "Invented Depot, 7 Nowhere Lane" in words
    assert "Temperature, °F" in words


def sides_mm(pdf: Path) -> list[float]:
    (page,) = PdfReader(pdf).pages
    return [float(side) / 72 * 25.4 for side in page.mediabox[2:]]


def test_whose_the_unit_is_stands_on_the_certificate(where: str, tmp_path: Path) -> None:
    # An invented part that is good.
    sheets = str(tmp_path / "sheets")
    made = run("simulate", "valley-coded-7", "--count", "2", "--seed", "12", "--out", sheets)
    assert made.exit_code == 0
    for args in (
        ("part", "add", "S-7", "valley-coded-7"),
        ("proof", "open", "S-7", "--meter", "depot-bench", "--by", "JB"),
        ("proof", "read", "S-7.1", "--sheet", f"{sheets}/part-2.csv", "--by", "JB"),
        ("proof", "close", "S-7.1", "--by", "JB"),
        ("shelf", "move", "S-7", "stock"),
        ("shelf", "move", "S-7", "reserved", "--unit", "U-1"),
    ):
        done = run(*args, "--store", where)
        assert done.exit_code == 0, done.output
    text = " ".join(run("certificate", "S-7.1", "--store", where).output.split())
    assert "Customer Invented Bus Company, yard 3" in text
    assert "Serial number of the unit INV-7" in text
    assert "Odometer 160,934 km" in text


def test_a_filled_worksheet_is_typed_back_into_a_proof(where: str, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    asked = ("certificate", "--blank", "orchard-single-7", "--out", str(sheet), "--store", where)
    assert run(*asked).exit_code == 0
    lines = sheet.read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("pins,"))
    width = lines[at].count(",")
    for n in range(at + 1, len(lines)):
        name = lines[n].rstrip(",")
        lines[n] = f"{name}{',OL' * width}" if name.endswith("again") else f"{name}{',0.2' * width}"
    sheet.write_text("\n".join(lines))
    done = run("proof", "open", "S-1", "--meter", "depot-bench", "--by", "JB", "--store", where)
    assert done.exit_code == 0, done.output
    done = run("proof", "read", "S-1.1", "--sheet", str(sheet), "--by", "JB", "--store", where)
    pairs = len(lines) - at - 1
    assert f"{pairs * width} readings are recorded." in done.output
    run("proof", "close", "S-1.1", "--as", "abandoned", "--by", "JB", "--store", where)
    text = run("certificate", "S-1.1", "--store", where).output
    # Of every cell both readings are there, and the worse one is shown.
    shown = [line for line in text.splitlines() if line.startswith("  ") and line.endswith("×2")]
    assert len(shown) == pairs * width // 2
