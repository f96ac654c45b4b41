"""Rows of the archive, printed as a table or a line a field."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from benchproof.cli.output import echo


def print_rows(rows: Sequence[Any], columns: Sequence[str], nothing: str) -> None:
    """Print rows as a table.

    Parameters
    ----------
    rows : sequence
        Of one dataclass.
    columns : sequence of str
        The fields that the table shows.
    nothing : str
        The sentence if there are none.
    """
    if not rows:
        echo(nothing)
        return
    told = [[short(getattr(row, column)) for column in columns] for row in rows]
    print_table([column.replace("_", " ") for column in columns], told)


def print_table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print a table, one line a row."""
    widths = [max(len(row[n]) for row in [header, *rows]) for n in range(len(header))]
    for row in (header, *rows):
        echo("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip())


def print_fields(row: Any) -> None:  # noqa: ANN401  (any dataclass)
    """Print what a row holds, a line a field that is filled in."""
    for name, value in asdict(row).items():
        if value not in (None, ""):
            echo(f"  {name.replace('_', ' ')}: {short(value, 4000)}")


def short(value: object, most: int = 50) -> str:
    """Return a value as a table shows it: on one line, no longer than there is room."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case datetime():
            return value.astimezone().strftime("%Y-%m-%d %H:%M")
        case _:
            line = " ".join(str(value).split())
            return line if len(line) <= most else f"{line[: most - 1]}…"
