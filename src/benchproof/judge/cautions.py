"""Cautions that go with a judged sheet: a table of conditions and their sentences.

What of the part itself could hurt somebody is a danger (`examine.dangers`), not a caution.
"""

from collections.abc import Iterator

from benchproof.family.model import same_pair
from benchproof.family.sentence import Sentence, said
from benchproof.judge.whole import WholeSheet


def _not_charted(sheet: WholeSheet) -> Iterator[dict[str, str]]:
    charted = {same_pair(row.pair) for row in sheet.family.chart}
    pairs = dict.fromkeys(
        f"{r.pair[0]}-{r.pair[1]}" for r in sheet.readings if same_pair(r.pair) not in charted
    )
    if pairs:
        yield {"pairs": ", ".join(pairs)}


def _always(_: WholeSheet) -> Iterator[dict[str, str]]:
    yield {}


_CAUTIONS = (
    Sentence(
        "{pairs} not in the chart: read, but not judged.",
        _not_charted,
    ),
    Sentence(
        "Measure only with the part unplugged from the vehicle and de-energised: an ohmmeter on a "
        "live circuit can hurt you and the meter.",
        _always,
    ),
    Sentence(
        "The maker's service information, local rules and licensed practice come before this "
        "program.",
        _always,
    ),
)


def cautions_of(sheet: WholeSheet) -> list[str]:
    """Return the cautions of a judged sheet."""
    return said(_CAUTIONS, sheet)
