"""How large a TOML text is, and the line on which each value begins; tomllib tells neither."""

import re
from collections.abc import Iterator
from contextlib import suppress

from benchproof.family import limits

Path = tuple[str | int, ...]
"""The way to a value: keys, and numbers of list items from 0."""

MOST_ITEMS = 5_000
"""Items of a list beyond these are not looked for, nor keys in keys beyond `MOST_DEEP`."""
MOST_DEEP = 10

_TOKEN = re.compile(
    # No choice is ever tried anew: the time grows with the text, whatever it is.
    r'"""(?:[^"\\]++|\\.|"(?!""))*+"{3,5}'
    r"|'''(?:[^']++|'(?!''))*+'{3,5}"
    r'|"(?!"")(?:[^"\\\n]++|\\[^\n])*+"'
    r"|'(?!'')[^'\n]*+'"
    r"|#[^\n]*+"
    r"|[\n\[\]{},=]"
    r"|[^\s\"'#\[\]{},=]++",
    re.DOTALL,
)
_BETWEEN = re.compile(r"[^\S\n]*+")


def check_size(text: str, file: str) -> None:
    """Look at how large and how deep a TOML text is, before it is parsed.

    What breaks the rules of TOML ends the look: the parser ends there too.

    Raises
    ------
    BadFile
        If it is more than a file may be; the line is named.
    """
    deep = dots = keys = values = 0
    starts = True
    in_header = False
    for token, line in _tokens(text):
        place = f"line {line}"
        if token in ("[", "{"):
            in_header = token == "[" and (starts or in_header)
            deep, dots = deep + 1, 0
            limits.TOML_DEEP.check(deep, file, place)
        elif token == "=" or (token == "]" and in_header):
            keys, dots = keys + 1 + dots, 0
            limits.TOML_KEYS.check(keys, file, place)
        elif token in (",", "\n"):
            values, dots = values + 1, 0
            limits.TOML_VALUES.check(values, file, place)
        elif token[0] not in "\"'":
            dots += token.count(".")
            limits.TOML_DOTTED.check(dots + 1, file, place)
        if token in ("]", "}"):
            deep, dots = max(deep - 1, 0), 0
            in_header = in_header and deep > 0
        starts = token == "\n" and deep == 0


def lines_of_values(text: str) -> dict[Path, int]:
    r"""Return the line of every table, key and list item of a TOML text that is known to be right.

    Examples
    --------
    >>> lines_of_values("a = 1\n[[b]]\nc = [2,\n3]")["b", 0, "c", 1]
    4
    """
    return _Walk(text).lines


class _Walk:
    """One walk over the tokens of a text; `_token` is the one at hand."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        # Where an array of tables stands, the number of its last table.
        self._last_item: dict[Path, int] = {}
        self._tokens = _tokens(text)
        with suppress(StopIteration):
            self._step()
            self._statements()

    def _step(self) -> None:
        self._token, self._line = next(self._tokens)

    def _statements(self) -> None:
        table: Path = ()
        while True:
            if self._token == "\n":
                self._step()
            elif self._token == "[":
                table = self._header()
            else:
                self._pair(table)

    def _header(self) -> Path:
        """Walk over `[table]` or `[[table]]`; return its path."""
        line = self._line
        self._step()
        is_item = self._token == "["
        if is_item:
            self._step()
        path: Path = ()
        for key in self._keys("]")[:MOST_DEEP]:
            # A table of an array's own is one of its last item.
            path = (*self._innermost(path), key)
            self.lines.setdefault(path, line)
        if is_item:
            self._step()
            self._last_item[path] = self._last_item.get(path, -1) + 1
            path = self._innermost(path)
            self.lines[path] = line
        return path

    def _innermost(self, path: Path) -> Path:
        return (*path, self._last_item[path]) if path in self._last_item else path

    def _pair(self, table: Path) -> None:
        """Walk over `key = value`."""
        line, path = self._line, table
        for key in self._keys("=")[:MOST_DEEP]:
            path = (*path, key)
            self.lines.setdefault(path, line)
        self._value(path)

    def _keys(self, end: str) -> list[str]:
        """Walk over a dotted key and its end mark."""
        keys: list[str] = []
        while self._token != end:
            quoted = self._token[0] in "\"'"
            keys += [self._token[1:-1]] if quoted else filter(None, self._token.split("."))
            self._step()
        self._step()
        return keys

    def _value(self, path: Path) -> None:
        if self._token == "[":
            self._step()
            number = 0
            while self._token != "]":
                if self._token in (",", "\n"):
                    self._step()
                    continue
                if number < MOST_ITEMS:
                    self.lines[*path, number] = self._line
                self._value((*path, number))
                number += 1
            self._step()
        elif self._token == "{":
            self._step()
            while self._token != "}":
                if self._token == ",":
                    self._step()
                else:
                    self._pair(path)
            self._step()
        else:
            while self._token not in (",", "\n", "]", "}"):
                self._step()


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    """Yield each token with its line up to what is none, and a last end of line."""
    line, at = 1, 0
    while match := _TOKEN.match(text, _after_blanks(text, at)):
        token, at = match[0], match.end()
        if not token.startswith("#"):
            yield token, line
        line += token.count("\n")
    yield "\n", line


def _after_blanks(text: str, at: int) -> int:
    match = _BETWEEN.match(text, at)
    return match.end() if match else at
