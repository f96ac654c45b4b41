"""A whole sheet of readings into a proof, from a file or pasted at its screen."""

from benchproof.proof.problems import ProofProblem
from benchproof.web.forms import MOST_LETTERS, PageRequest, screen
from benchproof.web.pages.proof import by_whom, doing, under_typed
from benchproof.web.proofactions import read_sheet

PASTED = "pasted cells"


def _sheet(asked: PageRequest) -> str:
    files = asked.uploads.get("sheet", ())
    pasted = asked.typed.get("pasted", "")[:MOST_LETTERS]
    if files and pasted.strip():
        raise ProofProblem("Take the file or the pasted cells, not both; delete one of them.")
    if not files and not pasted.strip():
        raise ProofProblem("Choose the sheet's file first, or paste its cells.")
    content, name = (files[0].content, files[0].name) if files else (pasted.encode(), PASTED)
    tag, by = asked.path("tag"), by_whom(asked)
    return read_sheet(asked.site, tag, by, content, name, under_typed(asked))


ROUTES = (screen("/proof/{tag}/sheet", post=doing(_sheet)),)
