"""Where the archive is, opening it, completing tags, and printing rows."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime

import click
from click.shell_completion import CompletionItem

from benchproof.cli.output import echo
from benchproof.record.store import Store, open_store

MOST_COMPLETIONS = 100


@contextmanager
def opened_store(where: str | None, *, reading: bool = False) -> Iterator[Store]:
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

        try:
            with open_store(ctx.params.get("store"), _now, reading=True) as store:
                tags = _tags(store, kind, incomplete)
        except Exception:
            return []
        return [CompletionItem(tag) for tag in tags]

    return complete


def _tags(store: Store, kind: str, beginning: str) -> Sequence[str]:
    if kind == "proofs":
        rows = store.proofs.list(beginning=beginning, limit=MOST_COMPLETIONS)
        return sorted(row.tag for row in rows)
    return store.register(kind).tags(beginning, MOST_COMPLETIONS)
