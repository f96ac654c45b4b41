"""Family files, meter files, bench profiles and priors as they were, found by their content."""

from hashlib import sha256
from typing import TYPE_CHECKING

from sqlalchemy import LargeBinary, Table, exists, func, literal, select

from benchproof.family import limits
from benchproof.record import schema
from benchproof.record.problems import Altered, RecordProblem
from benchproof.record.register import no_such

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger


class Files:
    """Contents by their SHA-256, so that a proof replays years later.

    Parameters
    ----------
    database : Database
    ledger : Ledger
    """

    def __init__(self, database: "Database", ledger: "Ledger") -> None:
        self._database = database
        self._ledger = ledger

    def put(self, content: bytes, limit: limits.Limit = limits.FILE_BYTES) -> str:
        """Keep a content and return its hash, 64 hexadecimal digits; twice is once.

        Parameters
        ----------
        content : bytes
            What the file holds.
        limit : Limit
            How large it may be.

        Raises
        ------
        RecordProblem
            If it is too large.
        """
        if len(content) > limit.most:
            raise RecordProblem(
                f"A file of {len(content) / 1e6:.1f} MB is too large for the archive; "
                f"the most is {limit.most // 1_000_000} MB."
            )
        key = sha256(content).hexdigest()
        put_once(self._database, self._ledger, schema.files, {"hash": key, "content": content})
        return key

    def get(self, key: str) -> bytes:
        """Return the content with this hash.

        Raises
        ------
        NoSuch
            If there is none.
        Altered
            If what is stored is not what was put there.
        """
        query = select(schema.files.c.content).where(schema.files.c.hash == key)
        with self._database.reading() as connection:
            content = connection.execute(query).scalar_one_or_none()
        return whole(content, key, "file")

    def holding(self, piece: bytes, most: int) -> list[str]:
        """Return the hashes of the contents of at most so many bytes that hold a piece."""
        column = schema.files.c.content
        asked = literal(piece, LargeBinary)
        with self._database.reading() as connection:
            if connection.dialect.name == "sqlite":
                place = func.instr(column, asked)
            else:
                place = func.position(asked.op("IN")(column))
            query = (
                select(schema.files.c.hash)
                .where(func.length(column) <= most, place > 0)
                .order_by(schema.files.c.hash)
            )
            return list(connection.execute(query).scalars())


def whole(content: object, key: str, kind: str) -> bytes:
    """Return a content that was found by its hash.

    Raises
    ------
    NoSuch
        If it is None.
    Altered
        If it is not what was put there.
    """
    if content is None:
        raise no_such(key, kind)
    if not isinstance(content, bytes) or sha256(content).hexdigest() != key:
        raise Altered(f"The {kind} {key} was altered")
    return content


def put_once(
    database: "Database", ledger: "Ledger", table: Table, values: "Mapping[str, Any]"
) -> None:
    """Add a row that is found by its hash, unless it is there."""
    known = select(exists().where(table.c.hash == values["hash"]))
    with database.reading() as connection:
        if connection.execute(known).scalar_one():
            return
    with ledger.writing() as change:
        # Two benches may bring the same file at once.
        database.alone(change.connection, table.name)
        if not change.connection.execute(known).scalar_one():
            change.add(table, values)
