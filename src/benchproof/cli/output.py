"""What commands print: lines and tables, on a terminal or not."""

import re
import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import click

from benchproof.cli.atwork import spoken, working
from benchproof.family.safetext import for_terminal

COLOUR = {"pass": "green", "fail": "red", "undecided": "yellow", "missing": "cyan"}
SIGN = {"pass": "+", "fail": "!", "undecided": "?", "missing": "-"}
"""A sign and a word tell a result; colour only repeats them."""


@dataclass(frozen=True)
class Styled:
    """A text with a colour or in bold."""

    text: str
    fg: str | None = None
    bold: bool = False


def styled(text: str, fg: str | None = None, *, bold: bool = False) -> Styled:
    """Return a text to `echo` with a colour or in bold."""
    return Styled(text, fg, bold)


def echo(*parts: str | Styled, err: bool = False) -> None:
    """Print a line; everything that the command line shows goes through here.

    Names, notes and replies of instruments come from elsewhere: what would command the terminal is
    shown instead of obeyed.
    """
    spoken()
    click.echo("".join(map(_shown, parts)), err=err)


def _shown(part: str | Styled) -> str:
    if isinstance(part, str):
        return for_terminal(part)
    return click.style(for_terminal(part.text), fg=part.fg, bold=part.bold or None)


def echo_bytes(data: bytes) -> None:
    """Print what was drawn or written, byte for byte; on a terminal as `echo` prints text.

    Raises
    ------
    UsageError
        If it is no text and would go to a terminal.
    """
    spoken()
    if not sys.stdout.isatty():
        click.echo(data, nl=False)
        return
    try:
        text = data.decode()
    except UnicodeDecodeError:
        raise click.UsageError("this is no text for a terminal; name a file with --out.") from None
    click.echo(for_terminal(text), nl=False)


def ask(
    text: str,
    *,
    default: str | None = None,
    show_default: bool = True,
    prompt_suffix: str = ": ",
    err: bool = False,
) -> str:
    """Return what a person types after a prompt, which is shown as `echo` shows text."""
    spoken()
    typed = click.prompt(
        for_terminal(text),
        default=default,
        show_default=show_default,
        prompt_suffix=prompt_suffix,
        err=err,
    )
    working()
    return str(typed)


def no_option(ctx: click.Context, _: click.Parameter, words: tuple[str, ...]) -> tuple[str, ...]:
    """Return the words of an argument that may be numbers below zero; refuse unknown options.

    For a command that ignores unknown options, lest "-0.1" be one.
    """
    for word in words:
        if word.startswith("-") and not re.match(r"-[.,]?\d", word):
            known = [name for one in ctx.command.params for name in one.opts]
            raise click.NoSuchOption(
                word, possibilities=get_close_matches(word, known, cutoff=0.6), ctx=ctx
            )
    return words


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
        echo("  ".join(header[n].ljust(widths[n]) for n in columns).rstrip())
        for row in rows:
            last = max((n for n in columns if row[n][0].strip()), default=0)
            parts = [_cell(*row[n], widths[n], last=n == last) for n in columns if n <= last]
            echo(*(part for cell in parts for part in cell))
        echo()


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


def _cell(text: str, result: str, width: int, *, last: bool) -> tuple[str | Styled, str]:
    """Return a cell and what stands between it and the next."""
    padded = text.rstrip() if last and not result else text.ljust(width)
    return (styled(padded, COLOUR[result]) if result else padded), "" if last else "  "
