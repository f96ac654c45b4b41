"""SVG pages as one PDF file; the same pages give the same bytes."""

import json
from collections.abc import Sequence

import typst

_SOURCE = b"""
#set document(title: sys.inputs.title, date: none)
#set page(width: 210mm, height: 297mm, margin: 0mm)
#for page in json(bytes(sys.inputs.pages)) [
  #image(bytes(page), format: "svg", width: 210mm, height: 297mm)
]
"""


def pdf_of_pages(pages: Sequence[str], title: str) -> bytes:
    """Return a PDF of A4 pages.

    Parameters
    ----------
    pages : sequence of str
        The SVG of each.
    title : str
        What the document is, in a line.
    """
    made: bytes = typst.compile(
        _SOURCE,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"title": title, "pages": json.dumps(list(pages))},
    )
    return made
