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
AS_TYPED = frozenset({"by", "item", "name", "note", "other", "remark", "typed"})
"""Facts that hold what people typed or called something."""
_FACT = re.compile(r"\{(\w+)\}")
_LIST = re.compile(r"(; | and |, )")
MOST_DEEP = 4


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
    def table(self) -> dict[str, str]:
        """What each English sentence is in this language."""
        return {} if self.code == "en" else _table(self.code)

    @cached_property
    def _patterns(self) -> list[tuple[re.Pattern[str], str]]:
        # Those with more of their own words are tried first.
        keys = sorted(self.table, key=lambda key: -len(_FACT.sub("", key)))
        return [(_pattern(key), key) for key in keys if "{" in key]

    def say(self, text: str, **facts: str) -> str:
        """Return a sentence of the papers with its facts, which are already in this language."""
        said = self.table.get(text, text)
        return said.format_map(facts) if facts else said

    def tell(self, text: str, deep: int = MOST_DEEP) -> str:
        """Return a finished English sentence in this language, as far as the table has it."""
        if not self.table or not text:
            return text
        known = self.table.get(text)
        if known is not None:
            return known
        for pattern, key in self._patterns if deep else ():
            found = pattern.fullmatch(text)
            if found is not None:
                facts = {
                    name: fact if name in AS_TYPED else self.tell(fact, deep - 1)
                    for name, fact in found.groupdict().items()
                }
                return self.table[key].format_map(facts)
        parts = _LIST.split(text) if deep else [text]
        if len(parts) == 1:
            return text
        return "".join(
            self.table.get(part, part) if n % 2 else self.tell(part, deep - 1)
            for n, part in enumerate(parts)
        )


ENGLISH = Language()


@cache
def language(code: str) -> Language:
    """Return a language by its code; English for one that is not known."""
    return Language(code) if code in LANGUAGES else ENGLISH


def _table(code: str) -> dict[str, str]:
    file = resources.files("benchproof.report") / "languages" / f"{code}.toml"
    return dict(tomllib.loads(file.read_text(encoding="utf-8"))["papers"])


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
            parts.append(f"(?P<{piece}>.+?)")
    return re.compile("".join(parts), re.DOTALL)
