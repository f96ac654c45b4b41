"""A blank worksheet for those who write by hand, and the same grid as CSV to type it back.

What the chart expects is left out on purpose: a reader who knows what should be there tends to see
it. Rows and columns stand in the order of the chart.
"""

from typing import Any

from benchproof.family.model import READS, Family, pair_text
from benchproof.family.safetext import csv_text
from benchproof.network.temperature import warming_of
from benchproof.report.fullchart import blocks
from benchproof.report.pdf import PAPERS, typeset
from benchproof.report.tag import UNDATED

CAUTIONS = (
    "Measure only with the part unplugged from the vehicle and de-energised: an ohmmeter on a live "
    "circuit can hurt you and the meter.",
    "The maker's service information, local rules and licensed practice come before this paper.",
)
HOW_TO = (
    "Write ohms as the meter shows them (0.3, 1.2k), OL for over-range, or c and o for a mark that "
    "is closed or open. Leave empty what was not read. Write what you read, not what should be "
    "there.",
)
ASKED = (
    "Part",
    "Date",
    "Initials",
    "Meter",
    "Leads read, ohm",
    "Leads nulled, yes or no",
    "Temperature, °C",
)


def asked_of(family: Family) -> tuple[str, ...]:
    """Return what is asked beside the readings; a part without a lever is never turned."""
    last = "As found or as left" if family.lever else "What was done to it"
    part = ("Part at, °C",) if warming_of(family).matters else ()
    return (*ASKED, *part, last)


def worksheet_csv(family: Family) -> str:
    """Return the blank grid as CSV; filled in, `reading.sheet.read_readings` reads it.

    A line that begins with # is a comment and is skipped.
    """
    return csv_text(
        [
            [f"# {family.name}: {CAUTIONS[0]}"],
            [f"# {HOW_TO[0]}"],
            ["pins", *family.headings(READS)],
            *([pair_text(row.pair), *("" for _ in family.positions)] for row in family.chart),
        ]
    )


def worksheet_pdf(family: Family, size: str = "a4") -> bytes:
    """Return the blank worksheet as PDF.

    Parameters
    ----------
    family : Family
        A family with a chart.
    size : str
        ``a4`` or ``letter``.
    """
    back = (
        "To type it back: a CSV file whose first row is "
        f"pins, {', '.join(family.headings(READS))}, and one row a pair; "
        "benchproof certificate --blank FAMILY --out sheet.csv writes it empty, and "
        "benchproof judge FAMILY sheet.csv judges it."
    )
    data: dict[str, Any] = {
        "title": f"Worksheet for {family.name}",
        "note": family.note,
        "foot": f"Worksheet for {family.name}",
        "asked": asked_of(family),
        "cautions": CAUTIONS,
        "how": (*HOW_TO, back),
        "size": PAPERS[size],
        "blocks": [
            {
                "positions": [family.headings(READS)[n] for n in columns],
                "rows": [
                    {
                        "pair": pair_text(row.pair),
                        "role": row.role.shown,
                    }
                    for row in family.chart
                ],
            }
            for columns in blocks(family.positions)
        ],
    }
    return typeset("worksheet", data, UNDATED)
