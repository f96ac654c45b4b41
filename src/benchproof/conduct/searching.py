"""Search of everything: what holds the words that were typed, by kind, and how it stands."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from benchproof.conduct.families import choices
from benchproof.record.search import words_of

if TYPE_CHECKING:
    from benchproof.conduct.marks import Marks
    from benchproof.record.rows import CoreRow, PartRow, ProofRow, UnitRow
    from benchproof.record.store import Store

MOST = 20
"""So many of each kind are shown."""


@dataclass(frozen=True)
class Hit:
    """Something that was found.

    Attributes
    ----------
    tag : str
        What it is called.
    path : str
        The page that tells more.
    told : str
        What it is, in a line.
    stands : str
        How it stands: what its proof ended as, where it is.
    danger : str
        Signal word of what readings show; empty if nothing.
    """

    tag: str
    path: str
    told: str = ""
    stands: str = ""
    danger: str = ""


@dataclass(frozen=True)
class FoundKind:
    """What was found of one kind.

    Attributes
    ----------
    name : str
        Such as ``parts``.
    hits : tuple of Hit
    more : bool
        Whether there are more than these.
    """

    name: str
    hits: tuple[Hit, ...]
    more: bool


def search(store: "Store", marks: "Marks", text: str) -> list[FoundKind]:
    """Return what holds every word of a text somewhere, whatever the case; empty kinds left out.

    Parameters
    ----------
    store : Store
        The archive.
    marks : Marks
        Tells which proofs show a danger.
    text : str
        As typed; of very long ones the beginning counts.
    """
    words = words_of(text)
    if not words:
        return []
    customers = store.customers.holding(words, MOST + 1)
    units = store.units.holding(words, MOST + 1)
    # Of a customer who was found, his units are found too.
    theirs = [unit for one in customers for unit in store.units.list("", MOST, customer=one.tag)]
    units = list({one.tag: one for one in (*units, *theirs)}.values())
    found = (
        _kind("parts", (_part(store, marks, one) for one in store.parts.holding(words, MOST + 1))),
        _kind("proofs", (_proof(marks, one) for one in store.proofs.holding(words, MOST + 1))),
        _kind("units", (_unit(store, one) for one in units)),
        _kind("cores", (_core(one) for one in store.cores.holding(words, MOST + 1))),
        _kind("families", _families(store, words)),
        _kind("customers", (Hit(one.tag, "/people", _line(one.name, one.contact))
                            for one in customers)),
        _kind("people", (Hit(one.initials, "/people", one.name)
                         for one in store.people.holding(words, MOST + 1))),
        _kind("gear", (Hit(one.tag, "/gear", _line(one.kind, one.note),
                           "overdue" if one.overdue(store.now().date()) else "")
                       for one in store.gear.holding(words, MOST + 1))),
    )  # fmt: skip
    return [kind for kind in found if kind.hits]


def _kind(name: str, found: Iterable[Hit]) -> FoundKind:
    hits = tuple(found)
    return FoundKind(name, hits[:MOST], len(hits) > MOST)


def _line(*texts: str) -> str:
    return "; ".join(" ".join(text.split()) for text in texts if text)


def _part(store: "Store", marks: "Marks", row: "PartRow") -> Hit:
    proofs = store.proofs.list(part=row.tag, limit=1)
    moves = store.shelf.moves(row.tag)
    proved = [f"{one.tag}: {one.closed_as or 'open'}" for one in proofs] or ["never proved"]
    shelf = [f"{moves[-1].state} {moves[-1].unit or ''}".strip()] if moves else []
    told = _line(row.family, f"core {row.core}" if row.core else "", row.note)
    return Hit(row.tag, f"/parts/{row.tag}", told, _line(*proved, *shelf), marks.of_part(row.tag))


def _proof(marks: "Marks", row: "ProofRow") -> Hit:
    told = f"of part {row.part}, opened {row.opened_at.astimezone():%Y-%m-%d}"
    return Hit(row.tag, f"/proofs/{row.tag}", told, row.closed_as or "open", marks.of_proof(row))


def _unit(store: "Store", row: "UnitRow") -> Hit:
    held = store.shelf.list(unit=row.tag)
    serial = f"serial {row.serial}" if row.serial else ""
    told = _line(row.family, serial, f"customer {row.customer}" if row.customer else "",
                 row.complaint, row.codes)  # fmt: skip
    stands = _line(*(f"{family} {move.part} {move.state}" for move, family in held))
    return Hit(row.tag, f"/units/{row.tag}", told, stands or "no part fitted or reserved")


def _core(row: "CoreRow") -> Hit:
    told = _line(row.family, row.missing and f"missing: {row.missing}",
                 row.damaged and f"damaged: {row.damaged}", row.note)  # fmt: skip
    deposit = "" if row.deposit == "none" else f"deposit {row.deposit}"
    return Hit(row.tag, f"/cores/{row.tag}", told, deposit)


def _families(store: "Store", words: tuple[str, ...]) -> list[Hit]:
    return [
        Hit(one.name, f"/families/{quote(one.key)}",
            "comes along, invented" if one.comes_along else "your own chart")
        for one in choices(store)
        if all(word.casefold() in one.name.casefold() for word in words)
    ]  # fmt: skip
