"""What the shop puts on its papers: who it is, its logo, and in which units and language."""

from dataclasses import dataclass

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Sizes of paper by their names here and at the typesetter."""
LABELS = {"small": (57, 32), "usual": (89, 36), "large": (100, 62)}
"""Sizes of label, millimeters across and high (common practice, no source)."""
DISTANCES = ("km", "miles")
TEMPERATURES = ("C", "F")
KM_A_MILE = 1.609344
"""The international mile (NIST Handbook 44, appendix C; from memory)."""


@dataclass(frozen=True)
class Letterhead:
    """The shop's own settings of its papers.

    Attributes
    ----------
    name, address : str
        Of the shop; the address may have several lines. Empty where the shop told none.
    signer : str
        Whose name stands under the signature; empty for whoever closed the proof.
    logo : bytes
        The shop's own logo, PNG or SVG; empty for none.
    paper, label : str
        A size of `PAPERS` and one of `LABELS`.
    distance, temperature : str
        Units: ``km`` or ``miles``, ``C`` or ``F``.
    language : str
        A code of `language.LANGUAGES`.
    """

    name: str = ""
    address: str = ""
    signer: str = ""
    logo: bytes = b""
    paper: str = "a4"
    label: str = "usual"
    distance: str = "km"
    temperature: str = "C"
    language: str = "en"

    @property
    def lines(self) -> tuple[str, ...]:
        """The address, a line each."""
        return tuple(line.strip() for line in self.address.splitlines() if line.strip())

    def degrees(self, celsius: float) -> str:
        """Return a temperature in the shop's unit.

        Examples
        --------
        >>> Letterhead(temperature="F").degrees(21.0)
        '69.8 °F'
        """
        if self.temperature == "F":
            return f"{round(celsius * 1.8 + 32.0, 1):g} °F"
        return f"{celsius:g} °C"

    def travelled(self, km: int) -> str:
        """Return a distance in the shop's unit.

        Examples
        --------
        >>> Letterhead(distance="miles").travelled(160934), Letterhead().travelled(160934)
        ('100,000 miles', '160,934 km')
        """
        if self.distance == "miles":
            return f"{round(km / KM_A_MILE):,} miles"
        return f"{km:,} km"


NO_LETTERHEAD = Letterhead()
"""What papers have where the shop set nothing."""


def logo_kind(content: bytes) -> str:
    """Return what a logo is, ``png`` or ``svg``; empty if it is neither.

    Examples
    --------
    >>> logo_kind(b"<svg xmlns='http://www.w3.org/2000/svg'/>"), logo_kind(b"GIF89a")
    ('svg', '')
    """
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    return "svg" if b"<svg" in content[:4096] else ""
