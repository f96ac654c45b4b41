"""The language of the papers: English as written in the code, others from one table a language.

A table maps each English sentence, with its facts in braces, to the other language. Sentences that
lower layers give are told back whole: they are found by the pattern of their English text, and
their facts told likewise. What is not in the table stays as it is, so that nothing is ever left
out; what people typed is never touched.
"""

import re
import tomllib
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources

LANGUAGES = {"en": "English", "es": "Español"}
"""Languages of the papers by their codes."""
AS_TYPED = frozenset({"by", "item", "name", "note", "other", "pair", "position", "remark", "typed"})
"""Facts that hold what people typed, or what something is called."""
_FACT = re.compile(r"\{(\w+)\}")
_LISTS = ("; ", ", ", " and ", " or ")
"""What parts a list, the widest first."""
MOST_DEEP = 8
"""So many sentences stand in each other at most."""
_SHAPES = {
    "pair": r"[^\s,;:]+-[^\s,;:]+",
    "position": "[^,;:()]+?",
    "by": "[^;:]+?",
    "day": r"\d{4}-\d\d-\d\d",
    "outcome": "[a-z-]+",
    "number": r"\d+",
    "value": "[^,;:]+?",
    "values": "[^;:]+?",
    "limits": "[^;:]+?",
    "share": "[^;:]+?",
    "since": ".*?",
    "cells": ".*?",
    "remark": ".*?",
}
"""What a fact must look like, or may be, where anything else would be taken for it."""


@dataclass(frozen=True)
class Language:
    """A language of the papers.

    Attributes
    ----------
    code : str
        Such as ``es``.
    """

    code: str = "en"

    @cached_property
    def papers(self) -> dict[str, str]:
        """What each sentence of the papers is in this language; empty for English."""
        return _table(self.code).get("papers", {})

    @cached_property
    def told(self) -> dict[str, str]:
        """What each sentence that lower layers give is in this language; empty for English."""
        return _table(self.code).get("told", {})

    @cached_property
    def _patterns(self) -> list[tuple[re.Pattern[str], str]]:
        # Those with more of their own words are tried first.
        keys = sorted(self.told, key=lambda key: -len(_FACT.sub("", key)))
        return [(_pattern(key), self.told[key]) for key in keys if "{" in key]

    def say(self, text: str, **facts: str) -> str:
        """Return a sentence of the papers with its facts, which are already in this language."""
        said = self.papers.get(text, text)
        return said.format_map(facts) if facts else said

    def tell(self, text: str) -> str:
        """Return a finished English sentence in this language, as far as its table has it."""
        return self._told(text, MOST_DEEP) if self.told else text

    def _told(self, text: str, deep: int) -> str:
        known = self.told.get(text, self.papers.get(text))
        if known is not None or not deep:
            return text if known is None else known
        for pattern, said in self._patterns:
            found = pattern.fullmatch(text)
            if found is not None:
                facts = found.groupdict()
                return said.format_map(
                    {
                        name: fact if _typed(name) else self._told(fact, deep - 1)
                        for name, fact in facts.items()
                    }
                )
        if text.startswith(": "):
            return ": " + self._told(text[2:], deep - 1)
        for mark in (".", ":"):
            if text.endswith(mark):
                return self._told(text[:-1], deep - 1) + mark
        for mark in _LISTS:
            if mark in text:
                parts = text.split(mark)
                said_each = [self._told(part, deep - 1) for part in parts]
                pairs = zip(said_each, parts, strict=True)
                # A sentence that is not in the table is better left whole.
                whole = any(one == part and part.count(" ") > 1 for one, part in pairs)
                return text if whole else self.told.get(mark, mark).join(said_each)
        return text


ENGLISH = Language()


@cache
def language(code: str) -> Language:
    """Return a language by its code; English for one that is not known."""
    return Language(code) if code in LANGUAGES else ENGLISH


@cache
def _table(code: str) -> dict[str, dict[str, str]]:
    if code == "en":
        return {}
    file = resources.files("benchproof.report") / "languages" / f"{code}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _typed(name: str) -> bool:
    return name.partition("_")[0] in AS_TYPED


def matched(text: str, sentence: str) -> dict[str, str] | None:
    """Return the facts of a finished sentence; None if it is not made of this text.

    Examples
    --------
    >>> matched("{cell} fails: {reason}.", "A-E in R fails: over-range.")
    {'cell': 'A-E in R', 'reason': 'over-range'}
    """
    found = _pattern(text).fullmatch(sentence)
    return None if found is None else found.groupdict()


@cache
def _pattern(key: str) -> re.Pattern[str]:
    seen: set[str] = set()
    parts = []
    for n, piece in enumerate(_FACT.split(key)):
        if n % 2 == 0:
            parts.append(re.escape(piece))
        elif piece in seen:
            parts.append(f"(?P={piece})")
        else:
            seen.add(piece)
            shape = _SHAPES.get(piece.partition("_")[0], ".+?")
            parts.append(f"(?P<{piece}>{shape})")
    return re.compile("".join(parts), re.DOTALL)
