"""The whole chart of a certificate as a table: limits, as found and as left, cell by cell."""

from typing import Any

from benchproof.judge.cell import Result
from benchproof.report.certificate import SIGN, CellShown, Certificate
from benchproof.report.language import ENGLISH, Language, language
from benchproof.report.paper import RESULT_WORD, shown_text

MOST_ACROSS = 9
"""More lever positions go into a second table."""


def chart_legend(told: Certificate) -> list[str]:
    """Return how the table is to be read."""
    say = language(told.letterhead.language).say
    signs = ", ".join(f"{SIGN[result]} {say(RESULT_WORD[result])}" for result in Result)
    lines = (
        say("allowed, as found (F), as left (L)")
        if told.chart.turned
        else say("allowed, and as found and as left (nothing was turned)")
        if told.chart.lever
        else say("allowed, and as read")
    )
    return [
        say(
            "In each cell: {lines}. {signs}. ± is two standard uncertainties; ×2 means read twice, "
            "the worst is shown; > is over-range.",
            lines=lines,
            signs=signs,
        ),
        *(
            [say("Ohms that depend on the part's temperature are as at 20 °C.")]
            if told.part_at
            else []
        ),
    ]


def cell_lines(cell: CellShown, turned: bool, words: Language = ENGLISH) -> list[tuple[str, bool]]:
    """Return the lines of a cell, each with whether it is heavy."""
    allowed, left = words.tell(cell.allowed), shown_text(cell.left, words)
    if not turned:
        return [(allowed, False), (left, True)]
    return [
        (allowed, False),
        (words.say("F {shown}", shown=shown_text(cell.found, words)), False),
        (words.say("L {shown}", shown=left), True),
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
    chart, words = told.chart, language(told.letterhead.language)
    return {
        "heading": words.say(
            "Full chart of part {part}, proof {proof}", part=told.part, proof=told.proof
        ),
        "pins": words.say("pins"),
        "lines": chart_legend(told),
        "blocks": [
            {
                "positions": [chart.headings[n] for n in columns],
                "rows": [
                    {
                        "pair": row.pair,
                        "role": words.tell(row.role),
                        "cells": [
                            {"lines": cell_lines(row.cells[n], chart.turned, words)}
                            for n in columns
                        ],
                    }
                    for row in chart.rows
                ],
            }
            for columns in blocks(chart.positions)
        ],
    }
