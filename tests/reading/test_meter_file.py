"""Meter files: what is read, and every mistake with its line."""

from math import inf, nextafter

import pytest

from benchproof.family.problems import BadFile
from benchproof.reading.meter import Leads, Meter, Range
from benchproof.reading.meterfile import read_meter
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_meter

GOOD = """\
name = "invented"
note = "made up"
autorange = false

[leads]
resistance = "0.3 ohm"
nulled = false
within = "50 mohm"

[ambient]
from_c = 15
to_c = 30.5
percent_per_kelvin = 0.1

[marks]
" 0 " = "closed"
"1" = "open"

[[ranges]]
top = "400 ohm"
step = "0.1 ohm"
percent = 1
counts = 3

[[ranges]]
top = "4k"
step = "1"
percent = 0.5
counts = 2.5
"""


def edited(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


def sentences(text: str) -> list[str]:
    with pytest.raises(BadFile) as refused:
        read_meter(text.encode(), "m.toml")
    return str(refused.value).splitlines()


def test_a_meter_file_is_read_whole() -> None:
    assert read_meter(GOOD.encode(), "m.toml") == Meter(
        name="invented",
        ranges=(Range(400.0, 0.1, 1.0, 3.0), Range(4000.0, 1.0, 0.5, 2.5)),
        leads=Leads(0.3, nulled=False, limit_ohm=0.05),
        autorange=False,
        calm_c=(15.0, 30.5),
        percent_per_kelvin=0.1,
        marks={"0": "closed", "1": "open"},
        note="made up",
    )


def test_what_is_left_out_is_the_usual() -> None:
    text = 'name = "m"\nranges = [{ top = "400 ohm", step = "0.1", percent = 1, counts = 3 }]\n'
    assert read_meter(text.encode(), "m.toml") == Meter("m", (Range(400.0, 0.1, 1.0, 3.0),))


@pytest.mark.parametrize("name", shipped("meters"))
def test_the_meters_that_come_along_are_read_and_say_they_are_invented(name: str) -> None:
    meter = shipped_meter(name)
    assert "Invented" in meter.note
    assert meter.top_ohm >= 20e6


@pytest.mark.parametrize("exponent", range(-6, 9))
def test_a_step_is_any_power_of_ten(exponent: int) -> None:
    text = edited('"0.1 ohm"', f'"1e{exponent}"').replace('"400 ohm"', '"1e9"')
    meter = read_meter(text.replace('"4k"', '"2e9"').encode(), "m.toml")
    assert meter.ranges[0].step_ohm == float(f"1e{exponent}")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('name = "invented"\n', "", ": has no 'name', which it needs."),
        ("autorange", "autoranging", "line 3: 'autoranging' is no key here; did you mean "
         "'autorange'?"),
        ("autorange = false", 'autorange = "no"', "line 3: 'autorange' needs true or false; found "
         "'no'."),
        ("nulled = false", "nuled = false", "line 7: 'nuled' is no key here; did you mean "
         "'nulled'?"),
        ('"0.3 ohm"', "0.3", "line 6: 'resistance' needs text in quotes (a resistance, as "
         "'390 ohm', '3.3 kohm' or 'open'); found 0.3."),
        ('"0.3 ohm"', '"-0.3 ohm"', "line 6: '-0.3 ohm' is below zero; ohms are never that."),
        ('"50 mohm"', '"little"', "line 8: 'little' is no resistance; type such as 390, 0.3, 1.2k "
         "or 3.3 kohm."),
        ("from_c = 15", "from_c = nan", "line 11: 'from_c' needs a number, at least -100 and at "
         "most 100; found nan."),
        ("to_c = 30.5", "to_c = inf", "line 12: 'to_c' needs a number, at least -100 and at most "
         "100; found inf."),
        ("from_c = 15", "from_c = 31", "line 11: has 'from_c' not below 'to_c'; give the lower one "
         "first."),
        ('"closed"', '"shut"', "line 16: ' 0 ' needs 'closed' or 'open'; found 'shut'."),
        ('"400 ohm"', '"open"', "line 20: 'open' is no resistance; type such as 390, 0.3, 1.2k or "
         "3.3 kohm."),
        ('"0.1 ohm"', '"0.2 ohm"', "line 21: has a step that is no power of ten; give one count, "
         "such as '0.1 ohm'."),
        ('"0.1 ohm"', '"0"', "line 21: has a step that is not between zero and the range's top; "
         "check both."),
        ('"0.1 ohm"', '"1k"', "line 21: has a step that is not between zero and the range's top; "
         "check both."),
        ("percent = 1\n", "percent = -1\n", "line 22: 'percent' needs a number, at least 0 and at "
         "most 100; found -1."),
        ("percent = 1\n", "percent = nan\n", "line 22: 'percent' needs a number, at least 0 and "
         "at most 100; found nan."),
        ("counts = 3", "counts = inf", "line 23: 'counts' needs a number, at least 0 and at most "
         "1000; found inf."),
        ("counts = 3\n", "", "line 19: has no 'counts', which it needs."),
        ('"4k"', '"400 ohm"', "line 26: has a range no higher than the one before it; list them "
         "rising."),
    ],
    ids=lambda case: case[:40],
)  # fmt: skip
def test_a_mistake_is_told_in_one_sentence_with_its_line(old: str, new: str, told: str) -> None:
    told = told.replace("' 0 '", "'0'")
    assert sentences(edited(old, new)) == [f"m.toml{told if told[0] == ':' else f', {told}'}"]


def test_mistakes_are_told_all_at_once_in_file_order() -> None:
    text = GOOD.replace('"0.3 ohm"', '"x"').replace('"0.1 ohm"', '"3"').replace('"4k"', '"4"')
    assert [line.split(":")[0] for line in sentences(text)] == [
        "m.toml, line 6", "m.toml, line 21", "m.toml, line 26",
    ]  # fmt: skip


def test_a_meter_without_ranges_is_none() -> None:
    assert sentences('name = "m"\nranges = []\n') == [
        "m.toml, line 2: 'ranges' needs a list in [ ], at least 1 long and at most 50 long; "
        "found a list of 0."
    ]


def test_a_reading_is_of_the_narrowest_range_that_holds_it() -> None:
    meter = read_meter(GOOD.encode(), "m.toml")
    assert meter.range_for(400.0) is meter.ranges[0]
    assert meter.range_for(nextafter(400.0, inf)) is meter.ranges[1]
    assert meter.range_for(1e9) is meter.ranges[-1]


def test_over_range_says_less_where_the_range_was_chosen_by_hand() -> None:
    chosen = read_meter(GOOD.encode(), "m.toml")
    auto = read_meter(GOOD.replace("autorange = false", "").encode(), "m.toml")
    assert (chosen.over_range_ohm, auto.over_range_ohm) == (400.0, 4000.0)
