"""Where a benchmark's figures go: between two marks of the document that quotes them."""

from pathlib import Path


def between(document: str, mark: str, figures: str) -> str:
    """Return a document with new figures between its marks.

    Raises
    ------
    ValueError
        If it has no such marks.
    """
    begin, end = f"<!-- {mark} begin -->", f"<!-- {mark} end -->"
    before, found, rest = document.partition(f"{begin}\n")
    _, closed, after = rest.partition(end)
    if not (found and closed):
        raise ValueError(f"the document has no marks {begin} and {end}")
    return f"{before}{begin}\n{figures}\n{end}{after}"


def write_between(doc: Path, mark: str, figures: str) -> None:
    """Replace what stands between two marks of a file."""
    changed = between(doc.read_text(encoding="utf-8"), mark, figures)
    doc.write_text(changed, encoding="utf-8")
