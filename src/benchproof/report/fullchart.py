"""The whole chart of a certificate as a table: limits, as found and as left, cell by cell."""

from typing import Any

from benchproof.judge.cell import Result
from benchproof.report.certificate import SIGN, CellShown, Certificate
from benchproof.report.paper import RESULT_WORD, shown_text

MOST_ACROSS = 9
"""More lever positions go into a second table."""


def chart_legend(told: Certificate) -> list[str]:
    """Return how the table is to be read."""
    signs = ", ".join(f"{SIGN[result]} {RESULT_WORD[result]}" for result in Result)
    lines = (
        "allowed, as found (F), as left (L)"
        if told.chart.turned
        else "allowed, and as found and as left (nothing was turned)"
        if told.chart.lever
        else "allowed, and as read"
    )
    return [
        f"In each cell: {lines}. {signs}. ± is two standard uncertainties; ×2 means read twice, "
        "the worst is shown; > is over-range.",
        *(["Ohms that depend on the part's temperature are as at 20 °C."] if told.part_at else []),
    ]


def cell_lines(cell: CellShown, turned: bool) -> list[tuple[str, bool]]:
    """Return the lines of a cell, each with whether it is heavy."""
    if not turned:
        return [(cell.allowed, False), (shown_text(cell.left), True)]
    return [
        (cell.allowed, False),
        (f"F {shown_text(cell.found)}", False),
        (f"L {shown_text(cell.left)}", True),
    ]


def blocks(positions: tuple[str, ...]) -> list[range]:
    """Return the columns of each table, as even as can be.

    Examples
    --------
    >>> blocks(tuple("PRND")), blocks(tuple("abcdefghij"))
    ([range(0, 4)], [range(0, 5), range(5, 10)])
    """
    many = -(-len(positions) // MOST_ACROSS)
    across = -(-len(positions) // many)
    return [range(at, min(at + across, len(positions))) for at in range(0, len(positions), across)]


def full_chart(told: Certificate) -> dict[str, Any]:
    """Return the table as data for a template."""
    chart = told.chart
    return {
        "heading": f"Full chart of part {told.part}, proof {told.proof}",
        "lines": chart_legend(told),
        "blocks": [
            {
                "positions": [chart.headings[n] for n in columns],
                "rows": [
                    {
                        "pair": row.pair,
                        "role": row.role,
                        "cells": [
                            {"lines": cell_lines(row.cells[n], chart.turned)} for n in columns
                        ],
                    }
                    for row in chart.rows
                ],
            }
            for columns in blocks(chart.positions)
        ],
    }
