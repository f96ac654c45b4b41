"""Photographs are bounded, found by content, and do not tell where they were taken."""

import subprocess
import sys
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from benchproof.record.photographs import LONGEST_SIDE, cleaned
from benchproof.record.problems import NoSuch, RecordProblem
from benchproof.record.store import Store
from hostile_files import picture_file

GPS, MAKE, ORIENTATION = 0x8825, 0x010F, 0x0112


def picture(width: int = 40, height: int = 20) -> Image.Image:
    drawn = Image.new("RGB", (width, height), "white")
    drawn.paste("red", (0, 0, width // 2, height))
    return drawn


@pytest.mark.parametrize("photograph_file", ["JPEG", "WEBP", "PNG", "TIFF"], indirect=True)
def test_nothing_of_the_place_is_left(photograph_file: bytes) -> None:
    with Image.open(BytesIO(photograph_file)) as before:
        assert before.getexif()[MAKE] == "Invented Camera"
        # Pillow does not write a place into TIFF.
        assert before.format == "TIFF" or before.getexif().get_ifd(GPS)
    kept, width, height = cleaned(photograph_file, "a")
    assert (width, height) == (40, 20)
    with Image.open(BytesIO(kept)) as after:
        assert after.format == "JPEG"
        assert not dict(after.getexif())
        assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for word in (b"Invented", b"Exif", b"GPS", b"xmp", b"ICC_PROFILE"):
        assert word not in kept


def test_png_texts_and_alpha_are_left_behind() -> None:
    info = PngImagePlugin.PngInfo()
    info.add_text("Location", "Invented Road")
    file = BytesIO()
    picture().convert("RGBA").save(file, "PNG", pnginfo=info)
    kept, _, _ = cleaned(file.getvalue(), "a")
    assert b"Invented" not in kept


def test_a_photograph_stands_upright_without_its_metadata() -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    file = BytesIO()
    picture().save(file, "JPEG", exif=exif)
    kept, width, height = cleaned(file.getvalue(), "a")
    assert (width, height) == (20, 40)
    with Image.open(BytesIO(kept)) as upright:
        red, white = upright.getpixel((10, 5)), upright.getpixel((10, 35))
    assert isinstance(red, tuple)
    assert isinstance(white, tuple)
    assert red[0] > 200
    assert red[1] < 60
    assert min(white) > 200


def test_a_large_photograph_is_made_smaller() -> None:
    file = BytesIO()
    picture(6000, 3000).save(file, "JPEG")
    kept, width, height = cleaned(file.getvalue(), "a")
    assert (width, height) == (LONGEST_SIDE, LONGEST_SIDE // 2)
    with Image.open(BytesIO(kept)) as after:
        assert after.size == (width, height)


def test_it_is_found_by_its_content(store: Store, photograph_file: bytes) -> None:
    key = store.photographs.put(photograph_file, "a.jpg")
    assert store.photographs.put(photograph_file, "b.jpg") == key
    kept = store.photographs.get(key)
    assert sha256(kept).hexdigest() == key
    (row,) = store.photographs.list()
    assert (row.hash, row.name, row.width, row.height) == (key, "a.jpg", 40, 20)
    with pytest.raises(NoSuch, match="no photograph"):
        store.photographs.get("0" * 64)


def _bomb() -> bytes:
    """Return a PNG that says it has 400 million pixels."""
    file = BytesIO()
    picture().save(file, "PNG")
    content = bytearray(file.getvalue())
    content[16:24] = (20_000).to_bytes(4, "big") * 2
    return bytes(content)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is no photograph"),
        (b"not a picture", "is no photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is no photograph"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00", "is (no photograph|damaged)"),
        (bytes(30_000_001), "larger than 30 MB"),
        (_bomb(), "pixels|is no photograph|damaged"),
    ],
)
def test_what_is_no_photograph_gets_one_sentence(content: bytes, sentence: str) -> None:
    with pytest.raises(RecordProblem, match=sentence) as caught:
        cleaned(content, "a\x1b.jpg")
    assert str(caught.value).isprintable()


@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(at=st.integers(0, 10_000), byte=st.integers(0, 255), cut=st.integers(0, 10_000))
def test_damaged_photographs_are_read_or_refused(
    photograph_file: bytes, at: int, byte: int, cut: int
) -> None:
    content = bytearray(photograph_file)
    content[at % len(content)] = byte
    try:
        kept, width, height = cleaned(bytes(content[: max(cut % len(content), 1)]), "a")
    except RecordProblem:
        return
    assert kept[:2] == b"\xff\xd8"
    assert width * height > 0


MOST_MEMORY_MB = 300
"""Of everything that runs, whatever is opened."""
OPENED_THREE_AT_ONCE = """
import re, resource, sys
from pathlib import Path
from threading import Thread
from benchproof.record.photographs import cleaned
from benchproof.record.problems import RecordProblem

def opened(content):
    try:
        print(*cleaned(content, "a")[1:])
    except RecordProblem as problem:
        print(problem)

content = Path(sys.argv[1]).read_bytes()
threads = [Thread(target=opened, args=[content]) for _ in range(3)]
for one in threads: one.start()
for one in threads: one.join()
# What getrusage tells of this process itself is that of the one which started it.
own = int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])
print((own + resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss) // 1000)
"""


@pytest.mark.parametrize(
    ("size", "form", "mode", "slow", "said"),
    [
        ((10_900, 10_900), "PNG", "RGB", False, "has more than 24,500,000 pixels"),
        ((4_900, 4_900), "PNG", "RGBA", False, "2400 2400"),
        ((10_900, 10_900), "JPEG", "RGB", False, "2400 2400"),
        ((5_000, 5_000), "JPEG", "RGB", True, "more than 12,500,000 pixels"),
        ((3_200, 2_400), "WEBP", "RGB", False, "2400 1800"),
        ((4_900, 4_900), "TIFF", "CMYK", False, "2400 2400"),
        ((20_001, 1), "PNG", "RGB", False, "more than 20,000 pixels long or high"),
    ],
)
def test_no_picture_takes_much_memory(
    size: tuple[int, int], form: str, mode: str, slow: bool, said: str, tmp_path: Path
) -> None:
    """Three at once; a picture of 350 kB took 1.4 GB alone before there were limits."""
    content = picture_file(*size, form, mode, slow=slow)
    file = tmp_path / "hostile"
    file.write_bytes(content)
    done = subprocess.run(
        [sys.executable, "-c", OPENED_THREE_AT_ONCE, file], capture_output=True, check=True
    )
    *lines, memory = done.stdout.decode().splitlines()
    assert len(lines) == 3
    assert all(said in line for line in lines)
    assert int(memory) < MOST_MEMORY_MB


def test_what_fills_the_memory_gets_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchproof.record.photographs._MEMORY", 60_000_000)
    with pytest.raises(RecordProblem, match="takes more than 184 MB of memory to open"):
        cleaned(picture_file(4_000, 4_000, "PNG"), "a")


def test_a_small_picture_keeps_its_size_and_a_narrow_one_its_shape() -> None:
    assert cleaned(picture_file(1, 1, "PNG"), "a")[1:] == (1, 1)
    assert cleaned(picture_file(9_600, 3, "PNG"), "a")[1:] == (LONGEST_SIDE, 1)
    assert cleaned(picture_file(3, 9_600, "PNG", "L"), "a")[1:] == (1, LONGEST_SIDE)


def test_what_a_picture_shows_stays_where_it_was() -> None:
    """Narrowed in strips: no strip may be lost or moved."""
    drawn = Image.new("RGB", (300, 5_000), "white")
    drawn.paste("black", (0, 2_000, 300, 3_000))
    file = BytesIO()
    drawn.save(file, "PNG")
    kept, width, height = cleaned(file.getvalue(), "a")
    assert (width, height) == (144, 2_400)
    with Image.open(BytesIO(kept)) as after:
        column = [after.convert("L").getpixel((70, y)) for y in range(height)]
    dark = [y for y, grey in enumerate(column) if isinstance(grey, int) and grey < 128]
    assert dark == list(range(960, 1440))
