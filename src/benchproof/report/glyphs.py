"""What the fonts on paper can show of a text that anybody may have typed.

The fonts come with the typesetter and cover the Latin, Greek, Cyrillic, Hebrew and Arabic scripts
and more, but not Chinese, Japanese or Korean. A character without a shape would stop an archival
PDF, so a placeholder stands for it, and the paper says so.
"""

import unicodedata
from functools import cache

import typst

PLACEHOLDER = "□"
MISSING_SAID = (
    f"{PLACEHOLDER} stands for a character that the fonts of this paper lack; the record has it."
)
_PROBE = b"#set document(title: [x])\n#text(font: %s, sys.inputs.c)"
SERIF = "Libertinus Serif"
MONO = "DejaVu Sans Mono"


def drawable(text: str) -> str:
    """Return a text in which every character has a shape on paper.

    What does not print, such as a control that turns the direction of writing, becomes a blank.

    Examples
    --------
    >>> drawable("Bär ± 中")
    'Bär ± □'
    """
    composed = unicodedata.normalize("NFC", text)
    return "".join(_shown(c) for c in composed)


def _shown(char: str) -> str:
    if not char.isprintable():
        return " "
    return char if char.isascii() or _has_shape(char) else PLACEHOLDER


@cache
def _has_shape(char: str) -> bool:
    """Return whether the typesetter's fonts have a shape for a character: it is asked."""
    try:
        typst.compile(
            _PROBE % f'"{SERIF}"'.encode(),
            format="pdf",
            ignore_system_fonts=True,
            sys_inputs={"c": char},
            pdf_standards=["a-2a", "ua-1"],
            timestamp=0,
        )
    except typst.TypstError:
        return False
    return True


def ascii_only(text: str) -> str:
    """Return a text with a placeholder for every character beyond ASCII.

    Characters that have a shape each can lack one together: a mark over a letter of another font.
    """
    return "".join(c if c.isascii() else PLACEHOLDER for c in drawable(text))
