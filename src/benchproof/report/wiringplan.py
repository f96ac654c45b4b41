"""The wiring plan of a family's chart: for rotary selectors, a relay matrix, or plain probes."""

from benchproof.family.branches import CASE
from benchproof.family.model import Family
from benchproof.report.wiringsheet import WiringSheet
from benchproof.report.wiringtables import (
    CAUTIONS,
    Table,
    matrix_tables,
    probe_tables,
    selector_tables,
)
from benchproof.wiring.dummy import dummy_plug
from benchproof.wiring.matrix import relay_matrix
from benchproof.wiring.selector import selector_box

KINDS = {
    "selector": "Rotary selectors",
    "matrix": "Relay matrix",
    "probes": "Plain probes",
}
"""What a plan can be of, the usual first, and what people call it."""
MOST_POLES, MOST_POSITIONS = 24, 60
POLES, POSITIONS = 2, 12
"""Poles and positions of a usual rotary selector."""


def wiring_plan(family: Family, kind: str, poles: int, positions: int) -> WiringSheet:
    """Return how to wire a selector for a family's chart.

    Parameters
    ----------
    family : Family
    kind : str
        One of `KINDS`.
    poles, positions : int
        Of each rotary selector, 1 to `MOST_POLES` and 1 to `MOST_POSITIONS`; else they mean
        nothing.

    Raises
    ------
    ValueError
        With one sentence, if the chart cannot be wired so.
    """
    note = f"{kind.capitalize()} for the chart of {family.name}. {family.note}".strip()
    tables = _tables(family, kind, poles, positions)
    return WiringSheet(f"Wiring for {family.name}", note, family.pins, tables, CAUTIONS)


def _tables(family: Family, kind: str, poles: int, positions: int) -> tuple[Table, ...]:
    pairs = family.charted_pairs
    if kind == "probes":
        return probe_tables(family, pairs)
    plug = dummy_plug((*family.terminals, CASE), pairs)
    if kind == "matrix":
        return matrix_tables(relay_matrix(pairs), pairs, plug)
    return selector_tables(selector_box(pairs, poles, positions), pairs, plug)
