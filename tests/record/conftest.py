"""Archives of both engines; a real PostgreSQL server runs while its tests do."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

import postgres
from benchproof.record.rows import PartRow
from benchproof.record.store import Store, open_store

if TYPE_CHECKING:
    from postgres import Server

GPS, MAKE, OWNER = 0x8825, 0x010F, 0x013B
"""Tags of a photograph's metadata."""


class Clock:
    """A clock that a test may set; each look at it takes a second."""

    def __init__(self) -> None:
        self.time = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.time += timedelta(seconds=1)
        return self.time


@pytest.fixture(scope="session")
def postgresql() -> "Iterator[Server]":
    with postgres.server() as running:
        yield running


@pytest.fixture(params=["JPEG"])
def photograph_file(request: pytest.FixtureRequest) -> bytes:
    """Return a photograph as a telephone writes it, of an invented place and owner."""
    exif = Image.Exif()
    exif[MAKE] = "Invented Camera"
    exif[OWNER] = "Invented Owner"
    exif.get_ifd(GPS).update({1: "N", 2: (12.0, 34.0, 56.0), 3: "E", 4: (65.0, 43.0, 21.0)})
    drawn = Image.new("RGB", (40, 20), "white")
    drawn.paste("red", (0, 0, 20, 20))
    file = BytesIO()
    drawn.save(file, request.param, exif=exif, comment=b"bay 4, Invented Road")
    return file.getvalue()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new archive shall be; every test that asks for it runs on both engines."""
    if request.param == "sqlite":
        return str(tmp_path / "archive.sqlite")
    running: Server = request.getfixturevalue("postgresql")
    return running.emptied("one")


@pytest.fixture
def store(where: str, clock: Clock) -> Iterator[Store]:
    with open_store(where, clock) as opened:
        yield opened


@pytest.fixture
def part(store: Store) -> str:
    family = store.files.put(b"an invented family")
    store.parts.add(PartRow("S-1", "invented", family, store.now()))
    return "S-1"
