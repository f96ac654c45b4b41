"""Gear files and dialects that a person names."""

from pathlib import Path

from benchproof.cli.files import named_bytes, read_bytes, shown_name
from benchproof.cli.refusals import Refused
from benchproof.instrument.dialect import Dialect, read_dialect
from benchproof.instrument.gearfile import BenchGear, read_gear
from benchproof.shipped.contents import DIALECTS, shipped, shipped_bytes


def load_gear(name: str) -> BenchGear:
    """Return the gear of a bench from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    return read_gear(named_bytes("gears", name), shown_name(name))


def load_dialect(name: str, beside: Path) -> Dialect:
    """Return a meter's dialect: one that comes along, or a file in a gear file's folder.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    known = shipped(DIALECTS)
    if name in known:
        return read_dialect(shipped_bytes(DIALECTS, name), f"{name}.toml")
    path = beside / name
    if not path.is_file():
        raise Refused(
            f"{path}: no such file, and none of the dialects that come with the program "
            f"({', '.join(known)})."
        )
    return read_dialect(read_bytes(f"{path}"), f"{path}")
