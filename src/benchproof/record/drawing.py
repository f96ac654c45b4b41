"""Draws a picture anew in a process of its own, which a hostile picture may fill or bring down.

Run as a program, not imported by the server: a picture on standard input (a file), what it may be
as JSON in the only argument; on standard output one line of JSON and then the JPEG. The pixels that
the header tells are looked at before any is decoded, and the memory of the process is bounded where
the system can do that. It imports nothing of ours, so that it starts quickly.
"""

import json
import sys
import warnings
from contextlib import suppress
from io import BytesIO
from typing import TYPE_CHECKING, Any, Never

if TYPE_CHECKING:
    from PIL import Image

_QUALITY = 88
_ROWS = 64
"""So many rows are worked on at once."""
_SECONDS = 30
_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
_ORIENTATION = 0x0112


class NotDrawn(Exception):
    """What may not be drawn; its text is a word that the caller knows."""


def draw(longest: int, allowed: dict[str, int]) -> "tuple[Image.Image, bytes]":
    """Return the picture on standard input, and it as a JPEG.

    Parameters
    ----------
    longest : int
        Pixels that no side of the drawn picture exceeds.
    allowed : dict of str to int
        The most pixels of a `side`, and of a picture by its form (`JPEG`, `progressive`, `WEBP`,
        `other`).

    Raises
    ------
    NotDrawn
        If it says that it has more pixels.
    """
    from PIL import Image, ImageOps

    # Looked at below, by our own limits.
    Image.MAX_IMAGE_PIXELS = None
    with Image.open(sys.stdin.buffer, formats=_FORMATS) as opened:
        kind = opened.format if opened.format in allowed else "other"
        if opened.info.get("progressive"):
            kind = "progressive"
        if max(opened.size) > allowed["side"]:
            raise NotDrawn("side")
        if opened.width * opened.height > allowed[kind or ""]:
            raise NotDrawn(f"pixels {kind}")
        # A JPEG is decoded at a half, a quarter or an eighth where that is enough.
        opened.draft("RGB", (longest, longest))
        opened.load()
        turned = opened.getexif().get(_ORIENTATION, 1)
        bare = _smaller(opened, longest)
    bare.getexif()[_ORIENTATION] = turned
    ImageOps.exif_transpose(bare, in_place=True)
    drawn = BytesIO()
    bare.save(drawn, "JPEG", quality=_QUALITY, exif=b"")
    return bare, drawn.getvalue()


def _smaller(opened: "Image.Image", longest: int) -> "Image.Image":
    """Return the picture in RGB, narrowed some rows at a time: no second one of full size."""
    from PIL import Image

    width, height = opened.size
    scale = min(1.0, longest / max(width, height))
    wanted = max(1, round(width * scale)), max(1, round(height * scale))
    # A box of whole pixels becomes one first, which is quick and exact.
    factor = max(1, max(width, height) // longest)
    narrow = Image.new("RGB", (wanted[0], -(-height // factor)))
    for top in range(0, height, _ROWS * factor):
        rows = opened.crop((0, top, width, min(top + _ROWS * factor, height))).convert("RGB")
        if factor > 1:
            rows = rows.reduce(factor)
        narrow.paste(rows.resize((wanted[0], rows.height)), (0, top // factor))
    opened.close()
    return narrow.resize(wanted)


def bounded(memory: int) -> None:
    """Bound the memory and the time of this process, where the system can.

    Parameters
    ----------
    memory : int
        Bytes of address space.
    """
    try:
        import resource
    except ImportError:
        return
    for what, most in ((resource.RLIMIT_AS, memory), (resource.RLIMIT_CPU, _SECONDS)):
        # macOS refuses a limit of address space.
        with suppress(ValueError, OSError):
            resource.setrlimit(what, (most, resource.getrlimit(what)[1]))


def _answer(told: dict[str, Any], content: bytes = b"") -> Never:
    sys.stdout.buffer.write(json.dumps(told).encode() + b"\n" + content)
    sys.stdout.buffer.flush()
    sys.exit(0)


def main() -> Never:
    """Draw what is on standard input."""
    asked = json.loads(sys.argv[1])
    bounded(asked["memory"])
    # Odd metadata are left behind anyway.
    warnings.simplefilter("ignore")
    from PIL import UnidentifiedImageError

    try:
        bare, drawn = draw(asked["longest"], asked["allowed"])
    except NotDrawn as refused:
        _answer({"refused": str(refused)})
    except UnidentifiedImageError:
        _answer({"refused": "unknown"})
    except MemoryError:
        _answer({"refused": "memory"})
    except Exception as error:
        full = "memory" in str(error)
        _answer({"refused": "memory" if full else "damaged", "error": str(error)[:200]})
    _answer({"width": bare.width, "height": bare.height}, drawn)


if __name__ == "__main__":
    main()
