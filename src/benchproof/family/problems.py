"""What is wrong with a file a person brought: one sentence each, with its place, all at once."""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NoReturn

from benchproof.family.sentence import one_line

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class Problem:
    """One mistake in one place of a file."""

    place: str
    """Where in the file, as "line 3" or "cell B3"; empty for the file as a whole."""
    sentence: str
    """What is wrong and what would be right."""


class BadFile(Exception):
    """A file that cannot be used.

    Attributes
    ----------
    file : str
        The file's name as the person gave it.
    problems : tuple of Problem
        Everything that was found wrong, in file order; never empty.
    """

    def __init__(self, file: str, problems: "Iterable[Problem]") -> None:
        self.file = file
        self.problems = tuple(problems)
        super().__init__(str(self))

    def __reduce__(self) -> tuple[type["BadFile"], tuple[str, tuple[Problem, ...]]]:
        """Be told by another process as it is here."""
        return BadFile, (self.file, self.problems)

    def __str__(self) -> str:
        """One line a problem, each naming file and place."""
        return "\n".join(
            f"{self.file}, {p.place}: {p.sentence}" if p.place else f"{self.file}: {p.sentence}"
            for p in self.problems
        )


class TooLarge(Exception):
    """A good chart that is too large for what was asked; its text is a sentence."""


class Problems:
    """Collects the mistakes of one file, so that a person is told of all of them at once."""

    MOST = 20
    ENOUGH = 100
    """A file with this many is not read on: it is the wrong file, or wrong throughout."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._found: list[Problem] = []

    def __len__(self) -> int:
        """How many were found so far."""
        return len(self._found)

    def add(self, place: str, sentence: str) -> None:
        """Note one mistake; its sentence is put on one line and ended with a full stop.

        Raises
        ------
        BadFile
            If there are now enough of them.
        """
        line = one_line(sentence)
        self._found.append(Problem(place, line if line.endswith((".", "?")) else f"{line}."))
        if len(self._found) >= self.ENOUGH:
            self.raise_if_any()

    def stop(self, place: str, sentence: str) -> NoReturn:
        """Note one mistake after which the rest of the file cannot be understood.

        Raises
        ------
        BadFile
            Always.
        """
        self.add(place, sentence)
        self.raise_if_any()
        raise AssertionError("unreachable: a problem was just added")

    def raise_if_any(self) -> None:
        """Raise what was found.

        Raises
        ------
        BadFile
            If anything was found; at most `MOST` problems are told, then their number.
        """
        if not self._found:
            return
        told = sorted(self._found, key=_order)[: self.MOST]
        left = len(self._found) - len(told)
        if left:
            more = f"{left}" if len(self._found) < self.ENOUGH else "many"
            told = [*told, Problem("", f"and {more} more problems like these.")]
        raise BadFile(self.file, told)


def _order(problem: Problem) -> list[int]:
    """Return the line and column, or the row, that a place names; nothing for the whole file."""
    return [int(number) for number in re.findall(r"\d+", problem.place)]
