"""A proof in the archive, open for a command, and the options that such commands share."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from benchproof.cli.output import echo
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.work import Work

if TYPE_CHECKING:
    from benchproof.record.store import Store

PROOF = click.argument("tag", metavar="PROOF", shell_complete=completing("proofs"))
BY = click.option(
    "--by",
    default="",
    metavar="INITIALS",
    envvar="BENCHPROOF_BY",
    show_envvar=True,
    shell_complete=completing("people"),
    help="Who does it; one of the people (benchproof person).",
)


def work_on(store: "Store", tag: str) -> Work:
    """Return a proof to work on; that somebody else added to it is said on standard error."""
    return Work(store, tag, lambda sentence: echo(sentence, err=True))


@contextmanager
def opened_work(
    where: str | None, tag: str, by: str = "", *, reading: bool = False
) -> Iterator[Work]:
    """Open a proof for the time of a block, only to look at it or to go on with it.

    Initials that are nobody's are refused at once.
    """
    with opened_store(where, reading=reading) as store:
        work = work_on(store, tag)
        work.check_by(by)
        yield work
