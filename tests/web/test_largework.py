"""What is large is taken one after the other; what is small waits for nobody."""

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

from benchproof.family import limits
from benchproof.web.largework import Large
from hostile_files import CHARTS, MOST_MB, Served, picture_file

from .conftest import apart


def test_large_ones_wait_for_each_other_and_small_ones_do_not() -> None:
    large, most = limits.LARGE.most + 1, limits.LARGE.most
    seen: list[tuple[int, ...]] = []
    at_work: list[int] = []

    async def work(turns: Large, size: int) -> None:
        async with turns.turn(size):
            at_work.append(size)
            seen.append(tuple(at_work))
            for _ in range(3):
                await asyncio.sleep(0)
            at_work.remove(size)

    async def all_at_once() -> None:
        turns = Large()
        await asyncio.gather(*(work(turns, size) for size in (large, large, most, large, most)))

    apart(asyncio.run, all_at_once())
    assert max(sizes.count(large) for sizes in seen) == 1
    assert (large, most, most) in seen
    assert [sizes[-1] for sizes in seen].count(large) == 3


def test_one_that_fails_lets_the_next_one_in() -> None:
    async def spoilt(turns: Large) -> None:
        async with turns.turn(limits.LARGE.most + 1):
            raise ValueError

    async def one_after_the_other() -> list[object]:
        turns = Large()
        return [
            *await asyncio.gather(spoilt(turns), spoilt(turns), return_exceptions=True),
        ]

    assert [type(one) for one in apart(asyncio.run, one_after_the_other())] == [
        ValueError,
        ValueError,
    ]


UPLOADED = """
import re
from pathlib import Path
from benchproof.web.memory import keep_small

def resident():
    return int(re.search(r"VmRSS:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) // 1000

assert keep_small()
before, left = resident(), []
for size in (31_000_000, 30_000_000, 20_000_000):
    upload = bytearray(size)
    # Something that lives longer than an upload stands behind it.
    left.append(bytearray(1_000))
    del upload
print(resident() - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="mallopt is of glibc")
def test_what_was_uploaded_goes_back_to_the_system() -> None:
    """30 MB stay with the C library's own ways, which learn from the first block that is freed."""
    done = subprocess.run([sys.executable, "-c", UPLOADED], capture_output=True, check=True)
    assert int(done.stdout) < 5


def test_a_page_keeps_nothing_of_what_it_took(tmp_path: Path) -> None:
    """A sample of `make bench-hostile-files`: a chart, then a picture, took 343 MB before."""
    served = Served(tmp_path)
    try:
        chart = CHARTS["as-large-as-may-be.toml"]()
        for send in (
            lambda: served.chart("as-large-as-may-be.toml", chart),
            lambda: served.photograph(picture_file(4_900, 4_900, "TIFF", "CMYK")),
        ):
            memory, _, _ = served.thrice(send)
            assert memory < MOST_MB
    finally:
        served.close()
