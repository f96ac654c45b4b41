"""The archive in a PostgreSQL database."""

from typing import Any

from sqlalchemy import URL, create_engine, event

from benchproof.record.problems import Unusable


class Server:
    """A PostgreSQL database that holds the archive.

    Parameters
    ----------
    url : URL
    reading : bool
        Whether it is open only to read.

    Attributes
    ----------
    engine : Engine
    notes : tuple of str
        Sentences that a person should read; none here.

    Raises
    ------
    Unusable
        If the package that talks to PostgreSQL is not installed.
    """

    notes: tuple[str, ...] = ()

    def __init__(self, url: URL, *, reading: bool) -> None:
        try:
            self.engine = create_engine(url, pool_pre_ping=True)
        except ImportError:
            raise Unusable(
                "PostgreSQL needs one more package: install benchproof[postgres]."
            ) from None

        @event.listens_for(self.engine, "connect")
        def opened(connection: Any, _: object) -> None:  # noqa: ANN401  (psycopg may be missing)
            with connection.cursor() as cursor:
                # A server may be set to acknowledge before the commit is on disk.
                cursor.execute("SET synchronous_commit TO on")
                if reading:
                    cursor.execute("SET default_transaction_read_only TO on")
            connection.commit()

    def before_change(self) -> None:
        """Do nothing: a server keeps its own log."""

    def close(self) -> None:
        """Let go of the connections."""
        self.engine.dispose()
