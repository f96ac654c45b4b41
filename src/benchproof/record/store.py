"""The archive as the rest of the program sees it."""

from collections.abc import Callable
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection

from benchproof.record import schema
from benchproof.record.conditions import SeenConditions
from benchproof.record.database import Database, database_at
from benchproof.record.files import Files
from benchproof.record.heads import heads_of
from benchproof.record.ledger import Ledger
from benchproof.record.photographs import Photographs
from benchproof.record.proofs import Proofs
from benchproof.record.register import Register
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.record.seal import own_folder, seal_in
from benchproof.record.shelf import Shelf
from benchproof.record.shopsettings import ShopSettings


class Store:
    """The archive; a context manager that closes it.

    Parameters
    ----------
    database : Database
    now : callable
        Returns the time, with its offset.
    own : Path, optional
        The folder with this bench's key, apart from the archive; the user's own without it.

    Attributes
    ----------
    ledger : Ledger
        Tells every change.
    people, customers, gear, units, cores, parts : Register
        What was taken in, and by whom.
    conditions : SeenConditions
    proofs : Proofs
    shelf : Shelf
    files : Files
    photographs : Photographs
    shop : ShopSettings
        What the shop puts on its papers.
    """

    def __init__(
        self, database: Database, now: Callable[[], datetime], own: Path | None = None
    ) -> None:
        self.database = database
        self.now = now
        own = own or own_folder()
        ledger = Ledger(database, cache(lambda: seal_in(own)), heads_of(own, _place(database)), now)
        self.ledger = ledger
        self.files = Files(database, ledger)
        make = partial(Register, database, ledger)
        self.people = make(schema.people, PersonRow, "person", {})
        self.customers = make(schema.customers, CustomerRow, "customer", {})
        self.gear = make(schema.gear, GearRow, "piece of gear", {"file": "file"})
        self.units = make(schema.units, UnitRow, "unit", {"customer": "customer"})
        self.cores = make(schema.cores, CoreRow, "core", {})
        points_to = {"core": "core", "family_file": "file"}
        self.parts = make(schema.parts, PartRow, "part", points_to)
        self.conditions = SeenConditions(database, ledger, now)
        self.proofs = Proofs(database, ledger, now)
        self.shelf = Shelf(database, ledger, now)
        self.photographs = Photographs(database, ledger, now)
        self.shop = ShopSettings(database, ledger, now)

    def register(self, kind: str) -> "Register[Any]":
        """Return the register of this name: people, customers, gear, units, cores or parts."""
        registers: dict[str, Register[Any]] = {
            "people": self.people,
            "customers": self.customers,
            "gear": self.gear,
            "units": self.units,
            "cores": self.cores,
            "parts": self.parts,
        }
        return registers[kind]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.database.close()


def open_store(where: str | None, now: Callable[[], datetime], *, reading: bool = False) -> Store:
    """Open the archive, make it if there is none, and bring it to the newest shape.

    Parameters
    ----------
    where : str or None
        A file for SQLite, a PostgreSQL URL, or None for the usual place in the user's folder.
    now : callable
        Returns the time, with its offset.
    reading : bool, optional
        Open it only to read: nothing is made or changed, and where there is none that is said.

    Raises
    ------
    Unusable
        If it cannot be opened.
    """

    def begin(database: Database, connection: Connection) -> None:
        Store(database, now).ledger.begin(connection)

    store = Store(Database(database_at(where), reading=reading, begin=begin), now)
    if reading:
        return store
    try:
        store.ledger.remember()
    except BaseException:
        store.database.close()
        raise
    return store


def _place(database: Database) -> str:
    return database.place if database.path is None else str(database.path.resolve())
