"""The proofs: each an unbroken chain of events that are on disk before they are acknowledged."""

from dataclasses import fields
from typing import TYPE_CHECKING

from sqlalchemy import Row, Select, func, insert, literal, select, tuple_, update

from benchproof.record import chain, schema
from benchproof.record.chain import ChainLink, Stored
from benchproof.record.problems import Altered, Conflict, RecordProblem, StillOpen
from benchproof.record.register import LAST_LETTER, check_there, no_such
from benchproof.record.rowjson import subject
from benchproof.record.rows import ProofRow, row_of
from benchproof.record.search import fitting

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime
    from typing import Any

    from benchproof.record.database import Database
    from benchproof.record.ledger import Change, Ledger

MOST_BYTES = 1_000_000
"""Of one event; it holds a reading or a remark, and photographs by their hash only."""
_ROW = [schema.proofs.c[field.name] for field in fields(ProofRow)]


class Proofs:
    """The proofs of the archive.

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

    def open(self, part: str, payload: bytes, *, mode: str = "", alone: bool = False) -> str:
        """Begin a proof of a part with its first event, and return the proof's tag, PART.1 say.

        With `alone` only if no other proof of the part is open.

        Raises
        ------
        StillOpen
            If another is, and it is to be alone.
        NoSuch
            If the archive has no such part.
        RecordProblem
            If the event is too large.
        """
        _check_size(payload)
        proofs = schema.proofs
        with self._ledger.writing() as change:
            connection = change.connection
            check_there(connection, proofs, "part", part, "part")
            # On PostgreSQL the part's row is held, lest two proofs get one number.
            connection.execute(
                select(schema.parts.c.tag).where(schema.parts.c.tag == part).with_for_update()
            )
            if alone:
                still = select(proofs.c.tag).where(
                    proofs.c.part == part, proofs.c.closed_as.is_(None)
                )
                latest = still.order_by(proofs.c.number.desc()).limit(1)
                if other := connection.execute(latest).scalar_one_or_none():
                    raise StillOpen(part, other)
            last = select(func.max(proofs.c.number)).where(proofs.c.part == part)
            number = (connection.execute(last).scalar_one() or 0) + 1
            tag = f"{part}.{number}"
            link = chain.following(chain.start(tag), payload)
            change.add(
                proofs,
                {
                    "tag": tag,
                    "part": part,
                    "number": number,
                    "mode": mode,
                    "opened_at": self._now(),
                    "closed_as": None,
                    "last_seq": link.seq,
                    "head": link.hash,
                },
            )
            _add_event(change, tag, link, payload, {})
        return tag

    def append(
        self,
        tag: str,
        payload: bytes,
        after: int,
        *,
        mode: str | None = None,
        closed_as: str | None = None,
    ) -> ChainLink:
        """Record an event; it is on disk when this returns. See `append_all`."""
        return self.append_all(tag, [payload], after, mode=mode, closed_as=closed_as)

    def append_all(
        self,
        tag: str,
        payloads: "Sequence[bytes]",
        after: int,
        *,
        mode: str | None = None,
        closed_as: str | None = None,
    ) -> ChainLink:
        """Record events, all of them or none; they are on disk when this returns.

        Parameters
        ----------
        tag : str
            Of the proof.
        payloads : sequence of bytes
            At least one.
        after : int
            Number of the last event that the caller knows of.
        mode, closed_as : str, optional
            What lists shall say of the proof from now on, if the last event changed it.

        Returns
        -------
        ChainLink
            Of the last event.

        Raises
        ------
        NoSuch
            If there is no such proof.
        Conflict
            If the proof has other events by now.
        RecordProblem
            If an event is too large.
        """
        for payload in payloads:
            _check_size(payload)
        proofs = schema.proofs
        told = {
            name: value
            for name, value in (("mode", mode), ("closed_as", closed_as))
            if value is not None
        }
        query = select(proofs.c.last_seq, proofs.c.head).where(proofs.c.tag == tag)
        with self._ledger.writing() as change:
            connection = change.connection
            row = connection.execute(query.with_for_update()).one_or_none()
            if row is None:
                raise no_such(tag, "proof")
            if row.last_seq != after:
                raise Conflict(
                    f"{tag}: somebody else works on this proof; it has {row.last_seq} events, not "
                    f"{after}. Nothing was recorded: look at it again, then repeat the reading."
                )
            link, last = ChainLink(row.last_seq, row.head), len(payloads) - 1
            for number, payload in enumerate(payloads):
                link = chain.following(link, payload)
                _add_event(change, tag, link, payload, told if number == last else {})
            connection.execute(
                update(proofs)
                .where(proofs.c.tag == tag)
                .values(last_seq=link.seq, head=link.hash, **told)
            )
        return link

    def events(self, tag: str) -> tuple[Stored, ...]:
        """Return the events of a proof in order.

        Raises
        ------
        NoSuch
            If there is no such proof.
        Altered
            If they are not what was recorded.
        """
        events, proofs = schema.events, schema.proofs
        query = (
            select(events.c.seq, events.c.payload, events.c.hash)
            .where(events.c.proof == tag)
            .order_by(events.c.seq)
        )
        last = select(proofs.c.last_seq, proofs.c.head).where(proofs.c.tag == tag)
        with self._database.reading() as connection:
            found = tuple(Stored(*row) for row in connection.execute(query))
            row = connection.execute(last).one_or_none()
        if row is None:
            raise no_such(tag, "proof")
        for phrase in chain.breaks(tag, found, ChainLink(row.last_seq, row.head)):
            raise Altered(f"{tag}: {phrase}")
        return found

    def row(self, tag: str) -> ProofRow:
        """Return what lists show of a proof.

        Raises
        ------
        NoSuch
            If there is no such proof.
        """
        with self._database.reading() as connection:
            found = connection.execute(
                select(*_ROW).where(schema.proofs.c.tag == tag)
            ).one_or_none()
        if found is None:
            raise no_such(tag, "proof")
        return _proof_row(found)

    def list(
        self,
        *,
        part: str | None = None,
        beginning: str = "",
        open_only: bool = False,
        before: ProofRow | None = None,
        limit: int = 50,
    ) -> "list[ProofRow]":
        """Return proofs, the latest first.

        Parameters
        ----------
        part : str, optional
            Only of this part.
        beginning : str
            Only those whose tag begins so.
        open_only : bool
            Only those that are not closed.
        before : ProofRow, optional
            Go on after this one, the last of an earlier list.
        limit : int
            How many at most.
        """
        proofs = schema.proofs
        query: Select[Any] = select(*_ROW)
        if part is not None:
            query = query.where(proofs.c.part == part)
        if beginning:
            query = query.where(proofs.c.tag >= beginning, proofs.c.tag < beginning + LAST_LETTER)
        if open_only:
            query = query.where(proofs.c.closed_as.is_(None))
        if before is not None:
            # As a pair, so that the index leads straight to the place.
            place = tuple_(proofs.c.opened_at, proofs.c.tag)
            last = tuple_(literal(before.opened_at, schema.Moment()), literal(before.tag))
            query = query.where(place < last)
        query = query.order_by(proofs.c.opened_at.desc(), proofs.c.tag.desc()).limit(limit)
        with self._database.reading() as connection:
            return [_proof_row(row) for row in connection.execute(query)]

    def holding(self, words: "Sequence[str]", limit: int) -> "Sequence[ProofRow]":
        """Return the proofs whose tag, aim or end hold every word, the latest first.

        Arguments as of `Register.holding`.
        """
        proofs = schema.proofs
        query = select(*_ROW).order_by(proofs.c.opened_at.desc(), proofs.c.tag.desc())
        texts = [proofs.c.tag, proofs.c.mode, proofs.c.closed_as]
        with self._database.reading() as connection:
            rows = fitting(connection, query, texts, words, limit)
            return [_proof_row(row) for row in rows]


def _check_size(payload: bytes) -> None:
    if len(payload) > MOST_BYTES:
        raise RecordProblem("One event of a proof is larger than 1 MB; make the remark shorter.")


def _add_event(
    change: "Change", tag: str, link: ChainLink, payload: bytes, told: "Mapping[str, str]"
) -> None:
    row = {"proof": tag, "seq": link.seq, "hash": link.hash}
    change.connection.execute(insert(schema.events).values(**row, payload=payload))
    # What lists say of the proof from now on follows from its entries.
    more = {"proof": dict(told)} if told else {}
    change.tell("events", subject(schema.events, row), row, **more)


def _proof_row(row: Row["Any"]) -> ProofRow:
    return row_of(ProofRow, row)
