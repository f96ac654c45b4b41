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


def with_rows(table: str, renewed: str) -> str:
    """Return a Markdown table with the rows of another in place of its own of the same name.

    A row's name is its first cell; a row that the table did not have comes last.

    Raises
    ------
    ValueError
        If the two have other columns.
    """
    lines, (head, rule, *rows) = table.strip().splitlines(), renewed.strip().splitlines()
    if lines[:2] != [head, rule]:
        raise ValueError("the document's table has other columns; renew it whole")
    named = {_name(line): line for line in (*lines[2:], *rows)}
    return "\n".join((head, rule, *named.values()))


def _name(row: str) -> str:
    return row.split("|")[1].strip()


def write_rows(doc: Path, mark: str, renewed: str) -> None:
    """Renew some rows of the table that stands between two marks of a file; the others stay."""
    document = doc.read_text(encoding="utf-8")
    _, _, rest = document.partition(f"<!-- {mark} begin -->\n")
    old, _, _ = rest.partition(f"<!-- {mark} end -->")
    doc.write_text(between(document, mark, with_rows(old, renewed)), encoding="utf-8")
