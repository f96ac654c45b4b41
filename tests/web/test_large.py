"""What is large is taken one after the other; what is small waits for nobody."""

import asyncio

from benchproof.family import limits
from benchproof.web.large import Large

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
