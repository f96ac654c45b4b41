"""The gear of a bench, from a TOML file: which meter, which selector, how to know the lever."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.family.model import Pair, pair_text, same_pair
from benchproof.family.names import named, split_pair
from benchproof.family.ohms import parse_ohms
from benchproof.family.sentence import quoted
from benchproof.family.tomlfile import Ohms, Text, TomlFile
from benchproof.instrument.bridgeoptions import wrong_driver, wrong_options
from benchproof.instrument.dialect import USUAL_DIALECT
from benchproof.instrument.meter import Wires
from benchproof.instrument.scpi import CHANNEL
from benchproof.instrument.selector import Channels

Timeout = Annotated[float, Meta(gt=0, le=600)]
Baud = Annotated[int, Meta(ge=300, le=4_000_000)]


class Carrier(StrEnum):
    """What carries the bytes."""

    VISA = "visa"
    BOARD = "board"
    """A serial port of a microcontroller board, which starts anew when it is opened."""


@dataclass(frozen=True)
class Address:
    """Where an instrument is and how to talk with it.

    Attributes
    ----------
    carrier : Carrier
        What carries the bytes.
    resource : str
        pyvisa's resource name, or the name of a serial port.
    dialect : str
        Name of a dialect that comes along, or a file.
    timeout_s : float
        How long to wait for a reply, seconds.
    baud : int
        Speed of a serial line.
    """

    carrier: Carrier
    resource: str
    dialect: str
    timeout_s: float
    baud: int


@dataclass(frozen=True)
class ScpiMeterGear:
    """A meter that speaks SCPI; `range_ohm` is None if it chooses its range by itself."""

    address: Address
    wires: Wires = 2
    range_ohm: float | None = None


@dataclass(frozen=True)
class SigrokGear:
    """A handheld meter that sigrok-cli reads."""

    driver: str
    options: tuple[str, ...]
    timeout_s: float


@dataclass(frozen=True)
class TypedGear:
    """A meter that types its reading, or a person who does; `unit` is that of a bare number."""

    unit: str
    timeout_s: float


@dataclass(frozen=True)
class SelectorGear:
    """A switch that speaks SCPI, with the channels of each pair."""

    address: Address
    channels: Channels
    settle_s: float


@dataclass(frozen=True)
class LeverGear:
    """A lever sensor; `replies` is empty if it replies the position's name.

    `move` is the command that moves the lever; empty if only a hand can.
    """

    address: Address
    query: str
    replies: Mapping[str, str]
    move: str = ""


MeterGear = ScpiMeterGear | SigrokGear | TypedGear


@dataclass(frozen=True)
class BenchGear:
    """The gear of one bench; None where a person sets the probes or moves the lever.

    `which` is which meter it is: a tag of the shop's gear, or a meter file; empty if not told.
    """

    name: str
    meter: MeterGear
    selector: SelectorGear | None
    lever: LeverGear | None
    note: str = ""
    which: str = ""


class AddressFile(Struct, forbid_unknown_fields=True):
    """An address."""

    resource: Text
    carrier: Literal["visa", "board"] = "visa"
    dialect: Text = USUAL_DIALECT
    timeout_s: Timeout = 3.0
    baud: Baud = 9600


class ScpiMeterFile(AddressFile, tag_field="kind", tag="scpi"):
    """A meter that speaks SCPI."""

    wires: Literal[2, 4] = 2
    range: Ohms | None = None
    which: str = ""


class SigrokFile(Struct, tag_field="kind", tag="sigrok", forbid_unknown_fields=True):
    """A handheld meter that sigrok-cli reads."""

    driver: Text
    options: Annotated[list[Text], Meta(max_length=20)] = []
    timeout_s: Timeout = 5.0
    which: str = ""


class TypedFile(Struct, tag_field="kind", tag="typed", forbid_unknown_fields=True):
    """A meter that types its reading."""

    unit: str = ""
    timeout_s: Timeout = 60.0
    which: str = ""


class ScpiSelectorFile(AddressFile, tag_field="kind", tag="scpi"):
    """A switch that speaks SCPI."""

    channels: dict[str, list[str]] = {}
    settle_s: Annotated[float, Meta(ge=0, le=10)] = 0.02


class PersonFile(Struct, tag_field="kind", tag="person", forbid_unknown_fields=True):
    """A person sets the probes, or moves the lever."""


class LeverFile(AddressFile, tag_field="kind", tag="scpi"):
    """A lever sensor."""

    query: Text = "INP:LEV?"
    replies: dict[str, Text] = {}
    move: str = ""


class GearFile(Struct, forbid_unknown_fields=True):
    """The gear of one bench."""

    name: Text
    meter: ScpiMeterFile | SigrokFile | TypedFile
    selector: ScpiSelectorFile | PersonFile = msgspec.field(default_factory=PersonFile)
    lever: LeverFile | PersonFile = msgspec.field(default_factory=PersonFile)
    note: str = ""


def read_gear(data: bytes, file: str) -> BenchGear:
    """Read a gear file.

    Parameters
    ----------
    data : bytes
        TOML.
    file : str
        Its name, for messages.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    shaped = toml.shaped(GearFile)
    for table in ("meter", "selector", "lever"):
        for key, value in toml.values.get(table, {}).items():
            if isinstance(value, str) and not (value.isprintable() and value.isascii()):
                toml.problems.add(toml.line_of(table, key), f"{quoted(key)} needs plain letters.")
    meter = _meter(shaped.meter, toml)
    selector = _selector(shaped.selector, toml)
    lever = None
    if isinstance(shaped.lever, LeverFile):
        told = shaped.lever
        lever = LeverGear(_address(told), told.query, dict(told.replies), told.move)
        if not lever.query.endswith("?") or ";" in lever.query:
            place = toml.line_of("lever", "query")
            toml.problems.add(place, "has a 'query' that is no single query; end it with '?'.")
        if any(sign in lever.move for sign in "?; "):
            place = toml.line_of("lever", "move")
            toml.problems.add(place, "has a 'move' that is no single command; as BENC:LEV:POS.")
    toml.problems.raise_if_any()
    return BenchGear(shaped.name, meter, selector, lever, shaped.note, shaped.meter.which.strip())


def simulated_gear(resource: str, channels: Mapping[str, Pair]) -> str:
    """Return the gear file of a simulated bench.

    Parameters
    ----------
    resource : str
        Its address, as pyvisa names it.
    channels : mapping of str to pair
        The pair of each channel.
    """
    # A JSON string is a TOML string too.
    address = json.dumps(resource)
    rows = [f'{json.dumps(pair_text(pair))} = ["{name}"]' for name, pair in channels.items()]
    return "\n".join(
        (
            "# Invented: the simulated bench.",
            'name = "simulated bench"',
            *(f'\n[{table}]\nkind = "scpi"\nresource = {address}' for table in ("meter", "lever")),
            'query = "BENC:LEV:POS?"\nmove = "BENC:LEV:POS"',
            f'\n[selector]\nkind = "scpi"\nresource = {address}\nsettle_s = 0.0',
            "\n[selector.channels]",
            *rows,
            "",
        )
    )


def _address(file: AddressFile) -> Address:
    return Address(Carrier(file.carrier), file.resource, file.dialect, file.timeout_s, file.baud)


def _meter(file: ScpiMeterFile | SigrokFile | TypedFile, toml: TomlFile) -> MeterGear:
    match file:
        case SigrokFile():
            for key, wrong in (
                ("driver", wrong_driver(file.driver)),
                ("options", wrong_options(file.options)),
            ):
                if wrong:
                    toml.problems.add(toml.line_of("meter", key), wrong)
            return SigrokGear(file.driver, tuple(file.options), file.timeout_s)
        case TypedFile():
            return TypedGear(file.unit, file.timeout_s)
        case ScpiMeterFile():
            range_ohm = None
            if file.range is not None:
                place = toml.line_of("meter", "range")
                try:
                    range_ohm = named(parse_ohms, file.range).ohm
                except ValueError as error:
                    toml.problems.add(place, f"{error}")
                else:
                    if range_ohm <= 0.0:
                        toml.problems.add(place, "has a range of nothing; give its top.")
            return ScpiMeterGear(_address(file), file.wires, range_ohm)


def _selector(file: ScpiSelectorFile | PersonFile, toml: TomlFile) -> SelectorGear | None:
    if isinstance(file, PersonFile):
        return None
    channels: dict[frozenset[str], tuple[str, ...]] = {}
    if not file.channels:
        toml.problems.add(toml.line_of("selector"), "has no 'channels', which it needs.")
    for text, names in file.channels.items():
        place = toml.line_of("selector", "channels", text)
        try:
            pair = same_pair(named(split_pair, text))
        except ValueError as error:
            toml.problems.add(place, f"{error}")
            continue
        if len(pair) == 1:
            toml.problems.add(place, f"{quoted(text)} names one pin twice; name two.")
            continue
        wrong = [name for name in names if not re.fullmatch(CHANNEL, name, re.ASCII)]
        if wrong or not names:
            what = quoted(wrong[0]) if wrong else "nothing"
            toml.problems.add(place, f"{what} is no channel; write it as 101 or 1!2.")
        elif len({*names}) != len(names):
            toml.problems.add(place, "names a channel twice.")
        elif pair in channels:
            toml.problems.add(place, f"gives the pair {quoted(text)} twice.")
        # To close all of one pair's channels must not put the meter across another pair as well.
        elif any({*names} <= {*others} or {*names} >= {*others} for others in channels.values()):
            toml.problems.add(
                place, "has channels that would close another pair too; each pair needs its own."
            )
        else:
            channels[pair] = tuple(names)
    return SelectorGear(_address(file), channels, file.settle_s)
