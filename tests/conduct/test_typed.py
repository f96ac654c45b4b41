"""The keys that the prompt and the page share."""

import re
from pathlib import Path

import benchproof
from benchproof.conduct.typed import SLIP_KEY, UNDO_KEY

TEMPLATES = Path(benchproof.__file__).parent / "web" / "templates"


def test_the_page_has_the_keys_of_the_prompt() -> None:
    bench = ("place.html", "proof.html", "proofstage.html")
    text = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in bench)
    keys = {key for found in re.findall(r'data-key="([^"{]+)"', text) for key in found.split()}
    # They are put there from where the prompt has them, and no other key is theirs too.
    assert 'data-key="{{ UNDO_KEY }}"' in text
    assert 'data-key="{{ SLIP_KEY }}"' in text
    assert not {UNDO_KEY, SLIP_KEY} & keys
    # Minus is a digit of what a nulled meter shows.
    assert "-" not in keys
    assert 'name="reason" value="{{ SLIPPED }}"' in text
