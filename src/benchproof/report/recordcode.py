"""The code on a certificate or tag that leads back to the record."""

import io

import segno

QUIET_MODULES = 4
"""White border that readers ask for (ISO/IEC 18004; from memory)."""


def record_text(proof: str, seq: int, hash_: str) -> str:
    """Return what the code of a proof says: its tag, its last event, the hash of that event.

    Examples
    --------
    >>> record_text("S-1.1", 37, "ab12")
    'benchproof:S-1.1:37:ab12'
    """
    return f"benchproof:{proof}:{seq}:{hash_}"


def code_svg(text: str) -> str:
    """Return a QR code as SVG, the same for the same text; damage of 15 % still reads."""
    out = io.BytesIO()
    code = segno.make_qr(text, error="m", boost_error=False, encoding="utf-8")
    code.save(out, kind="svg", border=QUIET_MODULES, xmldecl=False, omitsize=True)
    return out.getvalue().decode("utf-8").strip()
