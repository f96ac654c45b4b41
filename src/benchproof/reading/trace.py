"""A sweep trace: the ohms of pairs while the lever is moved, sample by sample, in bounded memory.

CSV text: an angle or a time, and one column a pair. Remarks above the headings may tell where
detents stand on the scale. Millions of samples come as blocks of a few megabytes of text.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from benchproof.family import limits
from benchproof.family.model import Family, Pair, pair_text, same_pair
from benchproof.family.names import match_name, match_pair
from benchproof.family.problems import BadFile, Problem, Problems
from benchproof.family.sentence import quoted
from benchproof.family.sheet import MOST_COLUMNS, is_workbook
from benchproof.network.resistance import Floats, Ints
from benchproof.reading.tracerows import (
    Columns,
    PlainReader,
    Samples,
    quick_samples,
    split_cells,
)

BLOCK_BYTES = 4_000_000
"""Text read at once. Smaller blocks cost the columnar reader more each (measured)."""
MOST_ANGLE_DEG = 3_600.0
_BEGINNING = b"\xef\xbb\xbf"
"""What some programs put before UTF-8 text."""
_TELLING_BYTES = 8
"""So many tell a workbook."""
_ANGLE = {"angle", "angle deg", "angle degrees", "deg", "degrees"}
_TIME = {"time", "time s", "time seconds", "seconds", "s"}
_POSITION = {"position", "lever", "lever position"}
_UNIT = re.compile(r"(.+?)[\s_]*(?:[\s_]|[(\[])([kKmM]?)(?:Ω|Ω|(?i:ohms?))[)\]]?")
_FACTOR = {"": 1.0, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6}
_NOTE = re.compile(r"#\s*([^=]{1,60}?)\s*=\s*(.{1,60}?)\s*")


@dataclass(frozen=True)
class SampleBlock:
    """Samples that follow each other.

    Attributes
    ----------
    angle_deg : array, shape (samples,)
        Where the lever stood, degrees on the trace's own scale.
    ohm : tuple of arrays, each of shape (samples,)
        What each pair read, ohms; infinite where over range, nan where not read.
    rest : array of int, shape (samples,), or None
        Number of the position in whose detent the lever was noted to rest, -1 for none; None if
        the file notes none.
    """

    angle_deg: Floats
    ohm: tuple[Floats, ...]
    rest: Ints | None = None


@dataclass(frozen=True)
class Trace:
    """A sweep trace, its samples still to be read.

    Attributes
    ----------
    pairs : tuple of pair
        The pairs, by the family's names.
    noted_deg : mapping of int to float
        Where the file says that detents stand on its scale, by number of the position.
    own_scale : bool
        Whether the file says that its angles are the family's own.
    blocks : iterator of SampleBlock
        The samples, once through; raises BadFile where one cannot be understood.
    """

    pairs: tuple[Pair, ...]
    noted_deg: dict[int, float]
    own_scale: bool
    blocks: Iterator[SampleBlock]


@dataclass
class _Head:
    """What stands above the samples."""

    columns: Columns | None = None
    pairs: list[Pair] = field(default_factory=list)
    noted_deg: dict[int, float] = field(default_factory=dict)
    own_scale: bool = False
    speed_deg_per_s: float | None = None
    start_deg: float = 0.0


def open_trace(chunks: Iterable[bytes], file: str, family: Family) -> Trace:
    """Return a trace, reading as far as its headings.

    Parameters
    ----------
    chunks : iterable of bytes
        The file's content in pieces, such as of `BLOCK_BYTES`.
    file : str
        Its name, for messages.
    family : Family
        The family whose pins and positions it names.

    Raises
    ------
    BadFile
        If it is no trace of this family; the blocks raise it too, with the line.
    """
    problems = Problems(file)
    pieces = _whole_lines(chunks, problems)
    head, line, rest = _read_head(pieces, problems, family)
    columns = head.columns
    assert columns is not None, "a head without columns was refused"
    blocks = _blocks(rest, pieces, line, head, columns, problems)
    return Trace(tuple(head.pairs), head.noted_deg, head.own_scale, blocks)


def _whole_lines(chunks: Iterable[bytes], problems: Problems) -> Iterator[bytes]:
    """Yield the content in pieces that end with a line's end."""
    rest, begun = b"", False
    for chunk in chunks:
        if not begun:
            rest += chunk
            if len(rest) < _TELLING_BYTES:
                continue
            if is_workbook(rest):
                problems.stop("", "is a workbook; a trace is long: save it as CSV.")
            rest, chunk, begun = b"", rest.removeprefix(_BEGINNING), True
        cut = chunk.rfind(b"\n") + 1
        if cut:
            # Joined so, each byte is copied once.
            yield b"".join((rest, memoryview(chunk)[:cut]))
            rest = b""
        rest += chunk[cut:]
        limits.TRACE_LINE.check(len(rest), problems.file)
    if rest.strip():
        yield rest + b"\n"


def _read_head(
    pieces: Iterator[bytes], problems: Problems, family: Family
) -> tuple[_Head, int, bytes]:
    """Return the head, the number of the first line below it, and the rest of its piece."""
    head, number = _Head(), 0
    for piece in pieces:
        at = 0
        while at < len(piece):
            end = piece.index(b"\n", at) + 1
            line, at, number = piece[at:end], end, number + 1
            try:
                text = line.decode("utf-8").strip()
            except UnicodeDecodeError:
                problems.stop(f"line {number}", "is not UTF-8 text; save it again as UTF-8.")
            if "\0" in text:
                problems.stop(f"line {number}", "is not text; a trace is a CSV file.")
            if text.lstrip('"').startswith("#"):
                _note(text.strip('" ;,\t'), number, head, problems, family)
                limits.TRACE_REMARKS.check(number, problems.file)
            elif text:
                _headings(text, number, head, problems, family)
                problems.raise_if_any()
                return head, number + 1, piece[at:]
    empty = Problem("", "is empty; a trace needs headings such as 'angle_deg,A-E' and samples.")
    raise BadFile(problems.file, [empty])


def _note(text: str, line: int, head: _Head, problems: Problems, family: Family) -> None:
    """Take what a remark says of the scale; other remarks are let be."""
    found = _NOTE.fullmatch(text)
    if not found:
        return
    name, told = " ".join(found[1].replace("_", " ").casefold().split()), found[2]
    if name == "scale":
        if told.casefold() != "family":
            problems.add(
                f"line {line}",
                f"names the scale {quoted(told)}; type 'scale = family' where the angles are the "
                "family's own, or where a detent stands, such as "
                f"'{family.positions[0]} = 43.2'.",
            )
        head.own_scale = True
        return
    keys = {"speed deg per s": "speed_deg_per_s", "start deg": "start_deg"}
    known = [p for p in family.positions if p.casefold() == found[1].casefold()]
    if name not in keys and not known:
        return
    try:
        number = float(told.removesuffix("deg").strip().replace(",", "."))
    except ValueError:
        number = float("nan")
    if not abs(number) <= MOST_ANGLE_DEG:
        problems.add(f"line {line}", f"says {quoted(told)}, which is no angle or speed in degrees.")
    elif name in keys:
        setattr(head, keys[name], number)
    else:
        position = family.positions.index(match_name(found[1], family.positions, "position"))
        if head.noted_deg.get(position, number) != number:
            problems.add(f"line {line}", f"places {found[1]} again and elsewhere; keep one.")
        head.noted_deg[position] = number


def _headings(text: str, line: int, head: _Head, problems: Problems, family: Family) -> None:
    delimiter = max(",;\t", key=text.count)
    cells = split_cells(text, delimiter)
    place = f"line {line}"
    if cells is None or len(cells) > MOST_COLUMNS:
        problems.stop(place, "is no row of headings; type such as 'angle_deg,A-E,G-H'.")
    scale: list[int] = []
    timed, position = False, None
    pairs: list[int] = []
    factors: list[float] = []
    for number, cell in enumerate(cells):
        words = " ".join(re.sub(r"[\s_()\[\]]+", " ", cell).split()).casefold()
        if words in _ANGLE | _TIME:
            scale.append(number)
            timed = words in _TIME
        elif words in _POSITION:
            if position is not None:
                problems.add(place, "has two columns headed 'position'; keep one.")
            position = number
        else:
            unit = _UNIT.fullmatch(cell)
            try:
                pair = match_pair(unit[1] if unit else cell, family.pin_names)
            except ValueError as error:
                problems.add(f"{place} column {number + 1}", f"{error}.")
                continue
            if same_pair(pair) in map(same_pair, head.pairs):
                problems.add(place, f"has two columns for {pair_text(pair)}; keep one.")
            head.pairs.append(pair)
            pairs.append(number)
            factors.append(_FACTOR[unit[2]] if unit else 1.0)
    if len(scale) != 1:
        problems.add(place, "needs one column headed 'angle_deg', or one headed 'time_s'.")
    if not pairs and not problems:
        problems.add(place, "names no pair; head a column by two pins, such as A-E.")
    if timed and not head.speed_deg_per_s:
        problems.add(
            place,
            "gives time without a speed; put a line such as '# speed_deg_per_s = 12' above the "
            "headings, and '# start_deg = -10'.",
        )
    problems.raise_if_any()
    head.columns = Columns(
        len(cells), delimiter, scale[0], timed, position, tuple(pairs), tuple(factors),
        family.positions,
    )  # fmt: skip


def _blocks(
    rest: bytes,
    pieces: Iterator[bytes],
    line: int,
    head: _Head,
    columns: Columns,
    problems: Problems,
) -> Iterator[SampleBlock]:
    plain = PlainReader(columns, problems)
    clock = _Clock(head, problems) if columns.timed else None
    empty = True
    for piece in chain([rest], pieces):
        samples = quick_samples(piece, line, columns)
        if samples is not None:
            line += len(samples.scale)
        else:
            samples = plain.samples(piece, line)
            line += piece.count(b"\n")
        if samples is None:
            continue
        empty = False
        angle_deg = samples.scale if clock is None else clock.angles(samples)
        if max(-angle_deg.min(), angle_deg.max()) > MOST_ANGLE_DEG:
            at = samples.line[int(np.argmax(np.abs(angle_deg)))]
            problems.stop(f"line {at}", "is at an angle that no lever reaches.")
        yield SampleBlock(angle_deg, samples.ohm, samples.rest)
    if empty:
        problems.stop("", "has headings but no sample below them.")


class _Clock:
    """Turns times into angles."""

    def __init__(self, head: _Head, problems: Problems) -> None:
        assert head.speed_deg_per_s is not None, "headings with time need a speed"
        self._speed_deg_per_s, self._start_deg = head.speed_deg_per_s, head.start_deg
        self._problems = problems
        self._first_s: float | None = None
        self._last_s = -np.inf

    def angles(self, samples: Samples) -> Floats:
        """Return the angle of each sample, degrees."""
        late = np.diff(samples.scale, prepend=self._last_s) > 0.0
        if not late.all():
            at = samples.line[int(np.argmin(late))]
            self._problems.stop(f"line {at}", "has a time that is not after the one before it.")
        self._last_s = float(samples.scale[-1])
        if self._first_s is None:
            self._first_s = float(samples.scale[0])
        return self._start_deg + self._speed_deg_per_s * (samples.scale - self._first_s)
