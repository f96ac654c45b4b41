"""Finding what was altered in the archive since it was recorded."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select
from sqlalchemy.exc import DBAPIError

from benchproof.record import schema
from benchproof.record.engine import look_at_engine
from benchproof.record.entries import Ledgered, look_at_entries
from benchproof.record.findings import Alteration, lenient, on_day
from benchproof.record.heads import Head, read_code
from benchproof.record.ledger import hash_at
from benchproof.record.projections import Agrees, Counts, look_at_proofs, look_at_rows

if TYPE_CHECKING:
    from benchproof.record.database import Database
    from benchproof.record.heads import Heads


@dataclass(frozen=True, slots=True)
class Verified:
    """What was looked at, and what was found.

    Attributes
    ----------
    proofs, events, contents, entries : int
        How many; contents are files and photographs, entries those of the ledger.
    sound : int
        How many of the proofs are as recorded.
    found : tuple of Alteration
    notes : tuple of str
        What is no finding, but has to be known to judge them, one sentence each.
    benches : tuple of str
        Names of the keys that signed.
    head : str
        Code of the ledger's end.
    """

    proofs: int
    events: int
    contents: int
    entries: int
    sound: int
    found: tuple[Alteration, ...]
    notes: tuple[str, ...] = ()
    benches: tuple[str, ...] = ()
    head: str = ""

    @property
    def counted(self) -> str:
        """How much was looked at, and whether it is as recorded."""
        told = "all as recorded"
        if self.found:
            told = (
                f"altered places: {len(self.found)}; what is not named above is as recorded, "
                f"{self.sound} of {self.proofs} proofs"
            )
        return (
            f"Proofs {self.proofs}, events {self.events}, files and photographs "
            f"{self.contents}, ledger entries {self.entries}: {told}."
        )

    @property
    def signed(self) -> str:
        """The head to be written down, and who signed."""
        return f"Head {self.head}, signed by bench {', '.join(self.benches) or 'nobody'}."


def verify(
    database: "Database",
    agrees: Agrees | None = None,
    heads: "Heads | None" = None,
    codes: Iterable[str] = (),
) -> Verified:
    """Look at every page, entry, row, event, file and photograph of the archive.

    Parameters
    ----------
    database : Database
    agrees : callable, optional
        Whether what lists say that a proof is closed as (None while open) is what its events say;
        without it this is not looked at, since events are only bytes here.
    heads : Heads, optional
        What this bench remembers of the archive; without it, an end that was cut off is not found.
    codes : iterable of str
        Heads that were printed or written down: the archive must have been there.
    """
    with database.reading() as connection:
        return verified(connection, agrees, heads, codes, older=database.older)


def verified(
    connection: Connection,
    agrees: Agrees | None = None,
    heads: "Heads | None" = None,
    codes: Iterable[str] = (),
    *,
    older: bool = False,
) -> Verified:
    """Do as `verify` does, in a transaction that is open.

    Parameters
    ----------
    older : bool
        Whether this is an archive of an earlier program, which kept no ledger.
    """
    found: list[Alteration] = []
    counts, ledgered = Counts(), Ledgered()

    def step(what: str, look: Callable[[], None]) -> None:
        try:
            look()
        except (DBAPIError, UnicodeDecodeError) as error:
            why = error.orig if isinstance(error, DBAPIError) else "it cannot even be quoted"
            told = (str(why).strip().splitlines() or ["no reason"])[0]
            found.append(Alteration(what, f"It cannot be read to its end ({told})."))

    def entries() -> None:
        nonlocal ledgered
        ledgered = look_at_entries(connection)

    with lenient(connection):
        step("the database", lambda: found.extend(look_at_engine(connection)))
        step("the ledger", entries)
        step("a register", lambda: look_at_rows(connection, ledgered, counts))
        step("a proof", lambda: look_at_proofs(connection, ledgered, counts, agrees))
        step("the ledger", lambda: found.extend(_certificates(connection, ledgered)))
        step("the ledger", lambda: found.extend(_heads(connection, ledgered, heads, codes)))
    if not ledgered.count and not older:
        found.append(
            Alteration("the ledger", "It is empty: nothing vouches for what the archive holds.")
        )
    # A proof whose tag the ledger told wrongly is named by both.
    every = dict.fromkeys([*found, *ledgered.found, *counts.found])
    all_found = tuple(Alteration(_as_text(one.where), _as_text(one.sentence)) for one in every)
    return Verified(
        counts.proofs,
        counts.events,
        counts.contents,
        ledgered.count,
        counts.sound,
        all_found,
        (*_notes(ledgered, older), *_others(ledgered, heads)),
        tuple(ledgered.keys),
        Head(ledgered.name, ledgered.number, ledgered.head).code,
    )


def _certificates(connection: Connection, ledgered: Ledgered) -> Iterable[Alteration]:
    """Hold each certificate that was printed against the event that it was printed of."""
    events = schema.events
    for one in ledgered.printed:
        proof, seq, hash_ = (one["row"].get(name) for name in ("proof", "seq", "hash"))
        query = select(events.c.hash).where(events.c.proof == proof, events.c.seq == seq)
        if connection.execute(query).scalar_one_or_none() != hash_:
            day = on_day(one.get("at"))
            yield Alteration(
                f"{proof}", f"The certificate of {day} was printed of another event {seq}."
            )


def _heads(
    connection: Connection, ledgered: Ledgered, heads: "Heads | None", codes: Iterable[str]
) -> Iterable[Alteration]:
    for seen in heads.seen(ledgered.name) if heads is not None and ledgered.name else ():
        if seen.head is None:
            if seen.unreadable:
                yield Alteration(f"{seen.folder}", "The second copy of the head cannot be read.")
        elif (there := hash_at(connection, seen.head.number)) is None:
            yield Alteration(
                "the ledger",
                f"It ends at entry {ledgered.number}, but this bench saw entry "
                f"{seen.head.number}: what came after was cut off, or this is an older copy, or "
                f"its log is missing ({seen.folder} remembers).",
            )
        elif there != seen.head.hash:
            yield Alteration(
                f"ledger, entry {seen.head.number}",
                f"It is not the one that this bench saw ({seen.folder} remembers).",
            )
    for code in codes:
        typed = read_code(code)
        if typed is None:
            yield Alteration(
                f"head {code}", "It is no code of a head: type it whole, as verify prints it."
            )
        elif not (hash_at(connection, typed[0]) or "").startswith(typed[1]):
            yield Alteration(
                f"head {code}", "The archive never ended so: it is another one, or was altered."
            )


def _others(ledgered: Ledgered, heads: "Heads | None") -> Iterable[str]:
    """Tell of archives that were at this place before."""
    for path, head in heads.here() if heads is not None else ():
        if head.archive not in ledgered.names:
            yield (
                f"This bench recorded in another archive at this place, up to entry {head.number} "
                f"({path} remembers)."
            )


def _as_text(told: str) -> str:
    """Return what can be printed of a text that was read as it is."""
    return told.encode("utf-8", "backslashreplace").decode()


def _notes(ledgered: Ledgered, older: bool) -> tuple[str, ...]:
    if older:
        return (
            "The archive is of an earlier program, which kept no ledger: what was altered is found "
            "in the events of proofs, files and photographs only. The next command that records "
            "begins the ledger.",
        )
    if not ledgered.adopted:
        return ()
    source = "of a damaged archive" if ledgered.salvaged else "of an archive without a ledger"
    return (
        f"What entries up to {ledgered.adopted} tell was taken over on {ledgered.adopted_at} "
        f"{source}: what was altered before that day is not found, except in the events of proofs.",
    )


__all__ = ["Agrees", "Alteration", "Verified", "verified", "verify"]
