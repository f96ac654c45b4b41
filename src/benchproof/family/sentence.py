"""A condition and its sentence side by side: the rows of tables of cautions, doubts, limits."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

_Subject = TypeVar("_Subject")


@dataclass(frozen=True)
class Sentence(Generic[_Subject]):
    """What is said of a subject, once for each case that its condition finds.

    Attributes
    ----------
    text : str
        The sentence, with the case's facts in braces.
    find : callable
        The condition: the facts of each case.
    """

    text: str
    find: Callable[[_Subject], Iterable[dict[str, str]]]


def said(sentences: Sequence[Sentence[_Subject]], subject: _Subject) -> list[str]:
    """Return every sentence that holds of a subject, in the table's order."""
    return [s.text.format_map(facts) for s in sentences for facts in s.find(subject)]


def percent(probability: float) -> str:
    """Return a probability as a person reads it.

    Examples
    --------
    >>> percent(0.25), percent(0.9999)
    ('25.0 %', 'over 99.9 %')
    """
    return "over 99.9 %" if probability > 0.999 else f"{100.0 * probability:.1f} %"
