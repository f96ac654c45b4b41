"""The families that can be chosen: those that come along, and those that the archive keeps."""

import re
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import TYPE_CHECKING

from benchproof.align.window import Window, shape_of, window_of
from benchproof.conduct.readapart import read_apart
from benchproof.family.audit.finding import Finding
from benchproof.family.audit.rules import unusable
from benchproof.family.model import Family
from benchproof.family.problems import BadFile, Problem
from benchproof.family.safety import assumed
from benchproof.family.sentence import quoted
from benchproof.foretell.foretelling import Vehicle, vehicle_of
from benchproof.network.audit import audit_family
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.geometry import Margins, geometry
from benchproof.plan.actions import BenchPlace
from benchproof.plan.bench import Bench
from benchproof.plan.route import Route, route
from benchproof.record.problems import NoSuch, RecordProblem
from benchproof.shipped.contents import shipped, shipped_bytes
from benchproof.shipped.read import shipped_priors

if TYPE_CHECKING:
    from benchproof.record.rows import PartRow
    from benchproof.record.store import Store

MOST_BYTES = 200_000
"""A kept family file larger than that is listed only where a part has it."""
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class FamilyChoice:
    """A family that can be chosen.

    Attributes
    ----------
    key : str
        What it is asked for by: its name if it comes along, else its file's hash.
    name : str
        Its name.
    comes_along : bool
        Whether it comes with the program.
    """

    key: str
    name: str
    comes_along: bool


@dataclass(frozen=True)
class KeptFamily:
    """A family and its file.

    Attributes
    ----------
    key : str
        As in `FamilyChoice`.
    family : Family
        With its chart completed.
    content : bytes
        Its file.
    """

    key: str
    family: Family
    content: bytes


def choices(store: "Store") -> list[FamilyChoice]:
    """Return the families that can be chosen: of parts, kept charts of no part yet, those along."""
    along = {sha256(shipped_bytes("families", name)).hexdigest(): name for name in shipped_names()}
    rows = store.parts.distinct("family", "family_file")
    used = [FamilyChoice(key, name, False) for name, key in rows if key not in along]
    known = {key for _, key in rows} | set(along)
    kept = [FamilyChoice(key, name, False) for key, name in _kept(store) if key not in known]
    return [
        *used,
        *sorted(kept, key=lambda one: one.name),
        *(FamilyChoice(name, name, True) for name in shipped_names()),
    ]


def _kept(store: "Store") -> list[tuple[str, str]]:
    """Return hash and name of the family files that the archive keeps."""
    found = []
    for key in store.files.holding(b"[[chart]]", MOST_BYTES):
        try:
            found.append((key, read(store.files.get(key), "chart").name))
        except (BadFile, RecordProblem):
            continue
    return found


def lever_choices(store: "Store") -> list[FamilyChoice]:
    """Return those that have a lever, and those of which it cannot be told."""
    return [one for one in choices(store) if may_have_lever(store, one.key, one.name)]


def may_have_lever(store: "Store", key: str, name: str = "") -> bool:
    """Return whether a family has a lever, or it cannot be told; key and name as of `family_of`."""
    try:
        return family_of(store, key, name).family.lever
    except (BadFile, NoSuch):
        return True


def shipped_names() -> list[str]:
    """Return the names of the families that come along."""
    return shipped("families")


def family_of(store: "Store", key: str, name: str = "") -> KeptFamily:
    """Return a family by its key.

    Parameters
    ----------
    store : Store
        The archive.
    key : str
        A name that comes along, or the hash of a file that the archive keeps.
    name : str
        What a kept chart without a name of its own is called.

    Raises
    ------
    NoSuch
        If there is none.
    BadFile
        If the file cannot be used.
    """
    if key in shipped_names():
        content = shipped_bytes("families", key)
        return KeptFamily(key, read(content, key), content)
    if not _HASH.fullmatch(key):
        raise NoSuch(
            f"{quoted(key)}: no family of this name; those that come along are "
            f"{', '.join(shipped_names())}."
        )
    content = store.files.get(key)
    return KeptFamily(key, read(content, name or _name_of(store, key)), content)


def parts_of(store: "Store", kept: KeptFamily, most: int) -> "list[PartRow]":
    """Return the parts of a family, by its file, in order of their tags, at most so many."""
    file = sha256(kept.content).hexdigest()
    rows: list[PartRow] = store.parts.list(limit=most, family_file=file)
    return rows


def _name_of(store: "Store", key: str) -> str:
    names = store.parts.distinct("family", family_file=key)
    return str(names[0][0]) if names else "chart"


@lru_cache(maxsize=128)
def read(content: bytes, name: str) -> Family:
    """Read a family, its chart completed.

    Parameters
    ----------
    content : bytes
        A family file, or a chart in CSV or XLSX.
    name : str
        What a chart without a name of its own is called.

    Raises
    ------
    BadFile
        With everything that is wrong with it.
    """
    # With this ending the content tells the form, and a chart keeps the name as it is.
    return completed(read_apart(read_family, content, f"{name}.chart"))


@lru_cache(maxsize=32)
def window_read(content: bytes, name: str) -> Window:
    """Return the window of a family; arguments and errors as of `read`.

    Raises
    ------
    TooLarge
        If the family is too large for it.
    """
    family = usable(content, name)
    known = shipped_priors(family.name)
    return window_of(shape_of(family, known), known)


@lru_cache(maxsize=32)
def vehicle_read(content: bytes, name: str) -> Vehicle:
    """Return the vehicle's side of a family; arguments and errors as of `read`."""
    family = usable(content, name)
    known = shipped_priors(family.name)
    margins = Margins(known.single_margin_gaps, known.run_margin_gaps)
    return vehicle_of(geometry(assumed(family), margins))


@lru_cache(maxsize=32)
def audit_read(content: bytes, name: str) -> tuple[Finding, ...]:
    """Return what an audit finds in a family; arguments and errors as of `read`."""
    return tuple(audit_family(read(content, name)))


@lru_cache(maxsize=64)
def route_read(content: bytes, name: str, bench: Bench) -> Route:
    """Return the shortest route of a full proof on a bench, the lever in its first position.

    Other arguments and errors as of `read`.
    """
    family = usable(content, name)
    return route(family, bench, BenchPlace(family.positions[0]))


def usable(content: bytes, name: str) -> Family:
    """Return a family, whose chart does not contradict itself so that nothing can be computed."""
    family = read(content, name)
    if bad := unusable(family):
        raise BadFile(name, [Problem(one.place, one.sentence) for one in bad])
    return family
