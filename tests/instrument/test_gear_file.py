"""Gear files: those that come along, and mistakes in them."""

import json
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.problems import BadFile
from benchproof.instrument.dialect import Dialect, read_dialect
from benchproof.instrument.gearfile import (
    BenchGear,
    ScpiMeterGear,
    SigrokGear,
    read_gear,
    simulated_gear,
)
from benchproof.shipped import contents
from benchproof.shipped.contents import shipped, shipped_bytes

Spoil = Callable[[bytes], st.SearchStrategy[bytes]]
GEARS = {f"{name}.toml": shipped_bytes("gears", name) for name in shipped("gears")}
DIALECTS = {
    f"{name}.toml": shipped_bytes(contents.DIALECTS, name) for name in shipped(contents.DIALECTS)
}
GOOD = """name = "bench"
[meter]
kind = "scpi"
resource = "TCPIP0::127.0.0.1::5025::SOCKET"
range = "1 kohm"
[selector]
kind = "scpi"
resource = "TCPIP0::127.0.0.1::5026::SOCKET"
[selector.channels]
"A-E" = ["101"]
"B-E" = ["102", "103"]
"""


def test_those_that_come_along() -> None:
    assert len(GEARS) >= 5
    for name, data in GEARS.items():
        gear = read_gear(data, name)
        assert "Invented" in gear.note
        if isinstance(gear.meter, ScpiMeterGear):
            assert f"{gear.meter.address.dialect}.toml" in DIALECTS


def test_a_good_one() -> None:
    gear = read_gear(GOOD.encode(), "gear.toml")
    assert isinstance(gear.meter, ScpiMeterGear)
    assert gear.meter.range_ohm == 1000.0
    assert gear.selector is not None
    assert gear.selector.channels == {
        frozenset("AE"): ("101",),
        frozenset("BE"): ("102", "103"),
    }
    assert gear.lever is None


def test_the_simulated_benchs_own_comes_back() -> None:
    gear = read_gear(simulated_gear("here", {"101": ("A", 'x"y')}).encode(), "gear.toml")
    assert gear.selector is not None
    assert gear.selector.channels == {frozenset(("A", 'x"y')): ("101",)}


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"B-E" = ["102", "103"]', '"B-E" = ["101", "103"]', "line 11: has channels that would"),
        ('"B-E" = ["102", "103"]', '"E-A" = ["102"]', "line 11: gives the pair 'E-A' twice"),
        ('["102", "103"]', '["x"]', "'x' is no channel"),
        ('["102", "103"]', "[]", "nothing is no channel"),
        ('["102", "103"]', '["102", "102"]', "names a channel twice"),
        ('"B-E"', '"B"', "'B'"),
        ('"B-E"', '"B-B"', "names one pin twice"),
        ('"A-E" = ["101"]\n"B-E" = ["102", "103"]\n', "", "has no 'channels'"),
        ('"1 kohm"', '"-1 kohm"', "has a range of nothing"),
        ('"1 kohm"', '"wide"', "no resistance"),
        ('kind = "scpi"', 'kind = "scpy"', "needs"),
        ('"TCPIP0::127.0.0.1::5025::SOCKET"', '"a\\nb"', "needs plain letters"),
        ('name = "bench"', 'name = "bench"\nlevr = 1', "did you mean 'lever'"),
        (
            "[selector]",
            '[lever]\nkind="scpi"\nresource="x"\nquery="LEV"\n[selector]',
            "no single q",
        ),
        (
            "[selector]",
            '[lever]\nkind="scpi"\nresource="x"\nmove="LEV?"\n[selector]',
            "no single command",
        ),
    ],
)
def test_a_mistake_gets_a_sentence(old: str, new: str, sentence: str) -> None:
    assert old in GOOD
    with pytest.raises(BadFile) as refused:
        read_gear(GOOD.replace(old, new, 1).encode(), "gear.toml")
    assert sentence in str(refused.value)


@given(st.data())
def test_no_bytes_make_anything_but_gear_or_a_bad_file(spoil: Spoil, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(GEARS)))
    try:
        found: object = read_gear(data.draw(spoil(GEARS[name])), name)
    except BadFile as error:
        found = error
    assert isinstance(found, BenchGear) or str(found).startswith(name)


@given(st.data())
def test_no_bytes_make_anything_but_a_dialect_or_a_bad_file(
    spoil: Spoil, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from(sorted(DIALECTS)))
    try:
        found: object = read_dialect(data.draw(spoil(DIALECTS[name])), name)
    except BadFile as error:
        found = error
    assert isinstance(found, Dialect) or str(found).startswith(name)


BRIDGED = 'name = "b"\n[meter]\nkind = "sigrok"\ndriver = {driver}\noptions = {options}\n'


def bridged(options: list[str], driver: str = "demo") -> bytes:
    # A list of JSON strings is one of TOML too.
    return BRIDGED.format(driver=json.dumps(driver), options=json.dumps(options)).encode()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--output-file", "/tmp/stolen"], "'--output-file', which is not handed on"),
        (["-o", "/tmp/stolen"], "'-o', which is not handed on"),
        (["--output-file=/tmp/stolen"], "which is not handed on"),
        (["-o/tmp/stolen"], "which is not handed on"),
        (["--config=samplerate=10"], "which is not handed on"),
        (["--input-file", "/etc/passwd"], "which is not handed on"),
        (["--channels", "A0", "-O", "srzip"], "'-O', which is not handed on"),
        (["--protocol-decoders", "x"], "which is not handed on"),
        (["A0"], "'A0', which is not handed on"),
        (["--config"], "has '' after --config, where NAME=VALUE of amplitude"),
        (["--config", "capturefile=/etc/passwd"], "'capturefile=/etc/passwd' after --config"),
        (["--config", "offset=1:sessionfile=x"], "'offset=1:sessionfile=x' after --config"),
        (["--config", "offset=/etc/passwd"], "after --config"),
        (["--channels", "--output-file"], "after --channels, where a name must stand"),
        (["--channel-group", "-o"], "after --channel-group"),
        (["--channels", "A0\n-o"], "after --channels"),
    ],
)
def test_only_named_options_reach_the_bridge_program(options: list[str], told: str) -> None:
    with pytest.raises(BadFile) as refused:
        read_gear(bridged(options), "gear.toml")
    (sentence,) = str(refused.value).splitlines()
    assert sentence.startswith("gear.toml, line 5: has ")
    assert told in sentence


@pytest.mark.parametrize(
    "driver", ["-o", "--output-file=x", "demo --output-file", "demo:file=x", "demo\n", "Demo;x", ""]
)
def test_a_driver_is_a_name_and_where_it_is_connected(driver: str) -> None:
    with pytest.raises(BadFile):
        read_gear(bridged([], driver), "gear.toml")


def test_what_a_meter_needs_is_handed_on() -> None:
    options = ["--config", "samplerate=10", "--channels", "P1,P2", "--channel-group", "A0",
               "--config", "channel_group=A0:measured_quantity=resistance:amplitude=0:offset=2.7",
               ]  # fmt: skip
    driver = "invented-meter:conn=/dev/ttyUSB0:serialcomm=9600/8n1"
    meter = read_gear(bridged(options, driver), "gear.toml").meter
    assert meter == SigrokGear(driver, tuple(options), 5.0)
