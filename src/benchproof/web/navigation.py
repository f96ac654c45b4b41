"""The screens by name, for the head of every page and for the list of all of them."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Page:
    """A screen.

    Attributes
    ----------
    path, name : str
    what : str
        What one does there.
    head : str
        In which heads it stands: ``first`` in all, ``wide`` where there is room, ``rare`` on its
        own screen only; More has them all.
    """

    path: str
    name: str
    what: str
    head: str = "wide"


PAGES = (
    Page("/", "Start", "Begin a proof, or go on with one.", "first"),
    Page("/proofs", "Proofs", "Find any proof by its tag; certificates.", "first"),
    Page("/parts", "Parts", "Record parts, grade them, print their tags.", "first"),
    Page("/search", "Search", "Find anything by whatever you know of it."),
    Page("/families", "Families", "What a kind of part is and should read; wiring, worksheets."),
    Page("/align", "Align", "Set a body by its electrical edges."),
    Page("/foretell", "Foretell", "What the vehicle would do with a part.", "rare"),
    Page("/chart", "Chart", "Type or paste a chart; it is checked as you type."),
    Page("/shelf", "Shelf", "Proven parts: in stock, reserved, fitted."),
    Page("/cores", "Cores", "Take in used units and parts."),
    Page("/units", "Units", "The transmissions being rebuilt."),
    Page("/gear", "Gear", "Meters, selectors, and when they are due."),
    Page("/people", "People", "Who works here, and whom units belong to.", "rare"),
    Page("/shop", "Papers", "Name, logo, sizes, units and language of the shop's papers.", "rare"),
    Page("/archive", "Archive", "Look whether all is as recorded; back it up.", "rare"),
    Page("/jobs", "Long work", "Judge many sheets, write everything out.", "rare"),
    Page("/settings", "Settings", "How the page looks; pedal; devices; about.", "rare"),
)
