"""`benchproof verify`, `backup`, `restore`, `export`, `import`: keeping the archive."""

from collections.abc import Sequence
from pathlib import Path

import click

from benchproof.cli.output import echo, print_json
from benchproof.cli.store import JSON, STORE, opened_store


@click.command()
@STORE
@JSON
@click.pass_context
def verify(ctx: click.Context, store: str | None, as_json: bool) -> None:
    """Look whether any event, file or photograph was altered, removed or reordered.

    Exit code 1 if something was. Who can rewrite the whole archive can rewrite its hashes too: the
    hash printed on a certificate is what shows that.
    """
    from benchproof.record.verifying import verify as look

    with opened_store(store) as archive:
        found = look(archive.database, _agrees)
    if as_json:
        from benchproof.face.kept import verified_shown

        print_json(verified_shown(found))
    else:
        for altered in found.found:
            echo(f"! {altered.where}: {altered.sentence}")
        told = f"altered places: {len(found.found)}" if found.found else "all as recorded"
        echo(
            f"Proofs {found.proofs}, events {found.events}, files and photographs "
            f"{found.contents}: {told}."
        )
    ctx.exit(int(bool(found.found)))


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@STORE
def backup(path: Path, store: str | None) -> None:
    """Write a backup to PATH, which must be new; others may go on working.

    PATH is a file, or for an archive in PostgreSQL a folder.
    """
    from benchproof.record.keeping import backup as write

    with opened_store(store) as archive:
        write(archive, path)
    echo(f"Backup written: {path}. Keep it on another disk.")


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@STORE
def restore(path: Path, store: str | None) -> None:
    """Read the backup at PATH into an archive that is empty (name it with --store)."""
    from benchproof.record.keeping import restore as read

    with opened_store(store) as archive:
        counts = read(archive, path)
    echo(f"Restored: {_counted(counts)}.")


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@STORE
@JSON
def export_all(folder: Path, store: str | None, as_json: bool) -> None:
    """Write everything into the new FOLDER: JSON Lines, CSV, Parquet, files and photographs."""
    from benchproof.record.openformats import export

    with opened_store(store) as archive:
        counts = export(archive.database, folder)
    if as_json:
        from benchproof.face.kept import Exported

        print_json(Exported(rows=counts))
    else:
        echo(f"Exported: {_counted(counts)}.")


@click.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@STORE
def import_all(folder: Path, store: str | None) -> None:
    """Read an exported FOLDER into an archive that is empty (name it with --store)."""
    from benchproof.record.openformats import take_in

    with opened_store(store) as archive:
        counts = take_in(archive.database, folder)
    echo(f"Imported: {_counted(counts)}.")


def _agrees(closed_as: str | None, payloads: Sequence[bytes]) -> bool:
    """Tell whether a proof's events say that it is closed as the list says."""
    from benchproof.proof.codec import decode
    from benchproof.proof.events import Closed
    from benchproof.proof.problems import ProofProblem

    unread = False
    # Only remarks follow the event that closes a proof.
    for payload in reversed(payloads):
        try:
            event = decode(payload)
        except ProofProblem:
            # Of a newer program, or altered, which the chain tells.
            unread = True
            continue
        if isinstance(event, Closed):
            return event.outcome.value == closed_as
    return unread or closed_as is None


def _counted(counts: dict[str, int]) -> str:
    told = [f"{many} {name.replace('_', ' ')}" for name, many in counts.items() if many]
    return ", ".join(told) or "nothing, it is empty"
