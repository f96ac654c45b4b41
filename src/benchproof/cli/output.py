"""What commands print: tables for people, one JSON object for programs."""

import json
import shutil
from collections.abc import Sequence
from math import isfinite
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from benchproof.face.view import View

COLOUR = {"pass": "green", "fail": "red", "undecided": "yellow", "missing": "cyan"}
SIGN = {"pass": "+", "fail": "!", "undecided": "?", "missing": "-"}
"""A sign and a word tell a result; colour only repeats them."""


def finite(_: click.Context, option: click.Parameter, value: float | None) -> float | None:
    """Refuse "nan", which passes every range check."""
    if value is not None and not isfinite(value):
        raise click.BadParameter("type a number.", param=option)
    return value


def print_json(view: "View") -> None:
    """Print one JSON object; whatever is a view is documented (docs/json.md)."""
    from benchproof.face.view import told

    # Not a number, or infinite, is no JSON.
    click.echo(json.dumps(told(view), ensure_ascii=False, indent=2, allow_nan=False))


def print_grid(header: Sequence[str], rows: Sequence[Sequence[tuple[str, str]]]) -> None:
    """Print a table, in blocks of columns where the terminal is narrow.

    Parameters
    ----------
    header : sequence of str
        Column headings; the first column is repeated in every block.
    rows : sequence of sequence of (text, result)
        The cells; `result` chooses the colour, empty for none.
    """
    widths = [max(len(title), *(len(row[n][0]) for row in rows)) for n, title in enumerate(header)]
    room = max(shutil.get_terminal_size((100, 24)).columns, 40)
    for block in _blocks(widths, room):
        columns = [0, *block]
        click.echo("  ".join(header[n].ljust(widths[n]) for n in columns).rstrip())
        for row in rows:
            cells = [_styled(*row[n], widths[n]) for n in columns]
            click.echo("  ".join(cells).rstrip())
        click.echo()


def _blocks(widths: Sequence[int], room: int) -> list[list[int]]:
    blocks: list[list[int]] = [[]]
    used = widths[0]
    for number in range(1, len(widths)):
        if blocks[-1] and used + 2 + widths[number] > room:
            blocks.append([])
            used = widths[0]
        blocks[-1].append(number)
        used += 2 + widths[number]
    return blocks


def _styled(text: str, result: str, width: int) -> str:
    padded = text.ljust(width)
    return click.style(padded, fg=COLOUR[result]) if result else padded
