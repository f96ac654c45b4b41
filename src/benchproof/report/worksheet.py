"""A blank worksheet for those who write by hand, and the same grid as CSV to type it back.

What the chart expects is left out on purpose: a reader who knows what should be there tends to see
it. Rows and columns stand in the order of the chart. A cell has room for a second reading, which is
typed back in the row of its pair that is headed "again".
"""

from typing import Any

from benchproof.family.model import READS, Family, pair_text
from benchproof.family.safetext import csv_text
from benchproof.network.temperature import warming_of
from benchproof.reading.sheet import AGAIN
from benchproof.report.fullchart import blocks
from benchproof.report.language import language
from benchproof.report.letterhead import PAPERS, Letterhead
from benchproof.report.pdf import letterhead_data, typeset
from benchproof.report.tag import UNDATED

CAUTIONS = (
    "Measure only with the part unplugged from the vehicle and de-energized: an ohmmeter on a live "
    "circuit can hurt you and the meter.",
    "The maker's service information, local rules and licensed practice come before this paper.",
)
HOW_TO = (
    "Write ohms as the meter shows them (0.3, 1.2k), OL for over-range, or c and o for a mark that "
    "is closed or open. Leave empty what was not read. Write what you read, not what should be "
    "there.",
    "The first reading goes above the dotted line, a second one below it, probes set anew; neither "
    "is crossed out.",
)
BACK = (
    "To type it back: benchproof certificate --blank FAMILY --out sheet.csv writes this grid, two "
    "rows a pair, the second, headed again, for second readings; fill it in as it is. "
    "benchproof judge FAMILY sheet.csv judges it."
)
ASKED = (
    "Part",
    "Date",
    "Initials",
    "Meter",
    "Leads read, ohm",
    "Leads nulled, yes or no",
    "Temperature, °{unit}",
)


def asked_of(family: Family) -> tuple[str, ...]:
    """Return what is asked beside the readings; a part without a lever is never turned."""
    last = "As found or as left" if family.lever else "What was done to it"
    part = ("Part at, °{unit}",) if warming_of(family).matters else ()
    return (*ASKED, *part, last)


def worksheet_csv(family: Family, head: Letterhead | None = None) -> str:
    """Return the blank grid as CSV; filled in, `reading.sheet.read_readings` reads it.

    A line that begins with # is a comment and is skipped.
    """
    say = language((head or Letterhead()).language).say
    empty = ["" for _ in family.positions]
    rows = [
        [f"{pair_text(row.pair)}{again}", *empty] for row in family.chart for again in ("", AGAIN)
    ]
    return csv_text(
        [
            [f"# {family.name}: {say(CAUTIONS[0])}"],
            *([f"# {say(words)}"] for words in HOW_TO),
            ["pins", *family.headings(READS)],
            *rows,
        ]
    )


def worksheet_pdf(family: Family, head: Letterhead | None = None, size: str = "") -> bytes:
    """Return the blank worksheet as PDF.

    Parameters
    ----------
    family : Family
        A family with a chart.
    head : Letterhead or None
        The shop's.
    size : str
        ``a4`` or ``letter``; the shop's own without it.
    """
    head = head or Letterhead()
    words = language(head.language)
    say = words.say
    title = say("Worksheet for {name}", name=family.name)
    data: dict[str, Any] = {
        **letterhead_data(head),
        "shop": tuple(filter(None, (head.name, *head.lines))),
        "title": title,
        "note": words.tell(family.note),
        "foot": title,
        "page": say("page {page} of {pages}"),
        "pins": say("pins"),
        "asked": [say(asked, unit=head.temperature) for asked in asked_of(family)],
        "cautions": [say(caution) for caution in CAUTIONS],
        "how": [say(how) for how in (*HOW_TO, BACK)],
        "size": PAPERS[size or head.paper],
        "blocks": [
            {
                "positions": [family.headings(READS)[n] for n in columns],
                "rows": [
                    {"pair": pair_text(row.pair), "role": words.tell(row.role.shown)}
                    for row in family.chart
                ],
            }
            for columns in blocks(family.positions)
        ],
    }
    return typeset("worksheet", data, UNDATED)
