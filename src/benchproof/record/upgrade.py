"""Bringing an archive to the newest shape; each step commits together with its version."""

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, inspect, text

from benchproof.record.problems import Unusable
from benchproof.record.schema import LAST_REVISION, VERSION_TABLE


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
    from alembic.script import ScriptDirectory

    folder = str(Path(__file__).parent / "migrations")
    steps = ScriptDirectory(folder, version_locations=[folder])
    known = {step.revision for step in steps.walk_revisions()}
    now = revision(connection)
    if now is not None and now not in known:
        raise Unusable(
            f"The archive was written by a newer benchproof (its revision is {now}, this program "
            f"knows up to {LAST_REVISION}): use that one, or a later one."
        )

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
