"""What is printed of the archive: certificates of closed proofs, tags of parts and units."""

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from benchproof import __version__
from benchproof.conduct.marks import Marks
from benchproof.conduct.shopsettings import letterhead
from benchproof.proof.codec import decode, files_of
from benchproof.proof.events import Closed, ProofOutcome
from benchproof.proof.problems import ProofProblem
from benchproof.proof.state import State, fold
from benchproof.record import schema
from benchproof.record.chain import Stored
from benchproof.record.problems import NoSuch
from benchproof.report.certificate import Certificate, TestedItem
from benchproof.report.certificate_of import Recorded, certificate_of, origin
from benchproof.report.tag import LastProof, Tag, stands

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.record.rows import PartRow, UnitRow
    from benchproof.record.store import Store


def closing(store: "Store", tag: str) -> tuple[tuple[Stored, ...], Closed | None]:
    """Return the events of a proof up to the one that closed it, and that one.

    What was added since, a remark say, does not belong to what was decided then.

    Raises
    ------
    NoSuch
        If there is no such proof.
    Altered
        If its events are not what was recorded: nothing is printed from them.
    """
    stored = store.proofs.events(tag)
    for number, one in enumerate(stored, 1):
        event = decode(one.payload)
        if isinstance(event, Closed):
            return stored[:number], event
    return stored, None


def closed_state(store: "Store", tag: str) -> tuple[State, Stored]:
    """Return a proof as it was closed, and the event that closed it.

    Raises
    ------
    RecordProblem
        If there is no such proof, a file that it needs is missing, or it was altered.
    ProofProblem
        If its events cannot be understood, or it is still open.
    """
    stored, closed = closing(store, tag)
    if closed is None:
        raise ProofProblem(f"{tag}: is still open; close it first.")
    return _folded(store, stored), stored[-1]


def _folded(store: "Store", stored: "Sequence[Stored]") -> State:
    events = [decode(one.payload) for one in stored]
    files = {key: store.files.get(key) for event in events for key in files_of(event)}
    return fold(events, files)


def certificate(store: "Store", tag: str) -> Certificate:
    """Return the certificate of a closed proof.

    Raises
    ------
    RecordProblem, ProofProblem
        As `closed_state`.
    """
    state, last = closed_state(store, tag)
    part = store.parts.get(state.opened.part)
    return certificate_of(state, _recorded(store, part, tag, last), __version__)


def printed(store: "Store", tag: str) -> Certificate:
    """Return the certificate of a closed proof, and note in the archive that it is given out.

    Raises
    ------
    RecordProblem, ProofProblem
        As `closed_state`.
    """
    return noted(store, certificate(store, tag))


def noted(store: "Store", told: Certificate) -> Certificate:
    """Note in the archive that a certificate is given out, where that can be written."""
    entry = store.ledger.printed(told.proof, told.seq, told.hash)
    if entry is None:
        return told
    head, bench, at = entry
    return replace(told, head=head.code, bench=bench, issued_on=at[:10])


def _recorded(store: "Store", part: "PartRow", proof: str, last: Stored) -> Recorded:
    moves = store.shelf.moves(part.tag)
    attest = store.ledger.attest
    attest(schema.parts, asdict(part))
    for move in moves:
        attest(schema.shelf_moves, asdict(move))
    unit = (moves[-1].unit or "") if moves and moves[-1].state in ("reserved", "fitted") else ""
    fitted = [("This part", origin(part.bought, part.core or "", part.maker_class))]
    if unit:
        for move, family in store.shelf.list(unit=unit, state="fitted"):
            if move.part != part.tag:
                row = store.parts.get(move.part)
                attest(schema.parts, asdict(row))
                words = origin(row.bought, row.core or "", row.maker_class)
                fitted.append((f"{family} {row.tag}", words))
    item = _item(store, part, unit, decode(last.payload).by)
    return Recorded(proof, last.seq, last.hash, unit, tuple(fitted), item, letterhead(store))


def _item(store: "Store", part: "PartRow", unit: str, closed_by: str) -> TestedItem:
    """Return whose a part is, as its entries tell it, and who closed its proof."""
    attest = store.ledger.attest
    serial = customer = contact = ""
    odometer_km = None
    if unit:
        row = store.units.get(unit)
        attest(schema.units, asdict(row))
        serial, odometer_km = row.serial, row.mileage_km
        if row.customer:
            owner = store.customers.get(row.customer)
            attest(schema.customers, asdict(owner))
            customer, contact = owner.name or owner.tag, owner.contact
    return TestedItem(
        serial,
        customer,
        contact,
        odometer_km,
        part.added.date().isoformat(),
        _name(store, closed_by),
    )


def _name(store: "Store", initials: str) -> str:
    """Return somebody's name with the initials; empty where nobody is recorded with a name."""
    try:
        person = store.people.get(initials)
    except NoSuch:
        return ""
    store.ledger.attest(schema.people, asdict(person))
    return f"{person.name} ({initials})" if person.name else ""


def part_tag(store: "Store", row: "PartRow") -> Tag:
    """Return the label of a part."""
    moves = store.shelf.moves(row.tag)
    where = f"{moves[-1].state} {moves[-1].unit or ''}".strip() if moves else ""
    lines = (where, origin(row.bought, row.core or "", row.maker_class))
    dangers = Marks(store).dangers_of_part(row.tag)
    return Tag(
        row.tag,
        "part",
        row.family,
        tuple(filter(None, lines)),
        _last_proof(store, row.tag),
        dangers[0].signal.value if dangers else "",
        letterhead(store),
    )


def unit_tag(store: "Store", row: "UnitRow") -> Tag:
    """Return the label of a unit."""
    marks = Marks(store)
    words = {move.part: marks.of_part(move.part) for move, _ in store.shelf.list(unit=row.tag)}
    marked = [f"{word}: part {part}" for part, word in words.items() if word]
    fitted = store.shelf.list(unit=row.tag, state="fitted")
    parts = ", ".join(move.part for move, _ in fitted)
    lines = (*marked, *((f"Parts: {parts}",) if parts else ()))
    return Tag(row.tag, "unit", row.family, lines, letterhead=letterhead(store))


def _last_proof(store: "Store", part: str) -> LastProof | None:
    # Of proofs opened in the same second the higher number is the later one.
    latest = max(store.proofs.list(part=part), key=lambda row: row.number, default=None)
    if latest is None:
        return None
    stored, closed = closing(store, latest.tag)
    moves = store.shelf.moves(part)
    moved = (moves[-1].state, moves[-1].at) if moves else ("", None)
    if closed is None or not stands(latest.opened_at, *moved):
        return None
    last = stored[-1]
    state = _folded(store, stored)
    return LastProof(
        proof=latest.tag,
        seq=last.seq,
        hash=last.hash,
        outcome=closed.outcome,
        override_by=closed.override_by,
        on=closed.at[:10],
        danger=state.dangers[0].signal.value if state.dangers else "",
        flagged=closed.outcome is ProofOutcome.ACCEPTED and bool(state.flagged),
    )
