"""Where the values of a TOML text stand."""

import datetime
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Struct

from benchproof.family import tomllines
from benchproof.family.problems import BadFile
from benchproof.family.tomlfile import TomlFile
from benchproof.family.tomllines import lines_of_values

DATA = Path(__file__).parents[2] / "src" / "benchproof"
SHIPPED = sorted([*(DATA / "families").glob("*.toml"), *(DATA / "meters").glob("*.toml")])


def values_of(value: object, path: tomllines.Path = ()) -> dict[tomllines.Path, object]:
    """Return everything that a parsed TOML holds, by the way to it."""
    found = {path: value} if path else {}
    if isinstance(value, dict):
        for key, item in value.items():
            found |= values_of(item, (*path, key))
    elif isinstance(value, list):
        for number, item in enumerate(value):
            found |= values_of(item, (*path, number))
    return found


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_value_of_a_shipped_file_is_found_on_its_line(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    values, lines = values_of(tomllib.loads(text)), lines_of_values(text)
    assert lines.keys() == values.keys()
    for way, number in lines.items():
        line = text.splitlines()[number - 1]
        if isinstance(way[-1], str):
            assert way[-1] in line
        elif isinstance(values[way], str):
            assert f'"{values[way]}"' in line


TRICKY = '''\
a.b.c = 1
"quoted key" = 2
'single = [' = 3
text = "a # b = [" # [not.a.table]
long = """
a = 1
[x]
\\"""  """ # the end
raw = \'\'\'
b = "
\'\'\'\'
list = [
  1, # one ]
  [2, 3],

  { x = 1, y = [
    4 ] },
]
when = 1979-05-27 07:32:00
[t.u]
v = 1
[[rows]]
n = 1
[rows.sub]
m = 2
[[rows]]
[[rows.deep]]
n = 3
[[rows.deep]]
n = 4
'''

TRICKY_LINES = {
    ("a",): 1,
    ("a", "b", "c"): 1,
    ("quoted key",): 2,
    ("single = [",): 3,
    ("text",): 4,
    ("long",): 5,
    ("raw",): 9,
    ("list",): 12,
    ("list", 0): 13,
    ("list", 1): 14,
    ("list", 1, 1): 14,
    ("list", 2): 16,
    ("list", 2, "y", 0): 17,
    ("when",): 19,
    ("t",): 20,
    ("t", "u", "v"): 21,
    ("rows",): 22,
    ("rows", 0): 22,
    ("rows", 0, "n"): 23,
    ("rows", 0, "sub", "m"): 25,
    ("rows", 1): 26,
    ("rows", 1, "deep", 0, "n"): 28,
    ("rows", 1, "deep", 1): 29,
    ("rows", 1, "deep", 1, "n"): 30,
}


def test_strings_remarks_and_brackets_do_not_mislead() -> None:
    lines = lines_of_values(TRICKY)
    assert lines.keys() == values_of(tomllib.loads(TRICKY)).keys()
    assert {path: lines[path] for path in TRICKY_LINES} == TRICKY_LINES


def test_line_ends_of_other_kinds_are_no_lines_of_toml() -> None:
    assert lines_of_values("# \x85 \N{LINE SEPARATOR}\r\na = 1\r\nb = 2")["b",] == 3


KEYS = st.text("ab1_-", min_size=1, max_size=3)
SCALARS = (
    st.booleans().map(lambda value: f"{value}".lower())
    | st.integers(-99, 99).map(str)
    | st.text("a #[]{}=,.'\\\n", max_size=6).map(
        lambda text: '"' + text.replace("\\", "\\\\").replace("\n", "\\n") + '"'
    )
    | st.text('a #[]{}=,."\\\n', max_size=6).map(lambda text: f"'''{text}'''")
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: "[\n" + " ,# x ]\n".join(items) + "\n]")
        | st.dictionaries(KEYS, inner, max_size=3).map(
            lambda items: "{" + ", ".join(f"{key} = {item}" for key, item in items.items()) + "}"
        )
    ),
    max_leaves=6,
)
TEXTS = st.lists(
    st.tuples(st.sampled_from(["", "", "[t1.{}]\n", "[[t2]]\n", "[[t2.{}]]\n"]), KEYS, VALUES),
    max_size=6,
).map(
    lambda parts: "\n".join(
        f"{header.format(f'h{number}')}k{number}{key} = {value} # {number}"
        for number, (header, key, value) in enumerate(parts)
    )
)


@given(TEXTS)
def test_everything_that_tomllib_reads_has_a_line(text: str) -> None:
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = lines_of_values(text)
    assert lines.keys() == values_of(values).keys()
    assert all(1 <= number <= text.count("\n") + 1 for number in lines.values())


def test_a_value_without_a_line_of_its_own_takes_that_of_what_it_stands_in() -> None:
    toml = TomlFile(b'\n[a]\n"\\u0041" = 1', "f.toml")
    assert toml.line_of("a", "A") == "line 2"
    assert toml.line_of("b") == ""


class Dated(Struct):
    """A shape whose values are told in general words only."""

    day: datetime.date


def test_a_shape_without_words_of_its_own_is_still_refused() -> None:
    with pytest.raises(BadFile, match=r"^f.toml: is not in shape: .*day"):
        TomlFile(b"day = 5", "f.toml").shaped(Dated)
