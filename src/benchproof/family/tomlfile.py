"""TOML a person wrote: its values in a given shape, and a sentence on each that is not."""

import re
import tomllib
from collections.abc import Sequence
from typing import Annotated, Any, TypeGuard, TypeVar

import msgspec
from msgspec import Meta, Struct
from msgspec import inspect as shapes

from benchproof.family import limits
from benchproof.family.problems import BadFile, Problem, Problems
from benchproof.family.sentence import did_you_mean, quoted
from benchproof.family.sheet import decode_text
from benchproof.family.tomllines import Path, check_size, lines_of_values

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

    Attributes
    ----------
    values : dict
        What the file holds.
    problems : Problems
        What was found wrong so far.

    Raises
    ------
    BadFile
        If it is no TOML, or larger than a file may be; the line is named.
    """

    def __init__(self, data: bytes, file: str) -> None:
        limits.TOML_BYTES.check(len(data), file)
        text = decode_text(data, file)
        check_size(text, file)
        try:
            self.values: dict[str, Any] = tomllib.loads(text)
            self._lines = lines_of_values(text)
        except ValueError as error:
            raise BadFile(file, [_syntax_problem(f"{error}")]) from None
        self.problems = Problems(file)

    def line_of(self, *path: str | int) -> str:
        """Return the line of a value, or of what it stands in; empty for the file as a whole."""
        while path and path not in self._lines:
            path = path[:-1]
        return f"line {self._lines[path]}" if path else ""

    def shaped(self, shape: type[_Shape]) -> _Shape:
        """Return the file's values in a shape.

        Raises
        ------
        BadFile
            With every value that is not in shape.
        """
        try:
            return msgspec.convert(self.values, shape)
        except msgspec.ValidationError as error:
            self._explain(self.values, shapes.type_info(shape), ())
            self.problems.raise_if_any()
            self.problems.stop("", f"is not in shape: {error}")

    def take_family(self, family: str, defaults: Struct | None) -> None:
        """Let the table of one family stand over the file's own keys, and those over the defaults.

        Parameters
        ----------
        family : str
            Name of the family, whose table is ``[family."NAME"]`` if there is one.
        defaults : Struct or None
            What keys that are left out are taken from; None if the file must have them all.

        Raises
        ------
        BadFile
            If a table of a family has no name.
        """
        own = self.values.pop("family", {})
        if not isinstance(own, dict) or not all(isinstance(table, dict) for table in own.values()):
            self.problems.stop(self.line_of("family"), 'needs a name: [family."NAME"].')
        base: dict[str, Any] = {} if defaults is None else msgspec.to_builtins(defaults)
        self.values = {**base, **self.values, **own.get(family, {})}

    def _explain(self, value: object, shape: shapes.Type, path: Path, note: str = "") -> None:
        """Note what is out of shape in a value and in all that it holds."""
        match shape:
            case shapes.Metadata(type=inner, extra_json_schema=extra):
                self._explain(value, inner, path, f" ({extra['description']})" if extra else note)
            case shapes.UnionType(types=types):
                self._explain_choice(value, types, path, note)
            case shapes.StructType() if isinstance(value, dict):
                self._explain_table(value, shape, path)
            case shapes.DictType(value_type=inner) if isinstance(value, dict):
                for key, item in value.items():
                    self._explain(item, inner, (*path, key))
            case shapes.ListType(item_type=inner) if isinstance(value, list) and _fits(
                value, shape
            ):
                for number, item in enumerate(value):
                    self._explain(item, inner, (*path, number))
            case _ if not _fits(value, shape):
                self._refuse(value, _needed(shape) + note, path)

    def _explain_choice(
        self, value: object, types: Sequence[shapes.Type], path: Path, note: str
    ) -> None:
        """Explain by the one of several shapes that was meant."""
        tables = [one for one in types if isinstance(one, shapes.StructType)]
        others = [one for one in types if not isinstance(one, (shapes.StructType, shapes.NoneType))]
        if not (isinstance(value, dict) and tables):
            self._explain(value, [*others, *tables][0], path, note)
            return
        kind = tables[0].tag_field or ""
        meant = [one for one in tables if not kind or value.get(kind) == one.tag]
        if meant:
            self._explain_table(value, meant[0], path)
        elif kind in value:
            *most, last = [f"'{one.tag}'" for one in tables]
            known = f"{', '.join(most)} or {last}" if most else last
            self._refuse(value[kind], known, (*path, kind))
        else:
            self.problems.add(self.line_of(*path), f"has no '{kind}', which it needs.")

    def _explain_table(
        self, table: dict[str, object], shape: shapes.StructType, path: Path
    ) -> None:
        fields = {field.encode_name: field for field in shape.fields}
        known = [*fields, shape.tag_field] if shape.tag_field else [*fields]
        for key, value in table.items():
            if key in fields:
                self._explain(value, fields[key].type, (*path, key))
            elif key not in known:
                place = self.line_of(*path, key)
                self.problems.add(
                    place, f"{quoted(key)} is no key here; {did_you_mean(key, known)}"
                )
        for key, field in fields.items():
            if field.required and key not in table:
                self.problems.add(self.line_of(*path), f"has no '{key}', which it needs.")

    def _refuse(self, value: object, needed: str, path: Path) -> None:
        self.problems.add(
            self.line_of(*path), f"{_named(path)} needs {needed}; found {_found(value)}."
        )


def _named(path: Path) -> str:
    """Return a value as a person would name it: "item 2 of 'pins'"."""
    *outer, last = path
    return quoted(last) if isinstance(last, str) else f"item {last + 1} of {_named((*outer,))}"


def _found(value: object) -> str:
    match value:
        case str():
            return quoted(value) if value.strip() else "none"
        case bool():
            return f"{value}".lower()
        case float():
            return f"{value:g}"
        case int():
            return f"{value}" if abs(value) < 10**15 else "a huge number"
        case list():
            return f"a list of {len(value)}"
        case dict():
            return "a table"
        case _:
            return "a date or time"


def _needed(shape: shapes.Type) -> str:
    """Return what a shape asks for, in words."""
    match shape:
        case shapes.StrType():
            return f"text in quotes{_bounds(most=shape.max_length, of=' letters')}"
        case shapes.FloatType():
            return f"a number{_bounds(shape.ge, shape.le, shape.gt, shape.lt)}"
        case shapes.IntType():
            return f"a whole number{_bounds(shape.ge, shape.le, shape.gt, shape.lt)}"
        case shapes.ListType() if shape.min_length == shape.max_length is not None:
            return f"a list in [ ] of {shape.min_length}"
        case shapes.ListType():
            return f"a list in [ ]{_bounds(shape.min_length, shape.max_length, of=' long')}"
        case shapes.LiteralType(values=values):
            return " or ".join(f"'{value}'" for value in values)
        case shapes.BoolType():
            return "true or false"
        case _:
            return "a table"


def _bounds(
    least: float | None = None,
    most: float | None = None,
    above: float | None = None,
    below: float | None = None,
    of: str = "",
) -> str:
    told = {"at least": least, "above": above, "at most": most, "below": below}
    parts = [f"{word} {bound:g}{of}" for word, bound in told.items() if bound is not None]
    return f", {' and '.join(parts)}" if parts else ""


def _fits(value: object, shape: shapes.Type) -> bool:
    """Return whether a value is of a shape, leaving aside what it holds."""
    match shape:
        case shapes.StrType():
            matches = shape.pattern is None or re.search(shape.pattern, f"{value}") is not None
            return isinstance(value, str) and matches and _within(len(value), *_lengths(shape))
        case shapes.FloatType():
            return _is_number(value) and _within(value, shape.ge, shape.le, shape.gt, shape.lt)
        case shapes.IntType():
            if not isinstance(value, int):
                return False
            return _is_number(value) and _within(value, shape.ge, shape.le, shape.gt, shape.lt)
        case shapes.ListType():
            return isinstance(value, list) and _within(len(value), *_lengths(shape))
        case shapes.LiteralType(values=values):
            return value in values
        case shapes.BoolType():
            return isinstance(value, bool)
        case shapes.StructType() | shapes.DictType():
            return isinstance(value, dict)
        case _:
            return True


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _lengths(shape: shapes.StrType | shapes.ListType) -> tuple[int | None, int | None]:
    return shape.min_length, shape.max_length


def _within(
    number: float,
    least: float | None = None,
    most: float | None = None,
    above: float | None = None,
    below: float | None = None,
) -> bool:
    return (
        (least is None or number >= least)
        and (most is None or number <= most)
        and (above is None or number > above)
        and (below is None or number < below)
    )


_PLAINER = (
    (
        r"Unterminated string|Illegal character '\\[nr]|Found invalid|Expected ['\"]{3}",
        "a quote is opened and not closed",
    ),
    ("Illegal character", "a character does not print; type the line again"),
    ("Invalid date", "a date is written as 2001-02-03"),
    ("Invalid value", "a value is text in quotes, a number, true, false, a [list] or a {table}"),
    ("Expected newline", "only a comment may follow a value on its line"),
    ("Expected '='", "a key needs = and a value after it"),
    ("Invalid statement|Invalid initial", "a line begins with a key, [table] or #"),
    (r"Unclosed|Expected '\]", "a bracket is opened and not closed"),
    ("Cannot (overwrite|declare|redefine|mutate)|Duplicate", "a key or table stands twice"),
    ("Unescaped|Invalid hex|Escaped", "a \\ in quotes is doubled, or the quotes are single ones"),
    ("Exceeds the limit", "a number is far too long"),
)
"""What tomllib says, as patterns, and the same in plain words."""


def _syntax_problem(message: str) -> Problem:
    at_line = re.search(r"at line (\d+)", message)
    at_end = "end of file" if "at end of document" in message else ""
    plainer = (ours for theirs, ours in _PLAINER if re.search(theirs, message))
    what = next(plainer, "it breaks the rules of TOML")
    return Problem(f"line {at_line[1]}" if at_line else at_end, f"is no TOML: {what}.")
