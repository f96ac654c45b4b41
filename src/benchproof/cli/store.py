"""Where the archive is, opening it, completing tags, and printing rows."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from benchproof.cli.output import echo

if TYPE_CHECKING:
    from benchproof.record.store import Store

STORE_VARIABLE = "BENCHPROOF_STORE"
MOST_COMPLETIONS = 100

STORE = click.option(
    "--store",
    metavar="WHERE",
    envvar=STORE_VARIABLE,
    show_envvar=True,
    help="Archive: a file, or a PostgreSQL URL. Without it, a file in your data folder.",
)
"""The option of every command that uses the archive."""
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object (docs/json.md).")


@contextmanager
def opened_store(where: str | None, *, reading: bool = False) -> Iterator["Store"]:
    """Open the archive for the time of a block; what a person should know is on standard error.

    Parameters
    ----------
    where : str or None
        As `record.store.open_store` takes it.
    reading : bool, optional
        For a command that records nothing: it makes and changes nothing then.

    Raises
    ------
    RecordProblem
        If it cannot be opened.
    """
    from benchproof.record.store import open_store

    with open_store(where, _now, reading=reading) as store:
        for note in store.database.notes:
            echo(note, err=True)
        yield store


def _now() -> datetime:
    return datetime.now().astimezone()


def completing(
    kind: str,
) -> Callable[[click.Context, click.Parameter, str], list[CompletionItem]]:
    """Return what completes tags of a kind.

    Parameters
    ----------
    kind : str
        Name of the archive's register: "parts", "cores", "units", "people", "customers", "gear",
        or "proofs".
    """

    def complete(ctx: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
        # A completion must never make an archive, print, or fail.
        from benchproof.record.store import open_store

        try:
            with open_store(ctx.params.get("store"), _now, reading=True) as store:
                tags = _tags(store, kind, incomplete)
        except Exception:
            return []
        return [CompletionItem(tag) for tag in tags]

    return complete


def _tags(store: "Store", kind: str, beginning: str) -> Sequence[str]:
    if kind == "proofs":
        rows = store.proofs.list(beginning=beginning, limit=MOST_COMPLETIONS)
        return sorted(row.tag for row in rows)
    return store.register(kind).tags(beginning, MOST_COMPLETIONS)


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
