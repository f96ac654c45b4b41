"""The shelf: proven parts in stock, reserved, fitted, returned and scrapped, and how they moved."""

from dataclasses import fields
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Row, select
from sqlalchemy.exc import IntegrityError

from benchproof.record import schema
from benchproof.record.moves import ACCEPTED, LAWFUL, Lawful
from benchproof.record.problems import Conflict
from benchproof.record.register import check_there
from benchproof.record.rows import MoveRow, row_of
from benchproof.record.words import checked_texts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from typing import Any

    from benchproof.record.database import Database
    from benchproof.record.ledger import Ledger

_COLUMNS = [schema.shelf_moves.c[field.name] for field in fields(MoveRow)]


class Shelf:
    """Where each proven part is.

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

    def move(
        self, part: str, to: str, unit: str | None = None, by: str | None = None, note: str = ""
    ) -> MoveRow:
        """Move a part.

        Parameters
        ----------
        part : str
            Its tag.
        to : str
            "stock", "reserved", "fitted", "returned" or "scrapped".
        unit : str, optional
            Tag of the unit that it is reserved for or fitted in. A part that is fitted where it was
            reserved, or that comes back, keeps its unit.
        by : str, optional
            Initials of who moved it.

        Raises
        ------
        NoSuch
            If the part, unit or person is not in the archive.
        Conflict
            If the part is elsewhere, or not proven, or somebody else moved it at the same time.
        """
        moves = schema.shelf_moves
        try:
            with self._ledger.writing() as change:
                connection = change.connection
                for column, value, kind in (
                    ("part", part, "part"),
                    ("unit", unit, "unit"),
                    ("by", by, "person"),
                ):
                    check_there(connection, moves, column, value, kind)
                last = _last(connection, part)
                move = _lawful(part, last, to, unit)
                if move.unit == "same" and last is not None:
                    unit = last.unit
                row = MoveRow(
                    part=part,
                    step=1 if last is None else last.step + 1,
                    state=to,
                    unit=unit,
                    proof=_new_proof(connection, part) if move.proven else None,
                    at=self._now(),
                    by=by,
                    note=note,
                )
                checked_texts(row)
                change.add(moves, move_values(row, last))
        except Conflict as error:
            if isinstance(error.__cause__, IntegrityError):
                raise Conflict(
                    f"{part}: somebody else moved it at the same time; look where it is now."
                ) from error
            raise
        return row

    def moves(self, part: str) -> list[MoveRow]:
        """Return the moves of a part, the first one first; none if it was never on the shelf."""
        query = select(*_COLUMNS).where(schema.shelf_moves.c.part == part)
        with self._database.reading() as connection:
            return [
                row_of(MoveRow, row)
                for row in connection.execute(query.order_by(schema.shelf_moves.c.step))
            ]

    def list(
        self, *, state: str | None = None, unit: str | None = None
    ) -> "list[tuple[MoveRow, str]]":
        """Return where the parts are, each as its last move with the name of its family.

        Parameters
        ----------
        state, unit : str, optional
            Only parts in this state, or reserved for or fitted in this unit.
        """
        moves, parts = schema.shelf_moves, schema.parts
        later = moves.alias()
        query = (
            select(*_COLUMNS, parts.c.family)
            .join(parts, parts.c.tag == moves.c.part)
            .outerjoin(later, (later.c.part == moves.c.part) & (later.c.step == moves.c.step + 1))
            .where(later.c.part.is_(None))
            .order_by(moves.c.part)
        )
        if state is not None:
            query = query.where(moves.c.state == state)
        if unit is not None:
            query = query.where(moves.c.unit == unit)
        with self._database.reading() as connection:
            return [(row_of(MoveRow, row), row[-1]) for row in connection.execute(query)]


def move_values(row: MoveRow, last: MoveRow | None) -> "dict[str, Any]":
    """Return a move as its table holds it, tied to the move before."""
    return {
        **{field.name: getattr(row, field.name) for field in fields(MoveRow)},
        "place": row.unit or "",
        "before_step": None if last is None else last.step,
        "before_state": "" if last is None else last.state,
        "before_place": "" if last is None else last.unit or "",
    }


def _last(connection: Connection, part: str) -> MoveRow | None:
    moves = schema.shelf_moves
    query = select(*_COLUMNS).where(moves.c.part == part).order_by(moves.c.step.desc()).limit(1)
    row: Row[Any] | None = connection.execute(query).one_or_none()
    return None if row is None else row_of(MoveRow, row)


def _lawful(part: str, last: MoveRow | None, to: str, unit: str | None) -> Lawful:
    before = "" if last is None else last.state
    where = _where(last)
    move = next((m for m in LAWFUL if (m.before, m.after) == (before, to)), None)
    if move is None:
        possible = [m.after for m in LAWFUL if m.before == before]
        can = f"it can go to {' or '.join(possible)}" if possible else "it goes nowhere from there"
        raise Conflict(f"{part}: {where}, so it cannot go to {to}; {can}.")
    if move.unit == "none" and unit is not None:
        raise Conflict(f"{part}: goes to {to}, which is no unit; leave out the unit.")
    if move.unit == "new" and unit is None:
        raise Conflict(f"{part}: name the unit that it is {to} for.")
    if move.unit == "same" and last is not None and unit not in (None, last.unit):
        raise Conflict(f"{part}: {where}, not {unit}; put it back in stock first.")
    return move


def _where(last: MoveRow | None) -> str:
    if last is None:
        return "is not on the shelf yet"
    match last.state:
        case "reserved":
            return f"is reserved for {last.unit}"
        case "fitted":
            return f"is fitted in {last.unit}"
        case "returned":
            return f"came back from {last.unit}"
        case "scrapped":
            return "is scrapped"
        case _:
            return "is in stock"


def _new_proof(connection: Connection, part: str) -> str:
    """Return the part's last proof, which must be accepted and new since it was last in stock."""
    proofs, moves = schema.proofs, schema.shelf_moves
    last = connection.execute(
        select(proofs.c.tag, proofs.c.closed_as)
        .where(proofs.c.part == part)
        .order_by(proofs.c.number.desc())
        .limit(1)
    ).one_or_none()
    if last is None or last.closed_as != ACCEPTED:
        state = "has no proof" if last is None else f"its last proof {last.tag} is not accepted"
        raise Conflict(f"{part}: {state}; only a proven part goes on the shelf. Prove it first.")
    used = connection.execute(
        select(moves.c.part).where(moves.c.part == part, moves.c.proof == last.tag)
    ).one_or_none()
    if used is not None:
        raise Conflict(f"{part}: came back since {last.tag}; prove it anew before it is stocked.")
    tag: str = last.tag
    return tag
