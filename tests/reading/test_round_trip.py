"""Readings written to a file and read back are the same readings."""

from decimal import Decimal

from hypothesis import example, given
from hypothesis import strategies as st

from benchproof.family.branches import CASE
from benchproof.network.files import read_family
from benchproof.reading.sheet import read_readings, write_readings
from benchproof.reading.value import Mark, Measured, OverRange, Reading, Value
from benchproof.shipped.read import shipped_meter

FAMILY = read_family(
    b'name = "odd"\n'
    b'positions = ["P", "D,4", "D \\"3\\"", "2;1", "d,4", "OL"]\n'
    b'pins = ["A", "a", "1", "\xc3\x84\'", "B"]\n'
    b'[[chart]]\npair = "A-a"\n'
    b'expect = ["any", "any", "any", "any", "any", "any"]\n',
    "odd.toml",
)
METERS = {name: shipped_meter(name) for name in ("depot-bench", "workshop-dial")}
TOP_OHM = 20e6
assert all(meter.top_ohm >= TOP_OHM for meter in METERS.values())


@st.composite
def measured(draw: st.DrawFn) -> Measured:
    exponent = draw(st.integers(-9, 7))
    count = draw(st.integers(0, int(Decimal(TOP_OHM).scaleb(-exponent))))
    return Measured(float(Decimal(count).scaleb(exponent)), float(Decimal(1).scaleb(exponent)))


VALUES: st.SearchStrategy[Value] = (
    st.sampled_from(Mark)
    | measured()
    | st.just(OverRange())
    | measured().filter(lambda value: value.ohm > 0.0).map(lambda value: OverRange(value.ohm))
)
# A file is text, so all but NUL and halves of a pair may stand in it; it is read back without
# blanks around it, and every end of line as one.
WORDS = st.text(
    st.characters(exclude_characters="\0\r", exclude_categories=["Cs"])
    | st.sampled_from("\"',;#\t\n =-+@"),
    max_size=12,
).map(str.strip)


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    at = draw(st.integers(0, len(FAMILY.positions) - 1))
    beside = [n for n in (at - 1, at + 1) if 0 <= n < len(FAMILY.positions)]
    lean = draw(st.sampled_from(["", *(FAMILY.positions[n] for n in beside)]))
    pins = draw(st.permutations([*FAMILY.pin_names, CASE]))
    return Reading(
        FAMILY.positions[at], (pins[0], pins[1]), draw(VALUES), draw(WORDS), draw(WORDS), lean
    )


SHEETS = st.lists(
    readings(),
    min_size=1,
    max_size=6,
    unique_by=lambda r: (r.position, frozenset(r.pair), r.time, r.lean),
)


@given(SHEETS, st.sampled_from(sorted(METERS)))
# On a dial a bare 1 is a mark.
@example([Reading("P", ("A", "a"), Measured(1.0, 1.0))], "workshop-dial")
@example([Reading("P", ("A", "a"), Measured(0.0, 1.0), "#", '"')], "workshop-dial")
def test_every_reading_comes_back_exactly(sheet: list[Reading], meter: str) -> None:
    text = write_readings(sheet)
    assert list(read_readings(text.encode(), "r.csv", FAMILY, METERS[meter])) == sheet


def test_carriage_returns_in_a_note_become_line_ends() -> None:
    sheet = [Reading("P", ("A", "a"), Mark.OPEN, note="one\rtwo\r\nthree")]
    back = read_readings(write_readings(sheet).encode(), "r.csv", FAMILY, METERS["depot-bench"])
    assert back[0].note == "one\ntwo\nthree"


def test_a_written_list_is_one_a_person_can_read() -> None:
    sheet = [
        Reading("P", ("A", "B"), Measured(0.3, 0.1), "08:15", "wiggled, twice"),
        Reading("P", ("A", "case"), OverRange(), lean="D,4"),
    ]
    assert write_readings(sheet).splitlines() == [
        "position,pin,pin,reading,unit,time,note,lean",
        'P,A,B,0.3 ohm,,08:15,"wiggled, twice",',
        'P,A,case,OL,,,,"D,4"',
    ]
