"""Family files in TOML: what is read, and every mistake with its line."""

import pytest

from benchproof.family.expectation import CLOSED, OPEN, FamilyLimits, parse_expectation
from benchproof.family.model import ChartRow, Family, Pin, RangeCode, Role
from benchproof.family.problems import BadFile
from benchproof.network.branches.base import Dwell
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.files import read_family

GOOD = """\
name = "invented"
positions = ["P", "R", "N", "D"]
pins = ["A", { name = "B", place = [1, 2] }, "E"]
detents_deg = [0, 20.5, 40, 60]
inner = ["n1"]

[limits]
closed_at_most = "5 ohm"

[[chart]]
pair = "A-E"
role = "range bit"
expect = ["closed", "open", "open", "open"]

[[chart]]
pair = "E to B"
role = "range bit"
expect = ["open", "closed", "open", "390 ohm ±5%"]

[[chart]]
pair = "A-case"

[[branches]]
kind = "contact"
between = "A-E"
dwells_deg = [[-5, 5]]

[[branches]]
kind = "contact"
between = "B-n1"
closed_in = ["R", "D"]
closed = "30 mohm"
open = "1 Mohm"

[[branches]]
kind = "resistor"
between = "n1-E"
value = "390 ohm"

[range_code]
words = { P = "10", R = "01", N = "00", D = "01" }
transit = ["11"]
"""


def edited(*edits: tuple[str, str]) -> str:
    text = GOOD
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def sentences(text: str | bytes) -> list[str]:
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(BadFile) as refused:
        read_family(data, "f.toml")
    return str(refused.value).splitlines()


def test_a_family_file_is_read_whole() -> None:
    family = read_family(GOOD.encode(), "f.toml")
    assert family == Family(
        name="invented",
        positions=("P", "R", "N", "D"),
        pins=(Pin("A"), Pin("B", (1, 2)), Pin("E")),
        chart=(
            ChartRow(("A", "E"), (CLOSED, OPEN, OPEN, OPEN), Role.RANGE_BIT),
            ChartRow(
                ("E", "B"),
                (OPEN, CLOSED, OPEN, parse_expectation("390 ohm ±5%")),
                Role.RANGE_BIT,
            ),
            ChartRow(("A", "case"), ()),
        ),
        limits=FamilyLimits(5.0, 10_000.0, 10.0),
        detents_deg=(0.0, 20.5, 40.0, 60.0),
        inner=("n1",),
        branches=(
            Contact(("A", "E"), (Dwell(-5.0, 5.0),), (), 0.05, float("inf")),
            Contact(("B", "n1"), (), ("R", "D"), 0.03, 1e6),
            Resistor(("n1", "E"), 390.0),
        ),
        code=RangeCode({"P": "10", "R": "01", "N": "00", "D": "01"}, frozenset({"11"})),
        park=("P",),
        neutral=("N",),
        reverse=("R",),
    )
    assert [row.place for row in family.chart] == ["line 10", "line 15", "line 20"]


def test_carriage_returns_and_a_byte_order_mark_change_nothing() -> None:
    windows = b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()
    assert read_family(windows, "f.toml") == read_family(GOOD.encode(), "f.toml")


def test_marks_and_turning_directions_are_read_and_have_their_usual_values() -> None:
    usual = read_family(GOOD.encode(), "f.toml")
    assert (usual.mark_line_mm, usual.offset_grows) == (0.5, "")
    own = 'mark_line_mm = 0.8\nviewed_from = "cover side"\noffset_grows = "clockwise"\n'
    family = read_family(edited(('inner = ["n1"]\n', f'inner = ["n1"]\n{own}')).encode(), "f.toml")
    assert (family.mark_line_mm, family.viewed_from) == (0.8, "cover side")
    assert family.offset_grows == "clockwise"


def test_a_turning_direction_needs_its_side() -> None:
    told = sentences(edited(('inner = ["n1"]', 'inner = ["n1"]\noffset_grows = "clockwise"')))
    assert told == [
        "f.toml, line 6: tells a turning direction, but not from which side it is seen; give "
        "'viewed_from' too."
    ]


@pytest.mark.parametrize("name", ["f.toml", "F.TOML", "family", "standard input"])
def test_toml_is_told_by_its_ending_or_its_first_line(name: str) -> None:
    assert read_family(b"# a remark\n\n" + GOOD.encode(), name).name == "invented"


# Each edit makes one mistake.
ONE_MISTAKE = [
    # keys
    (('[limits]\nclosed_at_most = "5 ohm"', '[limit]\nclosed_at_most = "5 ohm"'), [
        "line 7: 'limit' is no key here; did you mean 'limits'?"]),
    (("closed_at_most =", "closed_at_mst ="), [
        "line 8: 'closed_at_mst' is no key here; did you mean 'closed_at_most'?"]),
    (('value = "390 ohm"', 'value = "390 ohm"\nwatt = 5'), [
        "line 39: 'watt' is no key here; known are between, value, kind."]),
    (('name = "invented"\n', ""), [": has no 'name', which it needs."]),
    (('pair = "A-case"\n', ""), ["line 20: has no 'pair', which it needs."]),
    (('kind = "resistor"\n', ""), ["line 35: has no 'kind', which it needs."]),
    (('kind = "resistor"', 'kind = "spool"'), [
        "line 36: 'kind' needs 'contact', 'resistor', 'coil' or 'wire'; found 'spool'."]),
    (('value = "390 ohm"\n', ""), ["line 35: has no 'value', which it needs."]),
    # values of another kind than is needed
    (('"invented"', "5"), ["line 1: 'name' needs text in quotes, at most 200 letters; found 5."]),
    (('"invented"', '""'), [
        "line 1: 'name' needs text in quotes, at most 200 letters; found none."]),
    (('"D"]\npins', "4]\npins"), [
        "line 2: item 4 of 'positions' needs text in quotes, at most 200 letters; found 4."]),
    (('["P", "R", "N", "D"]', '"PRND"'), [
        "line 2: 'positions' needs a list in [ ], at least 1 long and at most 60 long "
        "(in lever order; left out for a part without a lever); found 'PRND'."]),
    (("[1, 2]", "[1]"), ["line 3: 'place' needs a list in [ ] of 2; found a list of 1."]),
    (("[1, 2]", "[0, 2]"), [
        "line 3: item 1 of 'place' needs a whole number, at least 1 and at most 1000; found 0."]),
    (("[1, 2]", "[1.5, 2]"), [
        "line 3: item 1 of 'place' needs a whole number, at least 1 and at most 1000; found 1.5."]),
    (('name = "B"', 'nam = "B"'), [
        "line 3: 'nam' is no key here; did you mean 'name'?",
        "line 3: has no 'name', which it needs."]),
    (('"390 ohm"\n', "390\n"), [
        "line 38: 'value' needs text in quotes (a resistance, as '390 ohm', '3.3 kohm' or 'open'); "
        "found 390."]),
    (("[[-5, 5]]", "[-5, 5]"), [
        "line 26: item 1 of 'dwells_deg' needs a list in [ ] of 2 ([from, to], in degrees); "
        "found -5.",
        "line 26: item 2 of 'dwells_deg' needs a list in [ ] of 2 ([from, to], in degrees); "
        "found 5."]),
    (("[[-5, 5]]", "[]"), [
        "line 26: 'dwells_deg' needs a list in [ ], at least 1 long and at most 100 long; "
        "found a list of 0."]),
    (('P = "10"', "P = 10"), [
        "line 41: 'P' needs text in quotes (digits 0 and 1); found 10."]),
    (('P = "10"', 'P = "1x"'), [
        "line 41: 'P' needs text in quotes (digits 0 and 1); found '1x'."]),
    (('P = "10"', 'P = "1\\n"'), [
        "line 41: 'P' needs text in quotes (digits 0 and 1); found '1'."]),
    (('["11"]', '"11"'), ["line 42: 'transit' needs a list in [ ]; found '11'."]),
    (('[limits]\nclosed_at_most = "5 ohm"', "limits = true"), [
        "line 7: 'limits' needs a table; found true."]),
    # names
    (('["P", "R", "N", "D"]', '["P", "R", "N", "P", "D"]'), [
        "line 2: names 'P' again; name it once.",
        "line 13: has 4 expectations for 5 positions; give every position one.",
        "line 18: has 4 expectations for 5 positions; give every position one.",
        "line 4: gives 4 angles for 5 positions; give every position one."]),
    (('["A", {', '["A", "A", {'), ["line 3: names 'A' again; name it once."]),
    (('["A", {', '["A", "Case", {'), [
        "line 3: 'Case' is the housing's own name; name the pin otherwise."]),
    (('["A", {', '["A", "C-1", {'), [
        "line 3: 'C-1' has in it what parts the pins of a pair; use letters and digits only."]),
    (('["A", {', '["A", "#1", {'), [
        "line 3: '#1' begins with #, which marks a comment; begin it otherwise."]),
    (('["n1"]', '["n1", "A"]'), [
        "line 5: 'A' is a pin; name the inner node otherwise."]),
    (('"invented"', '"in\\u001b[31mvented"'), [
        "line 1: has characters that do not print; type the name again."]),
    # chart
    (('pair = "A-E"', 'pair = "A-Z"'), [
        "line 11: 'Z' is no pin of this family; known are A, B, E, case."]),
    (('pair = "A-E"', 'pair = "A-A"'), [
        "line 11: 'A-A' names one pin twice; a pair is two different pins."]),
    (('pair = "A-E"', 'pair = "A-E-B"'), [
        "line 11: 'A-E-B' is not a pair of pins; type two pins such as A-B."]),
    (('pair = "A-E"', 'pair = "A"'), [
        "line 11: 'pair' needs text in quotes (two pins or nodes, as 'A-B'); found 'A'."]),
    (('"closed", "open", "open", "open"]', '"closed", "open", "open"]'), [
        "line 13: has 3 expectations for 4 positions; give every position one."]),
    (('"closed", "open", "open", "open"]', '"closed",\n"open",\n"opn",\n"1"]'), [
        "line 15: 'opn' is no expectation; type closed, open, any, or ohms such as '390 ohm', "
        "'390 ohm ±5%' or '3.3 kohm 3.1..3.5'.",
        "line 16: '1' could be a mark or a number; type closed, open, or '1 ohm'."]),
    (('"A-E"\nrole = "range bit"', '"A-E"\nrole = "rnge bit"'), [
        "line 12: 'rnge bit' is no role; did you mean 'range bit'? Or leave it empty."]),
    # angles, limits
    (("[0, 20.5, 40, 60]", "[0, 40, 20.5, 60]"), [
        "line 4: does not rise from position to position; list positions in lever order."]),
    (("[0, 20.5, 40, 60]", "[0, 20.5, 20.5, 60]"), [
        "line 4: does not rise from position to position; list positions in lever order."]),
    (("[0, 20.5, 40, 60]", "[0, 20.5, 40]"), [
        "line 4: gives 3 angles for 4 positions; give every position one."]),
    (('"5 ohm"', '"five"'), [
        "line 8: 'five' is no resistance; type such as 390, 0.3, 1.2k or 3.3 kohm."]),
    (('"5 ohm"', '"0"'), ["line 8: '0' is not above zero; give a small resistance."]),
    # branches
    (('"B-n1"', '"B-n2"'), [
        "line 30: 'n2' is no pin or inner node of this family; known are A, B, E, n1, case."]),
    (("[[-5, 5]]", "[[5, -5]]"), [
        "line 26: has a dwell from 5 to -5; put the lower angle first."]),
    (("[[-5, 5]]", "[\n[-5, 5],\n[30, 30],\n]"), [
        "line 28: has a dwell from 30 to 30; put the lower angle first."]),
    (("dwells_deg = [[-5, 5]]\n", ""), [
        "line 23: needs 'dwells_deg' or 'closed_in', and not both."]),
    (("dwells_deg = [[-5, 5]]", 'dwells_deg = [[-5, 5]]\nclosed_in = ["P"]'), [
        "line 23: needs 'dwells_deg' or 'closed_in', and not both."]),
    (("detents_deg = [0, 20.5, 40, 60]\n", ""), [
        "line 25: gives dwells in degrees, but the file has no 'detents_deg'; "
        "give that too, or 'closed_in' here."]),
    (('["R", "D"]', '["R", "Drive"]'), [
        "line 31: 'Drive' is no position of this family; known are P, R, N, D."]),
    (('"30 mohm"', '"30 Mohm"'), [
        "line 32: is a contact no better closed than open; swap the two."]),
    (('value = "390 ohm"', 'value = "open"'), [
        "line 38: is a resistor that is open; leave it out."]),
    (('value = "390 ohm"', 'value = "-390"'), [
        "line 38: '-390' is not above zero; give a small resistance."]),
    # range code
    (('P = "10"', 'P = "1"'), [
        "line 41: gives the word '1' for 2 rows with the role 'range bit'; "
        "a word has one digit a row."]),
    (('["11"]', '["11", "1"]'), [
        "line 42: gives the word '1' for 2 rows with the role 'range bit'; "
        "a word has one digit a row."]),
    (('P = "10"', 'Q = "10", P = "10"'), [
        "line 41: 'Q' is no position of this family; known are P, R, N, D."]),
    (('P = "10"', 'p = "10", P = "10"'), ["line 41: gives P a second word; keep one."]),
    (('P = "10", ', ""), ["line 41: gives P no word; give it one."]),
]  # fmt: skip


@pytest.mark.parametrize(("edit", "told"), ONE_MISTAKE, ids=lambda case: case[-1][:50])
def test_a_mistake_is_told_in_one_sentence_with_its_line(
    edit: tuple[str, str], told: list[str]
) -> None:
    expected = [f"f.toml{line if line[0] == ':' else f', {line}'}" for line in told]
    assert sorted(sentences(edited(edit))) == sorted(expected)


def test_mistakes_are_told_all_at_once_in_file_order() -> None:
    text = edited(
        ('pair = "A-E"', 'pair = "A-Z"'),
        ('"E to B"\nrole = "range bit"', '"E to B"\nrole = "bitts"'),
        ("[[-5, 5]]", "[[5, -5]]"),
        ('["R", "D"]', '["R", "3"]'),
        ("20.5, 40", "40, 20.5"),
        ('"5 ohm"', '"1,200 ohm"'),
    )
    lines = [line.split(":")[0] for line in sentences(text)]
    assert lines == [f"f.toml, line {number}" for number in (4, 8, 11, 17, 26, 31)]


def test_mistakes_of_shape_are_told_all_at_once() -> None:
    text = edited(
        ('name = "invented"', "name = []"),
        ('pair = "A-case"', 'pear = "A-case"'),
        ('"5 ohm"', "5"),
        ("[[-5, 5]]", "[[-5, nan]]"),
    )
    places = [line.split(":")[0] for line in sentences(text)]
    assert places == [f"f.toml, line {number}" for number in (1, 8, 20, 21, 26)]


def test_a_code_without_range_bits_is_told_once() -> None:
    text = GOOD.replace('role = "range bit"\n', "")
    assert sentences(text) == [
        "f.toml, line 38: stands without a chart row whose role is 'range bit'; "
        "give the rows their roles."
    ]


def test_a_row_without_expectations_needs_branches() -> None:
    text = GOOD.split("[[branches]]")[0]
    assert sentences(text) == [
        "f.toml, line 20: has no 'expect', and there are no branches to compute it from; "
        "give every position an expectation."
    ]


NUMBERS = ["nan", "-nan", "inf", "-inf", "1e999", "-1e999", "1" + "0" * 400, "-1" + "0" * 400]


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize(
    "edit",
    [
        ("20.5, 40", "{}, 40"),
        ("[[-5, 5]]", "[[{}, 5]]"),
        ("[[-5, 5]]", "[[-5, {}]]"),
        ('inner = ["n1"]', 'inner = ["n1"]\nmark_radius_mm = {}'),
        ('closed_at_most = "5 ohm"', "tolerance_percent = {}"),
        ("[1, 2]", "[1, {}]"),
    ],
)
def test_no_number_may_be_unbounded_or_no_number(edit: tuple[str, str], number: str) -> None:
    (sentence,) = sentences(edited((edit[0], edit[1].format(number))))
    assert "number" in sentence
    assert "; found " in sentence


@pytest.mark.parametrize("text", ["nan", "inf ohm", "1e999", "1e-300", "9" * 5000, "-1", "0"])
@pytest.mark.parametrize("key", ['closed = "30 mohm"', 'value = "390 ohm"', '"5 ohm"'])
def test_no_resistance_may_be_unbounded_or_no_number(key: str, text: str) -> None:
    old = key[key.index('"') :]
    (sentence,) = sentences(edited((f"{old}\n", f'"{text}"\n')))
    assert sentence.startswith("f.toml, line ")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('name = "x"\nname = "y"\n', "line 2: is no TOML: a key or table stands twice."),
        ("[a]\n[a]", "line 2: is no TOML: a key or table stands twice."),
        ("a = { b = 1, b = 2 }", "line 1: is no TOML: a key or table stands twice."),
        ("\nname = x", "line 2: is no TOML: a value is text in quotes, a number, true, false, "
         "a [list] or a {table}."),
        ('name = "x\npins = []', "line 1: is no TOML: a quote is opened and not closed."),
        ("name = 'x\npins = []", "end of file: is no TOML: a quote is opened and not closed."),
        ('a = 1\nname = "x', "end of file: is no TOML: a quote is opened and not closed."),
        ('a = 1\nname = """x\n\n', "end of file: is no TOML: a quote is opened and not closed."),
        ("a = [1, 2", "end of file: is no TOML: a bracket is opened and not closed."),
        ("[a\nb = 1", "line 1: is no TOML: a bracket is opened and not closed."),
        ("name\n", "line 1: is no TOML: a key needs = and a value after it."),
        ("= 5\n", "line 1: is no TOML: a line begins with a key, [table] or #."),
        ("a = 1 b = 2", "line 1: is no TOML: only a comment may follow a value on its line."),
        ('a = "\\q"', "line 1: is no TOML: a \\ in quotes is doubled, or the quotes are single "
         "ones."),
        ('a = "\x07"', "line 1: is no TOML: a character does not print; type the line again."),
        ("a = 2026-02-30", "line 1: is no TOML: a date is written as 2001-02-03."),
        ("a = " + "[" * 5000, "line 1: is nested more than 24 deep."),
        ("a = " + "{a=" * 5000, "line 1: is nested more than 24 deep."),
        ("a = 1" + "0" * 5000, ": is no TOML: a number is far too long."),
    ],
    ids=lambda case: case[:20],
)  # fmt: skip
def test_a_slip_in_the_toml_itself_is_told_in_plain_words(text: str, told: str) -> None:
    assert sentences(text) == [f"f.toml{told if told[0] == ':' else f', {told}'}"]


def test_deep_nesting_that_toml_bears_is_only_out_of_shape() -> None:
    deep = f"note = {'[' * 24}{']' * 24}\n"
    assert sentences(deep + GOOD) == [
        "f.toml, line 1: 'note' needs text in quotes; found a list of 1."
    ]


@pytest.mark.parametrize("text", ["", "\n", "# only a remark\n"])
def test_an_empty_file_lacks_everything_it_needs(text: str) -> None:
    assert sentences(text) == [
        f"f.toml: has no '{key}', which it needs." for key in ("name", "pins", "chart")
    ]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b'name = "\xff"', "line 1: is not UTF-8 text; save it again as UTF-8 "
         "(in a spreadsheet: 'CSV UTF-8')."),
        (b'a = 1\nb = "\xe4"', "line 2: is not UTF-8 text; save it again as UTF-8 "
         "(in a spreadsheet: 'CSV UTF-8')."),
        (b"a = 1\n\n\0", "line 3: is not text; bring a TOML, CSV or XLSX file."),
    ],
)  # fmt: skip
def test_bytes_that_are_no_text_are_told_with_their_line(data: bytes, told: str) -> None:
    assert sentences(data) == [f"f.toml, {told}"]


def test_hostile_text_never_reaches_the_terminal() -> None:
    (sentence,) = sentences(edited(('pair = "A-E"', 'pair = "A-\\u001b[2J\\u0007Z"')))
    assert sentence.isprintable()
    assert sentence.startswith("f.toml, line 11: ")
