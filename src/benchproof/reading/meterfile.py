"""A meter file in TOML."""

from itertools import pairwise
from math import log10
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from benchproof.family.names import named
from benchproof.family.ohms import parse_ohms
from benchproof.family.problems import Problems
from benchproof.family.sentence import quoted
from benchproof.family.tomlfile import Ohms, Text, TomlFile
from benchproof.reading.meter import Leads, Meter, Range

Percent = Annotated[float, Meta(ge=0, le=100)]
Celsius = Annotated[float, Meta(ge=-100, le=100)]


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

    from_c: Celsius = 18.0
    to_c: Celsius = 28.0
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
    shaped = toml.shaped(MeterFile)
    ranges = tuple(_range(row, number, toml) for number, row in enumerate(shaped.ranges))
    for number, (before, row) in enumerate(pairwise(ranges), 1):
        if row.top_ohm <= before.top_ohm:
            toml.problems.add(
                toml.line_of("ranges", number, "top"),
                "has a range no higher than the one before it; list them rising.",
            )
    leads = Leads(
        _ohm(shaped.leads.resistance, toml.line_of("leads", "resistance"), toml.problems),
        shaped.leads.nulled,
        _ohm(shaped.leads.within, toml.line_of("leads", "within"), toml.problems),
    )
    ambient = shaped.ambient
    if not ambient.from_c < ambient.to_c:
        place = toml.line_of("ambient", "from_c")
        toml.problems.add(place, "has 'from_c' not below 'to_c'; give the lower one first.")
    toml.problems.raise_if_any()
    return Meter(
        name=shaped.name,
        ranges=ranges,
        leads=leads,
        autorange=shaped.autorange,
        calm_c=(ambient.from_c, ambient.to_c),
        percent_per_kelvin=ambient.percent_per_kelvin,
        marks={" ".join(shown.split()): mark for shown, mark in shaped.marks.items()},
        note=shaped.note,
    )


def _range(row: RangeFile, number: int, toml: TomlFile) -> Range:
    before = len(toml.problems)
    step_place = toml.line_of("ranges", number, "step")
    top_ohm = _ohm(row.top, toml.line_of("ranges", number, "top"), toml.problems)
    step_ohm = _ohm(row.step, step_place, toml.problems)
    if len(toml.problems) == before:
        if not 0.0 < step_ohm < top_ohm:
            sentence = "has a step that is not between zero and the range's top; check both."
            toml.problems.add(step_place, sentence)
        elif not log10(step_ohm).is_integer():
            sentence = "has a step that is no power of ten; give one count, such as '0.1 ohm'."
            toml.problems.add(step_place, sentence)
    return Range(top_ohm, step_ohm, row.percent, row.counts)


def _ohm(text: str, place: str, problems: Problems) -> float:
    try:
        ohm = named(parse_ohms, text).ohm
    except ValueError as error:
        problems.add(place, f"{error}")
        return 0.0
    if ohm < 0.0:
        problems.add(place, f"{quoted(text)} is below zero; ohms are never that.")
    return ohm
