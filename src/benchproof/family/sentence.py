"""Sentences that people read: quoted words, hints, probabilities, and tables of them.

A row of a table of cautions, doubts or limits has a condition and its sentence side by side.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Generic, TypeVar

MOST_NAMES = 40
"""No hint lists more names than these."""
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
    """Return a probability as a person reads it; none is shown nearer to certainty than it is.

    Examples
    --------
    >>> percent(0.25), percent(0.9999), percent(0.0001)
    ('25.0 %', 'over 99 %', 'under 0.1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 0.1 %" if probability < 0.001 else f"{100.0 * probability:.1f} %"


def risk_percent(risk: float) -> str:
    """Return a small risk as a person reads it.

    Examples
    --------
    >>> risk_percent(0.02275), risk_percent(1e-9), risk_percent(0.9999)
    ('2.3 %', 'under 0.01 %', 'over 99 %')
    """
    if risk > 0.99:
        return "over 99 %"
    return "under 0.01 %" if risk < 1e-4 else f"{100.0 * risk:.2g} %"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return a hint of the nearest known word, or of all of them.

    Examples
    --------
    >>> did_you_mean("reverse lam", ["start permit", "reverse lamp"])
    "did you mean 'reverse lamp'?"
    >>> did_you_mean("x", ["P", "R"])
    'known are P, R.'
    """
    names = list(dict.fromkeys(known))
    near = get_close_matches(word, names, n=1, cutoff=0.75)
    if near:
        return f"did you mean '{near[0]}'?"
    if not names:
        return "none are known."
    left = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return f"known are {', '.join(names[:MOST_NAMES])}{left}."


def quoted(text: str, most: int = 40) -> str:
    r"""Return a person's text quoted on one line, shortened, safe to show in a terminal.

    Examples
    --------
    >>> quoted("a\nb")
    "'a b'"
    """
    line = one_line(text).strip()
    return f"'{line[: most - 1]}…'" if len(line) > most else f"'{line}'"


def one_line(text: str) -> str:
    """Return a text on one line, safe to show in a terminal."""
    return "".join(c if c.isprintable() else " " for c in text)
