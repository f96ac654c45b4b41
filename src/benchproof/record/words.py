"""What a tag and a text may be, so that both engines keep it and every screen can show it."""

import re
from dataclasses import fields

from benchproof.family.sentence import quoted
from benchproof.record.problems import RecordProblem

MOST_LETTERS = 4000
_TAG = re.compile(r"[^\W_][\w-]{0,39}")


def checked_tag(tag: str, kind: str) -> str:
    """Return the tag.

    Raises
    ------
    RecordProblem
        If it cannot be one. A dot is kept for proofs: PART.1 is the first proof of PART.

    Examples
    --------
    >>> checked_tag("S-104", "part")
    'S-104'
    """
    if not _TAG.fullmatch(tag) or not tag.isprintable():
        raise RecordProblem(
            f"{quoted(tag)}: is no tag for a {kind}; use 1 to 40 letters, digits, - or _, "
            "beginning with a letter or a digit."
        )
    return tag


def checked_texts(row: object) -> None:
    """Look at every text of a row.

    Raises
    ------
    RecordProblem
        If one is too long, or holds characters that cannot be shown.
    """
    for field in fields(row):  # type: ignore[arg-type]
        value = getattr(row, field.name)
        if isinstance(value, str):
            checked_text(value, field.name)


def checked_text(value: str, name: str) -> str:
    """Return the text.

    Raises
    ------
    RecordProblem
        If it is too long, or holds characters that cannot be shown.
    """
    if len(value) > MOST_LETTERS:
        raise RecordProblem(f"{name}: is longer than {MOST_LETTERS} letters; make it shorter.")
    if any(not (letter.isprintable() or letter in "\n\t") for letter in value):
        raise RecordProblem(
            f"{name}: holds a character that cannot be shown, {quoted(value)}; type it anew."
        )
    return value
