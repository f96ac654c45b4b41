"""A meter file in TOML."""

from math import log10
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.family.names import named
from benchproof.family.ohms import parse_ohms
from benchproof.family.problems import Problems
from benchproof.family.tomlfile import Ohms, Text, TomlFile
from benchproof.reading.meter import Leads, Meter, Range

Percent = Annotated[float, Meta(ge=0, le=100)]


class RangeFile(Struct, forbid_unknown_fields=True):
    """One range: ±(percent of reading + counts of the last digit)."""

    top: Ohms
    step: Ohms
    percent: Percent
    counts: Annotated[float, Meta(ge=0, le=1000)]


class LeadsFile(Struct, forbid_unknown_fields=True):
    """The leads; `within` is how far what is left after taking them off may be out."""

    resistance: Ohms = "0 ohm"
    nulled: bool = True
    within: Ohms = "0 ohm"


class AmbientFile(Struct, forbid_unknown_fields=True):
    """Where the accuracy holds, degrees Celsius, and what each kelvin outside adds."""

    from_c: float = 18.0
    to_c: float = 28.0
    percent_per_kelvin: Percent = 0.0


class MeterFile(Struct, forbid_unknown_fields=True):
    """A meter's specification."""

    name: Text
    ranges: Annotated[list[RangeFile], Meta(min_length=1, max_length=50)]
    note: str = ""
    autorange: bool = True
    leads: LeadsFile = msgspec.field(default_factory=LeadsFile)
    ambient: AmbientFile = msgspec.field(default_factory=AmbientFile)
    marks: dict[str, Literal["closed", "open"]] = {}


def read_meter(data: bytes, file: str) -> Meter:
    """Read a meter file.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    shaped = toml.shaped(MeterFile, {"ranges": RangeFile})
    ranges = tuple(
        Range(
            _ohm(row.top, toml.line_of("ranges", number), toml.problems),
            _ohm(row.step, toml.line_of("ranges", number), toml.problems),
            row.percent,
            row.counts,
        )
        for number, row in enumerate(shaped.ranges)
    )
    for number, row in enumerate(ranges):
        place = toml.line_of("ranges", number)
        if not 0.0 < row.step_ohm < row.top_ohm:
            toml.problems.add(place, "has a range whose step is not between zero and its top.")
        elif not log10(row.step_ohm).is_integer():
            toml.problems.add(place, "has a step that is no power of ten, such as '0.1 ohm'.")
        if number and row.top_ohm <= ranges[number - 1].top_ohm:
            toml.problems.add(
                place, "has a range no higher than the one before it; list them rising."
            )
    leads = Leads(
        _ohm(shaped.leads.resistance, toml.line_of("leads"), toml.problems),
        shaped.leads.nulled,
        _ohm(shaped.leads.within, toml.line_of("leads"), toml.problems),
    )
    ambient = shaped.ambient
    if not ambient.from_c < ambient.to_c:
        toml.problems.add(toml.line_of("ambient"), "has from_c not below to_c.")
    toml.problems.raise_if_any()
    return Meter(
        name=shaped.name,
        ranges=ranges,
        leads=leads,
        autorange=shaped.autorange,
        calm_c=(ambient.from_c, ambient.to_c),
        percent_per_kelvin=ambient.percent_per_kelvin,
        marks={shown.strip(): mark for shown, mark in shaped.marks.items()},
        note=shaped.note,
    )


def _ohm(text: str, place: str, problems: Problems) -> float:
    try:
        ohm = named(parse_ohms, text).ohm
    except ValueError as error:
        problems.add(place, f"{error}.")
        return 0.0
    if ohm < 0.0:
        problems.add(place, f"'{text}' is below zero.")
    return ohm
