"""A family from the bytes of a file, with every kind of branch that the network knows."""

from typing import Any

from benchproof.family import familyshape
from benchproof.family.files import family_of
from benchproof.family.model import Family
from benchproof.network.assembly import joined
from benchproof.network.branches.kinds import FILES


def read_family(data: bytes, file: str) -> Family:
    """Read a family from TOML, or from a chart in CSV or XLSX; see `family.files.family_of`.

    Raises
    ------
    BadFile
        With everything that is wrong with it.
    """
    return family_of(data, file, FILES, joined)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a family file."""
    return familyshape.json_schema(FILES)
