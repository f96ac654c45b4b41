"""A proof in the archive, open for a command, and completing its tag in the shell."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from benchproof.cli.store import opened_store

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from benchproof.conduct.work import Work
    from benchproof.record.store import Store

MOST_COMPLETIONS = 100


def work_on(store: "Store", tag: str) -> "Work":
    """Return a proof to work on; that somebody else added to it is said on standard error."""
    from benchproof.conduct.work import Work

    return Work(store, tag, lambda sentence: click.echo(sentence, err=True))


@contextmanager
def opened_work(where: str | None, tag: str) -> Iterator["Work"]:
    """Open a proof for the time of a block."""
    with opened_store(where) as store:
        yield work_on(store, tag)


def complete_proof(
    ctx: click.Context, _: click.Parameter, incomplete: str
) -> "list[str | CompletionItem]":
    """Return the tags of proofs that begin so, the latest first, for the shell's completion."""
    from pathlib import Path

    from benchproof.record.database import database_at
    from benchproof.record.problems import RecordProblem

    where = ctx.params.get("store")
    try:
        place = database_at(where)
        # Completing must not make an archive where there is none.
        if isinstance(place, Path) and not place.is_file():
            return []
        with opened_store(where) as store:
            found = store.proofs.list(beginning=incomplete, limit=MOST_COMPLETIONS)
            return [row.tag for row in found]
    except RecordProblem:
        return []
