"""The archive as the rest of the program sees it."""

from collections.abc import Callable
from datetime import datetime
from types import TracebackType
from typing import Any, Self

from benchproof.record import schema
from benchproof.record.conditions import Conditions
from benchproof.record.database import Database, database_at
from benchproof.record.files import Files
from benchproof.record.photographs import Photographs
from benchproof.record.proofs import Proofs
from benchproof.record.register import Register
from benchproof.record.rows import CoreRow, CustomerRow, GearRow, PartRow, PersonRow, UnitRow
from benchproof.record.shelf import Shelf


class Store:
    """The archive; a context manager that closes it.

    Parameters
    ----------
    database : Database
    now : callable
        Returns the time, with its offset.

    Attributes
    ----------
    people, customers, gear, units, cores, parts : Register
        What was taken in, and by whom.
    conditions : Conditions
    proofs : Proofs
    shelf : Shelf
    files : Files
    photographs : Photographs
    """

    def __init__(self, database: Database, now: Callable[[], datetime]) -> None:
        self.database = database
        self.now = now
        self.files = Files(database)
        self.people = Register(database, schema.people, PersonRow, "person", {})
        self.customers = Register(database, schema.customers, CustomerRow, "customer", {})
        self.gear = Register(database, schema.gear, GearRow, "piece of gear", {"file": "file"})
        self.units = Register(database, schema.units, UnitRow, "unit", {"customer": "customer"})
        self.cores = Register(database, schema.cores, CoreRow, "core", {})
        self.parts = Register(
            database, schema.parts, PartRow, "part", {"core": "core", "family_file": "file"}
        )
        self.conditions = Conditions(database, now)
        self.proofs = Proofs(database, now)
        self.shelf = Shelf(database, now)
        self.photographs = Photographs(database, now)

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
    return Store(Database(database_at(where), reading=reading), now)
