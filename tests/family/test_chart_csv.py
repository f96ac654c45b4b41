"""Charts typed as CSV, as spreadsheets and careless hands leave them."""

import pytest

from benchproof.family.model import Family, Role, pair_text
from benchproof.family.problems import BadFile
from benchproof.network.files import read_family

PLAIN = """\
pins,P,R,N
A-B,closed,open,3.3 kohm
B-C,open,any,390 ohm ±5%
"""


def read(text: str | bytes, file: str = "chart.csv") -> Family:
    return read_family(text.encode() if isinstance(text, str) else text, file)


def cells(family: Family) -> list[list[str]]:
    return [
        [pair_text(row.pair), *(str(expectation) for expectation in row.expect)]
        for row in family.chart
    ]


def sentences(text: str | bytes) -> list[str]:
    with pytest.raises(BadFile) as refused:
        read(text)
    return str(refused.value).splitlines()


AS_TYPED = [["A-B", "closed", "open", "3.3 kohm"], ["B-C", "open", "any", "390 ohm ±5%"]]


@pytest.mark.parametrize(
    "text",
    {
        "comma": PLAIN,
        "semicolon": PLAIN.replace(",", ";"),
        "tab": PLAIN.replace(",", "\t"),
        "aligned with blanks": PLAIN.replace(",", ",   "),
        "byte order mark": "\ufeff" + PLAIN,
        "windows line ends": PLAIN.replace("\n", "\r\n"),
        "old line ends": PLAIN.replace("\n", "\r"),
        "no last line end": PLAIN.rstrip(),
        "blank rows": "\n\n" + PLAIN.replace("\n", "\n\n ,,\n"),
        "trailing empty columns": PLAIN.replace("\n", ",,,\n"),
        "remarks": "# invented\n#\n" + PLAIN.replace("\nB", "\n# a, b, c, d, e, f, g\nB"),
        "all cells quoted": "\n".join(
            ",".join(f'"{cell}"' for cell in line.split(",")) for line in PLAIN.splitlines()
        ),
    }.items(),
    ids=lambda case: case[0],
)
def test_one_chart_in_every_dress(text: tuple[str, str]) -> None:
    family = read(text[1])
    assert family.positions == ("P", "R", "N")
    assert cells(family) == AS_TYPED


@pytest.mark.parametrize("remark", ["# made up, not measured, ever", '"# made up, not measured"'])
def test_a_remark_does_not_settle_what_parts_the_cells(remark: str) -> None:
    assert cells(read(f"{remark}\n{PLAIN.replace(',', ';')}")) == AS_TYPED


def test_a_decimal_comma_needs_quotes_only_between_commas() -> None:
    quoted = read('pins,P,R\nA-B,closed,"3,3 kohm"\n')
    semicolon = read("pins;P;R\nA-B;closed;3,3 kohm\n")
    spaced = read('pins, P,      R\nA-B,  closed, "3,3 kohm"\n')
    expected = [["A-B", "closed", "3,3 kohm"]]
    assert cells(quoted) == cells(semicolon) == cells(spaced) == expected
    assert quoted.chart[0].expect[1].nominal_ohm == 3300.0
    assert sentences("pins,P,R\nA-B,closed,3,3 kohm\n") == [
        "chart.csv, line 2 column 4: '3 kohm' stands right of the last heading; "
        "a cell with a comma in it needs quotes."
    ]


@pytest.mark.parametrize(
    "text",
    [
        "pins,P,R,role\nA-B,closed,open,Start-Permit\nB-C,open,open,\n",
        "pins,P,R,role,note\nA-B,closed,open,start,hello\nB-C,open,open,,\n",
        "pins,P,R,Note,ROLE\nA-B,closed,open,hello,start permit\nB-C,open,open\n",
        "pins,P,R,remark,role,notes,,\nA-B,closed,open,a,start permit,b,,\nB-C,open,open,,,,,\n",
    ],
)
def test_roles_and_notes_stand_right_of_the_positions(text: str) -> None:
    family = read(text)
    assert family.positions == ("P", "R")
    assert [row.role for row in family.chart] == [Role.START_PERMIT, Role.UNTOLD]


def test_notes_need_no_role_column() -> None:
    assert cells(read("pins,P,R,note\nA-B,closed,open,new part\n")) == [["A-B", "closed", "open"]]


def test_pins_are_those_of_the_pairs_and_the_case_is_none_of_them() -> None:
    family = read("pins,P\nA to B,closed\nC/A,open\nB–Case,open\ncase-A,open\n")
    assert family.pin_names == ("A", "B", "C")
    assert [row.pair for row in family.chart] == [
        ("A", "B"), ("C", "A"), ("B", "case"), ("case", "A"),
    ]  # fmt: skip


def test_what_a_table_cannot_say_is_the_usual() -> None:
    family = read("pins,Park,R,Neutral,D\n1-2,closed,open,open,open\n", "folder/my chart.csv")
    assert family.name == "my chart"
    assert (family.park, family.reverse, family.neutral) == (("Park",), ("R",), ("Neutral",))
    assert family.limits.closed_at_most_ohm == 2.0
    assert family.detents_deg is None
    assert family.branches == ()


def test_a_row_knows_its_line_behind_remarks_and_blank_lines() -> None:
    assert [row.place for row in read("# a\n\n" + PLAIN).chart] == [
        "line 4 column 1",
        "line 5 column 1",
    ]


def test_a_row_knows_its_line_behind_a_cell_of_two_lines() -> None:
    text = 'pins,P,note\nA-B,closed,"one\ntwo"\nB-C,open,\n'
    assert [row.place for row in read(text).chart] == ["line 2 column 1", "line 4 column 1"]


RIGHT = "type closed, open, any, or ohms such as '390 ohm', '390 ohm ±5%' or '3.3 kohm 3.1..3.5'"
NO_CHART = (
    "starts no chart; type 'pins, P, R, N, ...' in the first row, or 'pins, expect' for a part "
    "without a lever."
)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", [": is empty; a table needs a first row and rows below it."]),
        (" \n,,\n# a\n", [": is empty; a table needs a first row and rows below it."]),
        ("pins,P,R\n", [": has positions but no pairs below them; type one row per pair."]),
        ("pins\nA-B\n", [f"line 1 column 1: {NO_CHART}"]),
        ("A-B,closed,open\nB-C,open,closed\n", [f"line 1 column 1: {NO_CHART}"]),
        ("pins|P|R\nA-B|closed|open\n", [f"line 1 column 1: {NO_CHART}"]),
        ("pins,role\nA-B,other\n", [f"line 1 column 1: {NO_CHART}"]),
        ("pins,P,,R\nA-B,open,open,open\n", ["line 1 column 3: is empty; give it a name."]),
        ("pins,P,P\nA-B,open,open\n", [
            "line 1 column 3: names position P again, as line 1 column 2 does; name it once."]),
        ("pins,#1\nA-B,open\n", [
            "line 1 column 2: '#1' begins with #, which marks a comment; begin it otherwise."]),
        ("pins,P\x1b[31m\nA-B,open\n", [
            "line 1 column 2: 'P [31m' has blanks around it or characters that do not print; "
            "type it again."]),
        ("pins" + ",P" * 200 + "\nA-B\n", [
            "line 1: has more than 200 columns; delete what is no table."]),
        ("pins," + ",".join(f"q{n}" for n in range(61)) + "\nA-B,open\n", [
            "line 1 column 1: begins more than 60 positions; is it a chart?"]),
        ("pins,P,R\nA-B,open\n", [
            "line 2 column 2: ends the row early: 1 expectations for 2 positions; "
            "give every position one."]),
        ("pins,P,R\nA-B,open,\n", [f"line 2 column 3: is empty; {RIGHT}."]),
        ("pins,P,R\nA-B,opn,open\n", [f"line 2 column 2: 'opn' is no expectation; {RIGHT}."]),
        ("pins,P,R\nA-B,1,0\n", [
            "line 2 column 2: '1' could be a mark or a number; type closed, open, or '1 ohm'.",
            "line 2 column 3: '0' is zero ohms; type closed."]),
        ("pins,P\n,open\n", [
            "line 2 column 1: is not a pair of pins; type two pins such as A-B."]),
        ("pins,P\nA,open\n", [
            "line 2 column 1: 'A' is not a pair of pins; type two pins such as A-B."]),
        ("pins,P\nA-A,open\n", [
            "line 2 column 1: 'A-A' names one pin twice; a pair is two different pins."]),
        ("pins,P\n02-Jan,open\n", [
            "line 2 column 1: '02-Jan' is a date that a spreadsheet made of two pins; "
            "format the column as text and type it again, such as '1 to 2'."]),
        ("pins,P,role\nA-B,open,strt permit\n", [
            "line 2 column 3: 'strt permit' is no role; did you mean 'start permit'? "
            "Or leave it empty."]),
        ("pins,P,role\nA-B,open,start,hello\n", [
            "line 2 column 4: 'hello' stands right of the last heading; "
            "a cell with a comma in it needs quotes."]),
        ('pins,P,R\nA-B,"open,open\nB-C,open,open\n', [
            "line 2: has a quote without its partner; quote whole cells, and double quotes in "
            "them."]),
        ('pins,P,R\nA-B,open,open\nB-C,"op"en,open\n', [
            "line 3: has a quote without its partner; quote whole cells, and double quotes in "
            "them."]),
        (f"pins,P,R\nA-B,open,{'x' * 140_000}\n", [
            "line 2: has a cell far too long; is it the right file?"]),
        (f"pins,P,R\nA-B,open,{'x' * 200_000}\n", [
            "line 2: is a line of more than 150,000 letters; is it the right file?"]),
        ("pins,P\nA-B,\0\n", ["line 2: is not text; bring a TOML, CSV or XLSX file."]),
        (b"pins,P\nA-B,390 \xb15%\n", [
            "line 2: is not UTF-8 text; save it again as UTF-8 (in a spreadsheet: 'CSV UTF-8')."]),
        ("pins,P\nA-B,open\n".encode("utf-16"), [
            "line 1: is not UTF-8 text; save it again as UTF-8 (in a spreadsheet: 'CSV UTF-8')."]),
        ("pins,P\n" + "A-B,open\n" * 20_001, [
            ": has more than 20,000 rows; is it the right file?"]),
        ("pins,P\n" + "A-B,open\n" * 2_001, [": has more than 2000 pairs; is it a chart?"]),
        ("pins,P\n" + "".join(f"a{n}-b{n},open\n" for n in range(101)), [
            ": names more than 200 pins; is it a chart?"]),
    ],
    ids=lambda case: repr(case)[:40],
)  # fmt: skip
def test_a_mistake_is_told_in_one_sentence_with_its_cell(
    text: str | bytes, told: list[str]
) -> None:
    assert sentences(text) == [f"chart.csv{t if t[0] == ':' else f', {t}'}" for t in told]


def test_mistakes_are_told_all_at_once_in_file_order() -> None:
    text = "pins,P,R,role\nA-B,opn,open,\nC-C,open,open,\nA-D,open,1,strt\nA-E,open\n"
    assert [line.split(":")[0] for line in sentences(text)] == [
        "chart.csv, line 2 column 2",
        "chart.csv, line 3 column 1",
        "chart.csv, line 4 column 3",
        "chart.csv, line 4 column 4",
        "chart.csv, line 5 column 2",
    ]


def test_hostile_cells_never_reach_the_terminal() -> None:
    (sentence,) = sentences("pins,P\nA-B,\x1b[2J\x07\x9b5n\n")
    assert sentence.isprintable()
