"""How large what comes in may be: one table of limits and their sentences, which every reader asks.

A limit is looked at before the costly step that it bounds: bytes before text, a header before its
pixels, nesting before a parser that recurses.
"""

from dataclasses import dataclass

from benchproof.family.problems import BadFile, Problem

_MEGA = 1_000_000


@dataclass(frozen=True)
class Limit:
    """The most of one thing.

    Attributes
    ----------
    kind : str
        What is counted.
    most : int
        So much is still read.
    sentence : str
        What is said of more, after the file's name; `{most}` stands for the number.
    """

    kind: str
    most: int
    sentence: str

    def told(self) -> str:
        """Return the sentence."""
        return self.sentence.format(most=self.written())

    def written(self) -> str:
        """Return the number as people write it, bytes in MB where they are whole ones.

        Examples
        --------
        >>> PHOTOGRAPH_BYTES.written(), PHOTOGRAPH_SIDE.written()
        ('30 MB', '20,000')
        """
        if self.kind.endswith("bytes") and self.most >= _MEGA:
            return f"{self.most / _MEGA:g} MB"
        return f"{self.most:,}"

    def check(self, amount: int, file: str, place: str = "") -> None:
        """Look whether it is not more than the most.

        Raises
        ------
        BadFile
            If it is, with the sentence.
        """
        if amount > self.most:
            raise BadFile(file, [Problem(place, self.told())])


PHOTOGRAPH_BYTES = Limit(
    "photograph: bytes", 30 * _MEGA, "is larger than {most}; take a smaller photograph."
)
PHOTOGRAPH_SIDE = Limit(
    "photograph: pixels of a side",
    20_000,
    "is more than {most} pixels long or high; take a smaller photograph.",
)
PHOTOGRAPH_JPEG = Limit(
    "photograph: pixels of a JPEG",
    120 * _MEGA,
    "has more than {most} pixels; take a smaller photograph.",
)
PHOTOGRAPH_PROGRESSIVE = Limit(
    "photograph: pixels of a progressive JPEG",
    12_500_000,
    "has more than {most} pixels; save it as a plain (not progressive) JPEG, or take a smaller "
    "photograph.",
)
PHOTOGRAPH_WEBP = Limit(
    "photograph: pixels of a WEBP",
    8 * _MEGA,
    "has more than {most} pixels; save it as JPEG, or take a smaller photograph.",
)
PHOTOGRAPH_OTHER = Limit(
    "photograph: pixels of a PNG or TIFF",
    24_500_000,
    "has more than {most} pixels; save it as JPEG, or take a smaller photograph.",
)
PHOTOGRAPH_MEMORY = Limit(
    "photograph: memory of the process that opens it, bytes",
    184 * _MEGA,
    "takes more than {most} of memory to open; save it as a plain JPEG, or take a smaller "
    "photograph.",
)

LIMITS = (
    PHOTOGRAPH_BYTES,
    PHOTOGRAPH_SIDE,
    PHOTOGRAPH_JPEG,
    PHOTOGRAPH_PROGRESSIVE,
    PHOTOGRAPH_WEBP,
    PHOTOGRAPH_OTHER,
    PHOTOGRAPH_MEMORY,
)
"""Every limit; docs/limits.md is compared with it."""
