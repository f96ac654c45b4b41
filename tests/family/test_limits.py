"""What is too large is refused by one sentence, before it is read."""

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof import load_family, load_readings
from benchproof.family import limits
from benchproof.family.nesting import nested_deeper
from benchproof.family.problems import BadFile
from benchproof.family.tomllines import check_size
from benchproof.network.files import read_family
from hostile_files import CHARTS, MOST_MB, audited

DOC = Path(__file__).parents[2] / "docs" / "limits.md"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (f"a = {'[' * 25}{']' * 25}", "line 1: is nested more than 24 deep."),
        (f"b = 1\na = {'[' * 25}", "line 2: is nested more than 24 deep."),
        ("a = " + "{b=" * 25, "line 1: is nested more than 24 deep."),
        ("a" + ".a" * 12 + " = 1", "line 1: has a key of more than 12 parts"),
        ("a" + " . 'a'" * 12 + " = 1", "line 1: has a key of more than 12 parts"),
        ("x = {a" + ".a" * 12 + " = 1}", "line 1: has a key of more than 12 parts"),
        ("\n[a" + ".a" * 12 + "]", "line 2: has a key of more than 12 parts"),
        ("[[a" + ".a" * 12 + "]]", "line 1: has a key of more than 12 parts"),
        ("a.b.c=1\n" * 10_001, "line 10001: has more than 30,000 keys"),
        ("[a.b.c]\n" * 10_001, "line 10001: has more than 30,000 keys"),
        ("a = [" + "1," * 150_001, "line 1: has more than 150,000 values and lines"),
    ],
)
def test_a_toml_that_is_too_much_is_refused_before_it_is_parsed(text: str, sentence: str) -> None:
    with pytest.raises(BadFile, match=re.escape(f"f, {sentence}")):
        check_size(text, "f")


@pytest.mark.parametrize(
    "text",
    [
        f"a = {'[' * 24}{']' * 24}",
        "a" + ".a" * 11 + " = 1",
        'a = "' + "x." * 40 + '"\nb = [' + "0.1," * 100 + "]",
        '"' + "x." * 40 + '" = 1',
        "a.b = 0.1\n" * 100,
        "# " + "." * 100,
        'a = """\n[[[[' + "[" * 40 + '"' + '""""',
        "a = '''" + "{" * 40 + "'''",
        "[[a]]\n" * 100 + "[b]\n" * 100,
        "[" * 3 + "\n" + "]" * 50,
    ],
)
def test_what_only_looks_large_is_not_refused(text: str) -> None:
    check_size(text, "f")


@given(text=st.text(alphabet="[]{}=,.\"'\\\n #a1", max_size=200))
def test_any_text_is_looked_at_to_its_end_or_its_first_mistake(text: str) -> None:
    check_size(text, "f")


@pytest.mark.parametrize(
    "name", ["dotted.toml", "as-large-as-may-be.toml", "quoted-columns.csv", "styles.xlsx"]
)
def test_a_hostile_chart_takes_little_memory_and_gets_one_sentence(
    name: str, tmp_path: Path
) -> None:
    """A sample of `make bench-hostile-files`; the first took more than 5 GB without limits."""
    path = tmp_path / name
    path.write_bytes(CHARTS[name]())
    memory, said, code = audited(path)
    assert memory < MOST_MB
    assert code == 2
    assert str(path) in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("line-of-4-mb.csv", "line 2: is a line of more than 150,000 letters"),
        ("columns.csv", "line 1: is a line of more than 150,000 letters"),
        ("empty-cells.csv", "has more than 200,000 cells"),
        ("rows.xlsx", "reaches far below or right of a table"),
        ("far.xlsx", "row 1: has more than 200 columns"),
        ("entities.xlsx", "holds a document type"),
        ("lzma.xlsx", "is packed in an unusual way"),
    ],
)
def test_a_hostile_table_is_refused_for_what_it_is(name: str, sentence: str) -> None:
    with pytest.raises(BadFile, match=sentence):
        read_family(CHARTS[name](), name)


def test_more_bytes_than_a_file_has_are_not_looked_at() -> None:
    for name in ("a.csv", "a.toml"):
        with pytest.raises(BadFile, match=r"is larger than [15] MB"):
            read_family(b" " * (limits.FILE_BYTES.most + 1), name)


def test_the_library_reads_no_more_of_a_file_than_it_may(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        # Takes no room on the disk.
        file.truncate(1_000_000_000_000)
    with pytest.raises(BadFile, match="is larger than 5 MB"):
        load_family(path)
    with pytest.raises(BadFile, match="is larger than 5 MB"):
        load_readings(path, load_family("valley-coded-7"))


def test_every_limit_is_in_the_document() -> None:
    told = DOC.read_text(encoding="utf-8")
    for limit in limits.LIMITS:
        assert f"| {limit.kind} | {limit.written()} |" in told
    assert told.count("\n| ") == len(limits.LIMITS) + 2


def _deep(value: object) -> int:
    match value:
        case dict():
            return 1 + max(map(_deep, value.values()), default=0)
        case list():
            return 1 + max(map(_deep, value), default=0)
        case _:
            return 0


JSON = st.recursive(
    st.text() | st.integers(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)
)


@given(value=JSON, most=st.integers(0, 6))
def test_nesting_is_counted_as_a_parser_finds_it(value: object, most: int) -> None:
    assert nested_deeper(json.dumps(value).encode(), most) == (_deep(value) > most)


@pytest.mark.parametrize("data", [b'"', b'"\\', b'\\"' * 50, b"]" * 9 + b"[", b'{"a": "[[['])
def test_what_is_no_json_is_not_called_deep(data: bytes) -> None:
    assert not nested_deeper(data, 1)
