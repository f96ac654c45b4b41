"""The travel figure of a certificate: the pairs that say most, so that it fits on page one."""

import re
from dataclasses import replace
from html import escape, unescape

from benchproof.report.certificate import Certificate
from benchproof.report.language import Language, language
from benchproof.report.strip import Strip, draw_strip

MOST_ROWS = (3, 2)
"""More pairs would push the record off the first page; the fewer where even these do."""
_WORDS = re.compile(r">([^<>]+)</(text|title|desc)>")
_FIRST = ("start permit", "reverse lamp")
"""Pairs with these roles are never left out for others: they can hurt someone."""


def travel_figures(told: Certificate) -> list[str]:
    """Return the travel figure as SVG, the fullest first; none if the detents are not known."""
    strip = told.strip
    if strip is None:
        return []
    words = language(told.letterhead.language)
    return [translated(draw_strip(shortened(strip, most)), words) for most in MOST_ROWS]


def translated(figure: str, words: Language) -> str:
    """Return a figure with its words in a language."""
    return _WORDS.sub(lambda found: _said(found, words), figure) if words.told else figure


def _said(found: re.Match[str], words: Language) -> str:
    return f">{escape(words.tell(unescape(found[1])), quote=False)}</{found[2]}>"


def travel_said(told: Certificate) -> str:
    """Return the travel figure in a sentence, for those who cannot see it."""
    if told.strip is None:
        return ""
    where = f" The part stands at {told.alignment.offset}." if told.alignment.offset else ""
    nearly_all = told.alignment.nearly_all
    window = f" Stays right in nearly all parts {nearly_all}." if nearly_all else ""
    return f"Travel figure: where pairs conduct, and where the lever rests.{where}{window}"


def shortened(strip: Strip, most: int) -> Strip:
    """Return a strip with no more pairs than fit, and a note that says which are left out."""
    title = "Travel: where pairs conduct, and where the lever rests"
    if len(strip.rows) <= most:
        return replace(strip, title=title, note="")
    # A stable sort: otherwise the chart's own order.
    first = sorted(strip.rows, key=lambda row: row.role not in _FIRST)[:most]
    rows = tuple(row for row in strip.rows if row in first)
    note = f"{len(rows)} of {len(strip.rows)} pairs, start permit and reverse lamp first."
    return replace(strip, title=title, rows=rows, note=note)
