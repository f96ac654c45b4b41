"""Samples of a trace from lines of text: quickly where they are plain, else cell by cell.

Plain lines hold numbers and OL only, as a logger writes them; a columnar library reads those. It is
not told of anything else: before it is asked, the count of separators and a look for two of them
together show that no cell is empty, quoted, or missing.
"""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchproof.family.problems import Problems
from benchproof.family.safetext import from_cell
from benchproof.family.sentence import quoted
from benchproof.network.resistance import Floats, Ints
from benchproof.reading.value import Mark, Measured, parse_value

LEAST_OHM = -0.1
"""A logger with nulled leads wanders below zero by as much; from here to zero counts as zero."""
_BELOW_ZERO = "is below zero, which no part reads; null the leads and sweep again"
_LOOKED_AT = 1 << 17
"""Bytes looked at in one go, so that they stay in the processor's cache."""
_COMMA = ord(",")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")
_MOST_REMEMBERED = 100_000


@dataclass(frozen=True)
class Columns:
    """Where everything stands in a line.

    Attributes
    ----------
    count : int
        How many cells a line has.
    delimiter : str
        What parts them.
    scale : int
        The column of the angle or the time.
    timed : bool
        Whether that is a time.
    position : int or None
        The column of the position in whose detent the lever rests.
    pairs : tuple of int
        The columns of the pairs.
    factors : tuple of float
        Ohms in the unit of each.
    positions : tuple of str
        The family's positions.
    """

    count: int
    delimiter: str
    scale: int
    timed: bool
    position: int | None
    pairs: tuple[int, ...]
    factors: tuple[float, ...]
    positions: tuple[str, ...]


@dataclass(frozen=True)
class Samples:
    """Some samples.

    Attributes
    ----------
    scale : array, shape (samples,)
        Angle, degrees, or time, seconds.
    ohm : tuple of arrays, each of shape (samples,)
        What each pair read, ohms; infinite where over range, nan where not read.
    line : sequence of int
        The line of each.
    rest : array of int, shape (samples,), or None
        Number of the position in whose detent the lever rests, -1 for none.
    """

    scale: Floats
    ohm: tuple[Floats, ...]
    line: Sequence[int]
    rest: Ints | None


def quick_samples(piece: bytes, line: int, columns: Columns) -> Samples | None:
    """Return the samples of lines that are plain numbers and OL; None if they are not.

    Parameters
    ----------
    piece : bytes
        Whole lines.
    line : int
        The number of the first.
    columns : Columns
        Where everything stands.
    """
    if columns.position is not None:
        return None
    plain = _with_commas(piece, columns.delimiter)
    separators = _separators(plain)
    if not separators or separators % columns.count:
        return None
    import polars

    names = [str(number) for number in range(columns.count)]
    try:
        table = polars.read_csv(
            plain,
            has_header=False,
            schema=dict.fromkeys(names, polars.Float64),
            null_values="OL",
            quote_char=None,
        )
    except polars.exceptions.PolarsError:
        return None
    if table.height != separators // columns.count:
        return None
    scale = table[names[columns.scale]].to_numpy()
    if not np.isfinite(scale).all():
        return None
    ohms = []
    for number, factor in zip(columns.pairs, columns.factors, strict=True):
        ohm = table[names[number]].fill_null(np.inf).to_numpy()
        least = ohm.min()
        # Not at least as much holds of nan too.
        if not least >= LEAST_OHM:
            return None
        if least < 0.0:
            ohm = np.maximum(ohm, 0.0)
        ohms.append(ohm if factor == 1.0 else ohm * factor)
    return Samples(scale, tuple(ohms), range(line, line + len(scale)), None)


def _with_commas(piece: bytes, delimiter: str) -> bytes:
    """Return lines parted by commas, with decimal points and plain line ends."""
    if piece.endswith(b"\r\n"):
        piece = piece.replace(b"\r\n", b"\n")
    if delimiter != ",":
        piece = piece.translate(bytes.maketrans(b"," + delimiter.encode(), b".,"))
    if b"+" in piece:
        for before in (b"E", b"e", b",", b"\n"):
            piece = piece.replace(before + b"+", before)
    return piece


def _separators(plain: bytes) -> int | None:
    """Return how many separators lines have; None if any two adjoin, or a quote or blank is there.

    Of the bytes up to the comma, plain lines hold only the comma and the line's end.
    """
    data = np.frombuffer(plain, np.uint8)
    count = 0
    for start in range(0, len(data), _LOOKED_AT):
        # One byte of the next part is looked at again, to see two that adjoin across the cut.
        low = data[start : start + _LOOKED_AT + 1] <= _COMMA
        if (low[1:] & low[:-1]).any():
            return None
        count += int(np.count_nonzero(low[:_LOOKED_AT]))
    return count


def split_cells(text: str, delimiter: str) -> list[str] | None:
    """Return the cells of one line, stripped; None if its quotes are wrong."""
    try:
        rows = list(csv.reader([text], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error:
        return None
    return [from_cell(cell.strip()) for cell in rows[0]] if rows else []


class PlainReader:
    """Reads lines cell by cell, in all the ways that people and loggers write a reading."""

    def __init__(self, columns: Columns, problems: Problems) -> None:
        self._columns, self._problems = columns, problems
        self._ohms: dict[str, float] = {}

    def samples(self, piece: bytes, line: int) -> Samples | None:
        """Return the samples of whole lines, the first numbered `line`; None if there are none.

        Raises
        ------
        BadFile
            With every cell that cannot be understood.
        """
        columns, problems = self._columns, self._problems
        try:
            text = piece.decode("utf-8")
        except UnicodeDecodeError as error:
            at = line + piece.count(b"\n", 0, error.start)
            problems.stop(f"line {at}", "is not UTF-8 text; save it again as UTF-8.")
        scale: list[float] = []
        lines: list[int] = []
        rest: list[int] = []
        ohms: list[list[float]] = [[] for _ in columns.pairs]
        for number, typed in enumerate(text.split("\n"), line):
            if not typed.strip() or typed.lstrip(' "').startswith("#"):
                continue
            cells = split_cells(typed.strip("\r"), columns.delimiter)
            place = f"line {number}"
            if cells is None:
                problems.add(place, "has a quote without its partner.")
                continue
            if len(cells) != columns.count:
                problems.add(
                    place,
                    f"has {len(cells)} cells where the headings have {columns.count}; a decimal "
                    "comma needs quotes in a file parted by commas.",
                )
                continue
            what = "time" if columns.timed else "angle"
            scale.append(self._number(cells[columns.scale], place, what))
            lines.append(number)
            for found, column in zip(ohms, columns.pairs, strict=True):
                found.append(self._ohm(cells[column], f"{place} column {column + 1}"))
            if columns.position is not None:
                rest.append(self._rest(cells[columns.position], place))
        problems.raise_if_any()
        if not scale:
            return None
        factors = zip(ohms, columns.factors, strict=True)
        return Samples(
            np.array(scale),
            tuple(np.array(ohm) * factor for ohm, factor in factors),
            lines,
            np.array(rest, dtype=np.intp) if columns.position is not None else None,
        )

    def _number(self, text: str, place: str, what: str) -> float:
        word = _pointed(text, self._columns.delimiter)
        number = float(word) if _NUMBER.fullmatch(word) else float("nan")
        if not np.isfinite(number):
            self._problems.add(place, f"has {quoted(text)} for its {what}; type a number.")
        return number

    def _ohm(self, text: str, place: str) -> float:
        found = self._ohms.get(text)
        if found is None:
            try:
                found = _ohm_of(text, self._columns.delimiter)
            except ValueError as error:
                self._problems.add(place, f"{quoted(text)} {error}")
                return float("nan")
            if len(self._ohms) > _MOST_REMEMBERED:
                self._ohms.clear()
            self._ohms[text] = found
        return found

    def _rest(self, text: str, place: str) -> int:
        for number, name in enumerate(self._columns.positions):
            if text.casefold() == name.casefold():
                return number
        if text:
            names = ", ".join(self._columns.positions)
            self._problems.add(place, f"names the position {quoted(text)}; known are {names}.")
        return -1


def _pointed(text: str, delimiter: str) -> str:
    """Return a number with a decimal point; a comma is one where it parts no cells."""
    word = text.replace("\N{MINUS SIGN}", "-")
    return word.replace(",", ".") if delimiter != "," or word.count(",") == 1 else word


def _ohm_of(text: str, delimiter: str) -> float:
    """Return the ohms of a cell; infinite for over range, nan if empty.

    Raises
    ------
    ValueError
        With one sentence that says what is wrong and what would be right.
    """
    if not text:
        return float("nan")
    word = text if delimiter == "," else _pointed(text, delimiter)
    if _NUMBER.fullmatch(word):
        number = float(word)
        if number < LEAST_OHM:
            raise ValueError(_BELOW_ZERO)
        return max(number, 0.0)
    value = parse_value(word)
    if isinstance(value, Measured) and value.ohm < LEAST_OHM:
        raise ValueError(_BELOW_ZERO)
    if value is Mark.CLOSED:
        raise ValueError("is a mark; a trace needs ohms, or OL where over range")
    return value.ohm if isinstance(value, Measured) else float("inf")
