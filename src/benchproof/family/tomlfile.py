"""TOML a person wrote: its values in a given shape, and the line of each mistake."""

import re
import tomllib
from collections.abc import Mapping
from typing import Annotated, Any, TypeVar

import msgspec
from msgspec import Meta, Struct

from benchproof.family.problems import BadFile, Problem, Problems, did_you_mean, quoted
from benchproof.family.sheet import decode_text

Text = Annotated[str, Meta(min_length=1, max_length=200)]
Ohms = Annotated[
    str, Meta(min_length=1, description="a resistance, as '390 ohm', '3.3 kohm' or 'open'")
]

_Shape = TypeVar("_Shape", bound=Struct)


class TomlFile:
    """A TOML file being read; collects its problems.

    Parameters
    ----------
    data : bytes
        The file's content.
    file : str
        The file's name, for messages.

    Raises
    ------
    BadFile
        If it is no TOML; the line is named.
    """

    def __init__(self, data: bytes, file: str) -> None:
        text = decode_text(data, file)
        try:
            self._raw = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            found = re.fullmatch(r"(.*) \(at line (\d+), column \d+\)", str(error))
            place, what = (f"line {found[2]}", found[1]) if found else ("", str(error))
            raise BadFile(file, [Problem(place, f"is no TOML: {what}.")]) from None
        self.problems = Problems(file)
        self._lines = _lines_of_keys(text)

    def line_of(self, key: str, item: int | None = None) -> str:
        """Return the line of a top-level key or table, or of an item of its array."""
        number = self._lines.get((key, item)) or self._lines.get((key, None))
        which = "" if item is None or (key, item) in self._lines else f" item {item + 1}"
        return f"line {number}{which}" if number else key

    def shaped(self, shape: type[_Shape], rows: Mapping[str, Any]) -> _Shape:
        """Return the file's values in a shape, checked key by key and row by row.

        Parameters
        ----------
        shape : type
            The shape of the whole file.
        rows : mapping of str to type
            The shape of each item of the keys that hold arrays of tables.

        Raises
        ------
        BadFile
            With every key and row that is not in shape.
        """
        fields = {field.encode_name: field for field in msgspec.structs.fields(shape)}
        for key in self._raw.keys() - fields.keys():
            hint = did_you_mean(key, fields)
            self.problems.add(self.line_of(key), f"{quoted(key)} is no key here; {hint}")
        for key, field in fields.items():
            if key not in self._raw:
                if field.required:
                    self.problems.add("", f"has no '{key}', which every such file needs.")
            elif key in rows and isinstance(self._raw[key], list) and self._raw[key]:
                for number, row in enumerate(self._raw[key]):
                    self._check(row, rows[key], self.line_of(key, number), key)
            else:
                self._check(self._raw[key], field.type, self.line_of(key), key)
        self.problems.raise_if_any()
        try:
            return msgspec.convert(self._raw, shape)
        except msgspec.ValidationError as error:
            self.problems.stop("", f"is not right: {_plain(error)}.")

    def _check(self, value: object, shape: Any, place: str, key: str) -> None:  # noqa: ANN401
        try:
            msgspec.convert(value, shape)
        except msgspec.ValidationError as error:
            self.problems.add(place, f"'{key}' is not right: {_plain(error)}.")


def _lines_of_keys(text: str) -> dict[tuple[str, int | None], int]:
    """Return the line of each top-level key and table.

    tomllib tells no lines, so they are looked up: exact where a table or key starts its line,
    as in any file written by hand; else the line of the enclosing key is told.
    """
    lines: dict[tuple[str, int | None], int] = {}
    count: dict[str, int] = {}
    inside = ""
    for number, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*\[{1,2}\s*([\w-]+)[\w.-]*\s*\]", line):
            inside = header[1]
            count[inside] = count.get(inside, -1) + 1
            lines[inside, count[inside]] = number
            lines.setdefault((inside, None), number)
        elif (key := re.match(r"\s*([\w-]+)\s*=", line)) and not inside:
            lines.setdefault((key[1], None), number)
    return lines


_PLAINER = (
    (r" - at `\$\.?(.+)`$", r" (in \1)"),
    (r" - at `.*`$", ""),
    (r"Object contains unknown field `(.*?)`", r"there is no key '\1'"),
    (r"Object missing required field `(.*?)`", r"it lacks the key '\1'"),
    (r"Expected `(.*?)`, got `(.*?)`", r"expected \1 and found \2"),
    (r"Invalid (?:enum )?value '(.*?)'", r"'\1' is unknown"),
    (r"\bobject\b", "table"),
    (r"\barray\b", "list"),
    (r"\bstr\b", "text"),
    (r"\[\.\.\.\]", "an item"),
)


def _plain(error: msgspec.ValidationError) -> str:
    """Return the library's sentence in the file's own terms."""
    what = str(error)
    for theirs, ours in _PLAINER:
        what = re.sub(theirs, ours, what)
    return what
