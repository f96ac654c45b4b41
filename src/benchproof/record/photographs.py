"""Photographs: found by their content, of bounded size, and without where they were taken."""

import json
from hashlib import sha256
from io import SEEK_END
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from sqlalchemy import select

from benchproof.family import limits
from benchproof.family.sentence import one_line, quoted
from benchproof.record import schema
from benchproof.record.files import put_once, whole
from benchproof.record.ownprocess import Broke, apart
from benchproof.record.problems import RecordProblem
from benchproof.record.rows import PhotographRow, row_of
from benchproof.record.words import checked_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

MOST_BYTES = limits.PHOTOGRAPH_BYTES.most
LONGEST_SIDE = 2400
"""Pixels; enough to see a hair crack in a housing that fills the picture."""
_DRAWING = Path(__file__).with_name("drawing.py")
_SECONDS = 60
_MEMORY = limits.PHOTOGRAPH_MEMORY.most
_REFUSED = {
    "side": limits.PHOTOGRAPH_SIDE.told(),
    "pixels JPEG": limits.PHOTOGRAPH_JPEG.told(),
    "pixels progressive": limits.PHOTOGRAPH_PROGRESSIVE.told(),
    "pixels WEBP": limits.PHOTOGRAPH_WEBP.told(),
    "pixels other": limits.PHOTOGRAPH_OTHER.told(),
    "memory": limits.PHOTOGRAPH_MEMORY.told(),
    "unknown": "is no photograph (JPEG, PNG, WEBP or TIFF).",
    "time": f"took longer than {_SECONDS} s to open; take a smaller photograph.",
    "broke": "cannot be opened; save it anew as a plain JPEG.",
}
"""What the process that draws says of a picture, in words."""


class Photographs:
    """The photographs of the archive.

    Parameters
    ----------
    database : Database
    ledger : Ledger
    now : callable
        Returns the time, with its offset.
    """

    def __init__(
        self, database: "Database", ledger: "Ledger", now: "Callable[[], datetime]"
    ) -> None:
        self._database = database
        self._ledger = ledger
        self._now = now

    def put(self, content: bytes | BinaryIO, name: str) -> str:
        """Keep a photograph and return the hash of what is kept; twice is once.

        Of an open file nothing is held here as it came.

        Raises
        ------
        RecordProblem
            If it is no photograph, or too large.
        """
        checked_text(name, "The name of the photograph")
        kept, width, height = cleaned(content, name)
        key = sha256(kept).hexdigest()
        put_once(
            self._database,
            self._ledger,
            schema.photographs,
            {
                "hash": key,
                "name": name,
                "width": width,
                "height": height,
                "content": kept,
                "added": self._now(),
            },
        )
        return key

    def get(self, key: str) -> bytes:
        """Return a photograph, a JPEG.

        Raises
        ------
        NoSuch
            If there is none with this hash.
        Altered
            If what is stored is not what was put there.
        """
        query = select(schema.photographs.c.content).where(schema.photographs.c.hash == key)
        with self._database.reading() as connection:
            content = connection.execute(query).scalar_one_or_none()
        return whole(content, key, "photograph")

    def list(self) -> "list[PhotographRow]":
        """Return what is known of the photographs, in order of their hashes."""
        table = schema.photographs
        columns = (table.c.hash, table.c.name, table.c.width, table.c.height, table.c.added)
        with self._database.reading() as connection:
            return [
                row_of(PhotographRow, row)
                for row in connection.execute(select(*columns).order_by(table.c.hash))
            ]


def cleaned(content: bytes | BinaryIO, name: str) -> tuple[bytes, int, int]:
    """Return a photograph drawn anew, with its width and height in pixels.

    Only the picture is taken over: whatever else the file held (place, time, camera, owner,
    a small picture of the whole) is left behind. It is opened in a process of its own, of bounded
    memory, one at a time.

    Raises
    ------
    RecordProblem
        If it is no photograph, or too large.
    """
    called = quoted(name)
    size = len(content) if isinstance(content, bytes) else content.seek(0, SEEK_END)
    if size > MOST_BYTES:
        raise RecordProblem(f"{called}: {limits.PHOTOGRAPH_BYTES.told()}")
    told, drawn = _drawn(content)
    if "refused" not in told:
        return drawn, told["width"], told["height"]
    why = told["refused"]
    damaged = f"is damaged and cannot be read ({one_line(told.get('error', ''))})."
    raise RecordProblem(f"{called}: {_REFUSED.get(why, damaged)}")


def _drawn(content: bytes | BinaryIO) -> tuple[dict[str, Any], bytes]:
    """Return what `drawing` answers: what it says, and the JPEG."""
    asked = {
        "longest": LONGEST_SIDE,
        "memory": _MEMORY,
        "allowed": {
            "side": limits.PHOTOGRAPH_SIDE.most,
            "JPEG": limits.PHOTOGRAPH_JPEG.most,
            "progressive": limits.PHOTOGRAPH_PROGRESSIVE.most,
            "WEBP": limits.PHOTOGRAPH_WEBP.most,
            "other": limits.PHOTOGRAPH_OTHER.most,
        },
    }
    try:
        answer = apart([str(_DRAWING), json.dumps(asked)], content, _SECONDS)
    except TimeoutError:
        return {"refused": "time"}, b""
    except Broke:
        return {"refused": "broke"}, b""
    told, _, drawn = answer.partition(b"\n")
    return json.loads(told), drawn
