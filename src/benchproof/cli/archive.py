"""`benchproof verify`, `backup`, `restore`, `salvage`, `export`, `import`: keeping the archive."""

from pathlib import Path

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo
from benchproof.cli.store import opened_store
from benchproof.conduct.archivecheck import agrees, looked_at
from benchproof.face.done import TakenIn, Written
from benchproof.face.kept import Exported, salvaged_shown, verified_shown
from benchproof.record.keeping import backup as write
from benchproof.record.keeping import restore as read
from benchproof.record.openformats import export, take_in
from benchproof.record.salvage import salvage as take


@click.command()
@click.option(
    "--head",
    "codes",
    metavar="CODE",
    multiple=True,
    help="A head that was printed or written down: the archive must have been there.",
)
@STORE
@JSON
@click.pass_context
def verify(ctx: click.Context, codes: tuple[str, ...], store: str | None, as_json: bool) -> None:
    """Look whether anything that was recorded is altered, added by another hand, or gone.

    Every page, entry of the ledger, row, event, file, photograph and printed certificate is looked
    at, and the signatures. Exit code 1 if something is not as recorded. The last line tells the
    head: write it down, or keep it elsewhere, and give it with --head another time.
    """
    with opened_store(store, reading=True) as archive:
        found = looked_at(archive, codes)
    if as_json:
        print_json(verified_shown(found))
    else:
        for altered in found.found:
            echo(f"! {altered.where}: {altered.sentence}")
        for note in found.notes:
            echo(note)
        echo(found.counted)
        echo(found.signed)
    ctx.exit(int(bool(found.found)))


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@STORE
@JSON
def backup(path: Path, store: str | None, as_json: bool) -> None:
    """Write a backup to PATH, which must be new; others may go on working.

    PATH is a file, or for an archive in PostgreSQL a folder.
    """
    with opened_store(store, reading=True) as archive:
        write(archive, path)
    if as_json:
        print_json(Written(files=[f"{path}"]))
        return
    echo(f"Backup written: {path}. Keep it on another disk.")


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@STORE
@JSON
def restore(path: Path, store: str | None, as_json: bool) -> None:
    """Read the backup at PATH into an archive that is empty (name it with --store)."""
    with opened_store(store) as archive:
        counts = read(archive, path, lambda note: echo(note, err=True), agrees)
    _tell("Restored", counts, as_json=as_json)


@click.command()
@click.argument("damaged")
@STORE
@JSON
@click.pass_context
def salvage(ctx: click.Context, damaged: str, store: str | None, as_json: bool) -> None:
    """Take what is sound of the DAMAGED archive into an empty one (name it with --store).

    DAMAGED is a file or a PostgreSQL URL; it is only read. What was lost is listed, and stands in
    the new archive's ledger. Exit code 1 if anything was.
    """
    with opened_store(store) as archive:
        told = take(damaged, archive)
    if as_json:
        print_json(salvaged_shown(told))
    else:
        for one in told.lost:
            echo(f"! {one.where}: {one.sentence}")
        echo(f"Taken over: {_counted(told.kept)}.")
        if told.put_back:
            echo(f"Put back as the ledger tells them: {told.put_back}.")
        if not told.lost:
            echo("Nothing was lost.")
    ctx.exit(int(bool(told.lost)))


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@STORE
@JSON
def export_all(folder: Path, store: str | None, as_json: bool) -> None:
    """Write everything into the new FOLDER: JSON Lines, CSV, Parquet, files and photographs."""
    with opened_store(store, reading=True) as archive:
        counts = export(archive.database, folder)
    if as_json:
        print_json(Exported(rows=counts))
    else:
        echo(f"Exported: {_counted(counts)}.")


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@STORE
@JSON
def import_all(folder: Path, store: str | None, as_json: bool) -> None:
    """Read an exported FOLDER into an archive that is empty (name it with --store)."""
    with opened_store(store) as archive:
        counts = take_in(archive, folder, agrees)
    _tell("Imported", counts, as_json=as_json)


def _tell(word: str, counts: dict[str, int], *, as_json: bool) -> None:
    if as_json:
        print_json(TakenIn(rows=counts))
    else:
        echo(f"{word}: {_counted(counts)}.")


def _counted(counts: dict[str, int]) -> str:
    told = [f"{many} {name.replace('_', ' ')}" for name, many in counts.items() if many]
    return ", ".join(told) or "nothing, it is empty"
