"""What follows from a family alone is worked out once: a family never changes."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, update_wrapper
from typing import TypeVar

from benchproof.family.model import Family

MOST_REMEMBERED = 64
T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class _Key:
    """A family to remember an answer by; families hold mappings, so they are told by identity."""

    family: Family

    def __hash__(self) -> int:
        return id(self.family)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.family is self.family


def once_a_family(work_out: Callable[[Family], T]) -> Callable[[Family], T]:
    """Return a function that remembers what it came to, family by family, the last few of them."""

    @lru_cache(maxsize=MOST_REMEMBERED)
    def of_key(key: _Key) -> T:
        return work_out(key.family)

    def remembered(family: Family) -> T:
        return of_key(_Key(family))

    return update_wrapper(remembered, work_out)
