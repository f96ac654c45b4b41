"""The tag: what stands on it, in label size, whatever the names."""

import io
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy import asarray
from PIL import Image
from pypdf import PdfReader

from benchproof.report.glyphs import PLACEHOLDER, ascii_only, drawable
from benchproof.report.letterhead import LABELS, Letterhead
from benchproof.report.tag import LastProof, Tag, stands, tag_pdf

HASH = "0123456789abcdef" * 4
GOOD = LastProof("S-104.2", 74, HASH, "accepted", override_by="", on="2026-03-02")
LONG = "A" * 40


def words(pdf: bytes) -> str:
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(page.extract_text().replace("\u200b", "").split())


def test_a_proven_part_is_told_with_its_proof() -> None:
    pdf = tag_pdf(Tag("S-104", "part", "terrace-transit-9", ("fitted U-31",), GOOD))
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    size = float(page.mediabox[2]), float(page.mediabox[3])
    # 72 points an inch of 25.4 mm.
    assert size == pytest.approx((89 / 25.4 * 72, 36 / 25.4 * 72), abs=0.1)
    shown = words(pdf)
    for fact in ("S-104", "✓ ACCEPTED", "S-104.2, 2026-03-02", "01234567…", "fitted U-31"):
        assert fact in shown
    assert pdf == tag_pdf(Tag("S-104", "part", "terrace-transit-9", ("fitted U-31",), GOOD))


@pytest.mark.parametrize(
    ("last", "standing"),
    [
        (None, "– NOT PROVED: do not fit"),
        (LastProof("S-1.1", 9, HASH, "repair", "", "2026-03-02"), "! NOT ACCEPTED: do not fit"),
        (
            LastProof("S-1.1", 9, HASH, "accepted", "Jo Invented", "2026-03-02"),
            "! OVERRIDE, NOT PROVED: ask before fitting",
        ),
    ],
)
def test_a_part_that_is_not_proven_says_so(last: LastProof | None, standing: str) -> None:
    assert standing in words(tag_pdf(Tag("S-1", "part", last=last)))


def test_an_override_stands_on_the_tag_by_name() -> None:
    last = LastProof("S-1.1", 9, HASH, "accepted", "Jo Invented", "2026-03-02")
    assert "Override by Jo Invented" in words(tag_pdf(Tag("S-1", "part", last=last)))


def test_a_part_that_only_older_rules_accepted_is_not_to_be_fitted() -> None:
    last = LastProof("S-1.1", 9, HASH, "accepted", "", "2026-03-02", flagged=True)
    shown = words(tag_pdf(Tag("S-1", "part", last=last)))
    assert "! NOT PROVED BY THESE RULES: do not fit" in shown
    assert "ACCEPTED" not in shown


def test_a_unit_makes_no_claim() -> None:
    shown = words(tag_pdf(Tag("U-31", "unit", "depot box", ("Parts: S-104",))))
    assert "U-31" in shown
    assert "Parts: S-104" in shown
    assert "ACCEPTED" not in shown
    assert "PROVED" not in shown


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize(
    ("last", "text"),
    [(GOOD, f"benchproof:S-104.2:74:{HASH}"), (None, f"benchproof:{LONG}")],
)
def test_the_code_reads_as_printed_and_nothing_touches_the_edge(
    last: LastProof | None, text: str, label: str, tmp_path: Path
) -> None:
    program = shutil.which("pdftoppm")
    assert program, "pdftoppm is missing: run tools/setup oracles"
    head = Letterhead(name="Invented Depot Gearbox Works", label=label)
    told = Tag(
        LONG, "part", "a family with a long name " * 3, ("word " * 12,), last, letterhead=head
    )
    pdf = tag_pdf(told)
    (sheet,) = PdfReader(io.BytesIO(pdf)).pages
    size = tuple(float(side) / 72 * 25.4 for side in sheet.mediabox[2:])
    assert size == pytest.approx(LABELS[label], abs=0.1)
    (tmp_path / "x.pdf").write_bytes(pdf)
    # 203 dots an inch: a usual label printer (common practice, no source).
    command = [program, "-r", "203", "-png", "-singlefile", "x.pdf", "x"]
    subprocess.run(command, cwd=tmp_path, check=True, timeout=60)
    page = asarray(Image.open(tmp_path / "x.png").convert("L"))
    for margin in (page[:10], page[-10:], page[:, :10], page[:, -10:]):
        assert margin.min() == 255
    (code,) = zxingcpp.read_barcodes(page)
    assert code.text == text
    assert LONG in words(pdf).replace(" ", "")


@settings(max_examples=25)
@given(st.text(min_size=1, max_size=60))
def test_any_text_at_all_gives_a_tag(text: str) -> None:
    assert tag_pdf(Tag("S-1", "part", text, (text,))).startswith(b"%PDF")


def test_what_has_no_shape_is_replaced() -> None:
    assert drawable("Bär ±2 Ω ≤ Ж") == "Bär ±2 Ω ≤ Ж"
    assert drawable("中\u202ea\x00") == f"{PLACEHOLDER} a "
    # Decomposed letters are put together.
    assert drawable("a\u0308") == "ä"
    assert ascii_only("é中a") == f"{PLACEHOLDER * 2}a"


def test_what_came_back_or_is_scrapped_is_proved_no_more() -> None:
    proved = datetime(2026, 3, 2, tzinfo=UTC)
    before, after = proved - timedelta(days=1), proved + timedelta(days=1)
    assert stands(proved, "", None)
    assert stands(proved, "fitted", after)
    assert not stands(proved, "returned", after)
    assert stands(proved, "returned", before)
    assert not stands(proved, "scrapped", before)
