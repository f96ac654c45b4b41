"""How large what comes in may be: one table of limits and their sentences, which every reader asks.

A limit is looked at before the costly step that it bounds: bytes before text, a header before its
pixels, nesting before a parser that recurses.
"""

from dataclasses import dataclass

from benchproof.family.problems import BadFile, Problem

_MEGA = 1_000_000


@dataclass(frozen=True)
class Limit:
    """The most of one thing.

    Attributes
    ----------
    kind : str
        What is counted.
    most : int
        So much is still read.
    sentence : str
        What is said of more, after the file's name; `{most}` stands for the number.
    """

    kind: str
    most: int
    sentence: str

    def told(self) -> str:
        """Return the sentence."""
        return self.sentence.format(most=self.written())

    def written(self) -> str:
        """Return the number as people write it, bytes in MB where they are whole ones.

        Examples
        --------
        >>> PHOTOGRAPH_BYTES.written(), PHOTOGRAPH_SIDE.written()
        ('30 MB', '20,000')
        """
        if "bytes" in self.kind and self.most >= _MEGA:
            return f"{self.most / _MEGA:g} MB"
        return f"{self.most:,}"

    def check(self, amount: int, file: str, place: str = "") -> None:
        """Look whether it is not more than the most.

        Raises
        ------
        BadFile
            If it is, with the sentence.
        """
        if amount > self.most:
            raise BadFile(file, [Problem(place, self.told())])


PHOTOGRAPH_BYTES = Limit(
    "photograph: bytes", 30 * _MEGA, "is larger than {most}; take a smaller photograph."
)
PHOTOGRAPH_SIDE = Limit(
    "photograph: pixels of a side",
    20_000,
    "is more than {most} pixels long or high; take a smaller photograph.",
)
PHOTOGRAPH_JPEG = Limit(
    "photograph: pixels of a JPEG",
    120 * _MEGA,
    "has more than {most} pixels; take a smaller photograph.",
)
PHOTOGRAPH_PROGRESSIVE = Limit(
    "photograph: pixels of a progressive JPEG",
    12_500_000,
    "has more than {most} pixels; save it as a plain (not progressive) JPEG, or take a smaller "
    "photograph.",
)
PHOTOGRAPH_WEBP = Limit(
    "photograph: pixels of a WEBP",
    8 * _MEGA,
    "has more than {most} pixels; save it as JPEG, or take a smaller photograph.",
)
PHOTOGRAPH_OTHER = Limit(
    "photograph: pixels of a PNG or TIFF",
    24_500_000,
    "has more than {most} pixels; save it as JPEG, or take a smaller photograph.",
)
PHOTOGRAPH_MEMORY = Limit(
    "photograph: memory of the process that opens it, bytes",
    184 * _MEGA,
    "takes more than {most} of memory to open; save it as a plain JPEG, or take a smaller "
    "photograph.",
)

READING_MEMORY = Limit(
    "chart, readings, settings: memory of the process that reads a large one, bytes",
    200 * _MEGA,
    "takes more than {most} of memory, or a minute, to read; is it the right file?",
)
FILE_BYTES = Limit(
    "chart, readings, settings: bytes",
    5 * _MEGA,
    "is larger than {most}; a chart or a sheet of readings is far smaller. Is it the right file?",
)
SWEEP_BYTES = Limit(
    "sweep kept in a proof: bytes",
    20 * _MEGA,
    "is larger than {most}; log fewer samples a degree, or sweep fewer pairs at once.",
)
TOML_BYTES = Limit("TOML: bytes", _MEGA, "is larger than {most}; is it the right file?")
TOML_DOTTED = Limit(
    "TOML: parts of a dotted key", 12, "has a key of more than {most} parts; write it as a [table]."
)
TOML_DEEP = Limit("TOML: brackets in brackets", 24, "is nested more than {most} deep.")
TOML_KEYS = Limit("TOML: keys", 30_000, "has more than {most} keys; is it the right file?")
TOML_VALUES = Limit(
    "TOML: values and lines",
    150_000,
    "has more than {most} values and lines; is it the right file?",
)
SHEET_ROWS = Limit("table: rows", 20_000, "has more than {most} rows; is it the right file?")
SHEET_COLUMNS = Limit(
    "table: columns", 200, "has more than {most} columns; delete what is no table."
)
SHEET_CELLS = Limit("table: cells", 200_000, "has more than {most} cells; is it the right file?")
SHEET_LINE = Limit(
    "table: letters of a line",
    150_000,
    "is a line of more than {most} letters; is it the right file?",
)
WORKBOOK_UNPACKED = Limit(
    "workbook: unpacked bytes",
    8 * _MEGA,
    "unpacks to more than any chart holds; bring the one sheet as CSV.",
)
WORKBOOK_PARTS = Limit(
    "workbook: files in it",
    1_000,
    "holds more than {most} files; bring the one sheet as CSV.",
)
WORKBOOK_CELLS = Limit(
    "workbook: XML elements of rows and cells",
    600_000,
    "reaches far below or right of a table; delete what stands there.",
)
WORKBOOK_OTHER = Limit(
    "workbook: other XML elements",
    30_000,
    "has too many styles, links or remarks; bring the one sheet as CSV.",
)
TRACE_LINE = Limit(
    "trace: letters of a line",
    100_000,
    "has a line far too long for a trace; is it the right file?",
)
TRACE_REMARKS = Limit("trace: remarks", 1_000, "begins with remarks only; is it the right file?")
LARGE = Limit(
    "page and API: bytes sent that need not wait for others",
    _MEGA,
    "is larger than {most}, so it waits until others are done.",
)
BODY = Limit("page and API: bytes sent at once", 32 * _MEGA, "That is larger than {most}.")
JSON_BYTES = Limit("JSON sent to the bench: bytes", 4 * _MEGA, "That is larger than {most}.")
JSON_DEEP = Limit(
    "JSON sent to the bench: brackets in brackets", 32, "That is nested more than {most} deep."
)
IMPORT_LINE = Limit(
    "import: bytes of a row",
    4 * _MEGA,
    "is longer than {most}, which no row is.",
)
IMPORT_FILE = Limit(
    "import: bytes of a kept file or photograph", 12 * _MEGA, "is larger than {most}."
)
IMPORT_MANIFEST = Limit("import: bytes of manifest.json", _MEGA, "is larger than {most}.")

LIMITS = (
    FILE_BYTES,
    READING_MEMORY,
    TOML_BYTES,
    TOML_DOTTED,
    TOML_DEEP,
    TOML_KEYS,
    TOML_VALUES,
    SHEET_ROWS,
    SHEET_COLUMNS,
    SHEET_CELLS,
    SHEET_LINE,
    WORKBOOK_UNPACKED,
    WORKBOOK_PARTS,
    WORKBOOK_CELLS,
    WORKBOOK_OTHER,
    SWEEP_BYTES,
    TRACE_LINE,
    TRACE_REMARKS,
    LARGE,
    BODY,
    JSON_BYTES,
    JSON_DEEP,
    IMPORT_MANIFEST,
    IMPORT_LINE,
    IMPORT_FILE,
    PHOTOGRAPH_BYTES,
    PHOTOGRAPH_SIDE,
    PHOTOGRAPH_JPEG,
    PHOTOGRAPH_PROGRESSIVE,
    PHOTOGRAPH_WEBP,
    PHOTOGRAPH_OTHER,
    PHOTOGRAPH_MEMORY,
)
"""Every limit; docs/limits.md is compared with it."""
