"""A family from the bytes of a file, whatever its form."""

from collections.abc import Callable

from benchproof.family.assembly import Assembly
from benchproof.family.assemblyfile import assembly_of_toml, is_assembly
from benchproof.family.chartsheet import family_of_sheet
from benchproof.family.familyfile import family_of_toml
from benchproof.family.familyshape import BranchFile
from benchproof.family.model import Family
from benchproof.family.sheet import is_workbook, read_sheet
from benchproof.family.tomlfile import TomlFile


def family_of(
    data: bytes,
    file: str,
    kinds: tuple[type[BranchFile], ...],
    join: Callable[[Assembly], Family],
) -> Family:
    """Read a family from TOML, or from a chart in CSV or XLSX.

    Parameters
    ----------
    data : bytes
        The file's content.
    file : str
        The file's name, for messages and for the form: ``.toml`` is TOML and ``.csv``,
        ``.tsv``, ``.txt`` are tables; anything else is told by its first line. A workbook is
        told by its first bytes.
    kinds : tuple of type of BranchFile
        The kinds of branch that a family in TOML may have.
    join : callable
        Joins the parts of an assembly to one family.

    Raises
    ------
    BadFile
        With everything that is wrong with it.
    """
    ending = file.rpartition(".")[2].casefold()
    is_toml = ending == "toml" or (ending not in ("csv", "tsv", "txt") and is_family_file(data))
    if is_toml and not is_workbook(data):
        toml = TomlFile(data, file)
        if is_assembly(toml):
            return assembly_of_toml(toml, kinds, join)
        return family_of_toml(toml, kinds)
    return family_of_sheet(read_sheet(data, file), name=_stem(file))


def is_family_file(data: bytes) -> bool:
    """Return whether a file looks like a family file rather than a table."""
    lines = (line.strip() for line in data[:10_000].splitlines())
    first = next((line for line in lines if line and not line.startswith(b"#")), b"")
    return first.startswith(b"[") or b"=" in first


def _stem(file: str) -> str:
    base = file.replace("\\", "/").rpartition("/")[2]
    return base.rpartition(".")[0] or base
