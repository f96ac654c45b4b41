"""Photographs: found by their content, of bounded size, and without where they were taken."""

import warnings
from hashlib import sha256
from io import BytesIO
from typing import TYPE_CHECKING

from sqlalchemy import select

from benchproof.family.sentence import quoted
from benchproof.record import schema
from benchproof.record.files import put_once, whole
from benchproof.record.problems import RecordProblem
from benchproof.record.rows import PhotographRow, row_of
from benchproof.record.words import checked_text

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

MOST_BYTES = 30_000_000
MOST_PIXELS = 120_000_000
LONGEST_SIDE = 2400
"""Pixels; enough to see a hair crack in a housing that fills the picture."""
_QUALITY = 88
_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")


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

    def put(self, content: bytes, name: str) -> str:
        """Keep a photograph and return the hash of what is kept; twice is once.

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


def cleaned(content: bytes, name: str) -> tuple[bytes, int, int]:
    """Return a photograph drawn anew, with its width and height in pixels.

    Only the picture is taken over: whatever else the file held (place, time, camera, owner,
    a small picture of the whole) is left behind.

    Raises
    ------
    RecordProblem
        If it is no photograph, or too large.
    """
    # Pillow is slow to import.
    from PIL import Image, ImageOps, UnidentifiedImageError

    called = quoted(name)
    if len(content) > MOST_BYTES:
        raise RecordProblem(
            f"{called}: is larger than {MOST_BYTES // 1_000_000} MB; take a smaller photograph."
        )
    try:
        with warnings.catch_warnings():
            # The size is looked at below; odd metadata are left behind anyway.
            warnings.simplefilter("ignore")
            with Image.open(BytesIO(content), formats=_FORMATS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise RecordProblem(
                        f"{called}: has more than {MOST_PIXELS // 1_000_000} million pixels; "
                        "take a smaller photograph."
                    )
                opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
                opened.load()
                upright = ImageOps.exif_transpose(opened).convert("RGB")
                upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                bare = Image.frombytes("RGB", upright.size, upright.tobytes())
    except RecordProblem:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError):
        raise RecordProblem(f"{called}: is no photograph (JPEG, PNG, WEBP or TIFF).") from None
    except Exception as error:
        raise RecordProblem(f"{called}: is damaged and cannot be read ({error}).") from None
    drawn = BytesIO()
    bare.save(drawn, "JPEG", quality=_QUALITY)
    return drawn.getvalue(), bare.width, bare.height
