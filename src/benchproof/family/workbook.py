"""A look into a workbook before the library unpacks it: how much it holds, and no tricks."""

import io
import zipfile
from xml.parsers import expat

from benchproof.family import limits
from benchproof.family.problems import BadFile, Problem

_OF_CELLS = {"row", "c", "v", "f", "is", "si", "t", "r"}
"""Elements of a sheet's rows and of its texts; the library keeps little of each."""
_XML = (".xml", ".rels", ".vml")
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Other ways of packing may ask for any amount of memory, and no spreadsheet program uses them."""


def check_workbook(data: bytes, file: str) -> None:
    """Look whether a workbook is no larger than any table, and is plain XML throughout.

    Raises
    ------
    BadFile
        If it is not.
    Exception
        As zipfile and expat raise it, if it is no workbook at all.
    """
    cells = other = 0

    def element(name: str, _: object) -> None:
        nonlocal cells, other
        if name.rpartition(":")[2] in _OF_CELLS:
            cells += 1
            limits.WORKBOOK_CELLS.check(cells, file)
        else:
            other += 1
            limits.WORKBOOK_OTHER.check(other, file)

    def declared(*_: object) -> None:
        # Entities grow when they are read, and no spreadsheet program writes any.
        sentence = "holds a document type, which no workbook needs; save it anew as XLSX, or as CSV"
        raise BadFile(file, [Problem("", f"{sentence}.")])

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = archive.infolist()
        limits.WORKBOOK_PARTS.check(len(members), file)
        limits.WORKBOOK_UNPACKED.check(sum(member.file_size for member in members), file)
        if any(member.compress_type not in _PACKED for member in members):
            sentence = "is packed in an unusual way; save it anew as XLSX, or as CSV."
            raise BadFile(file, [Problem("", sentence)])
        for member in members:
            if member.filename.casefold().endswith(_XML):
                parser = expat.ParserCreate()
                parser.StartElementHandler = element
                parser.StartDoctypeDeclHandler = declared
                parser.Parse(archive.read(member), True)
