"""Bringing an archive to the newest shape; each step commits together with its version."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, inspect, text

from benchproof.record.problems import Unusable
from benchproof.record.schema import LAST_REVISION, VERSION_TABLE

if TYPE_CHECKING:
    from alembic.script import ScriptDirectory


def revision(connection: Connection) -> str | None:
    """Return the archive's revision, or None if there is none yet."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    rows = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).all()
    if len(rows) != 1 or not isinstance(rows[0][0], str):
        raise Unusable(
            "The archive does not say which revision it is of: another hand altered it. Restore a "
            "backup, or take out what is sound with benchproof salvage."
        )
    return rows[0][0]


def check_known(found: str | None) -> None:
    """Look whether this program knows an archive's revision.

    Raises
    ------
    Unusable
        If the archive was written by a newer program.
    """
    if found is not None and found not in {step.revision for step in _steps().walk_revisions()}:
        raise Unusable(
            f"The archive was written by a newer benchproof (its revision is {found}, this program "
            f"knows up to {LAST_REVISION}): use that one, or a later one."
        )


def _steps() -> "ScriptDirectory":
    from alembic.script import ScriptDirectory

    folder = str(Path(__file__).parent / "migrations")
    return ScriptDirectory(folder, version_locations=[folder])


def upgrade(connection: Connection, to: str = LAST_REVISION) -> None:
    """Run the migrations that are missing, inside the connection's open transaction.

    Raises
    ------
    Unusable
        If the archive was written by a newer program.
    """
    # Alembic is slow to import, and an archive is seldom upgraded.
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.runtime.migration import MigrationContext

    steps = _steps()
    check_known(revision(connection))

    def missing(at: Any, _: MigrationContext) -> list[Any]:  # noqa: ANN401  (Alembic's types)
        return list(steps._upgrade_revs(to, at))  # the way that Alembic's documentation shows

    with EnvironmentContext(Config(), steps, fn=missing, destination_rev=to) as environment:
        environment.configure(
            connection=connection,
            version_table=VERSION_TABLE,
            transactional_ddl=True,
            render_as_batch=True,
        )
        environment.run_migrations()
