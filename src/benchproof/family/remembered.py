"""What follows from one thing alone, a family above all, is worked out once: it never changes."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, update_wrapper
from typing import TypeVar
from weakref import WeakKeyDictionary

from benchproof.family.model import Family

MOST_REMEMBERED = 64
S = TypeVar("S")
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


def once_each(work_out: Callable[[S], T]) -> Callable[[S], T]:
    """Return a function that remembers what it came to as long as that of which it is lives.

    For what is told by identity; and what it comes to must not hold on to that of which it is.
    """
    known: WeakKeyDictionary[S, T] = WeakKeyDictionary()

    def remembered(of: S) -> T:
        found = known.get(of)
        if found is None:
            found = known[of] = work_out(of)
        return found

    return update_wrapper(remembered, work_out)
