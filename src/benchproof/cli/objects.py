"""What a command prints for programs: one JSON object."""

import json

from benchproof.cli.output import echo
from benchproof.face.view import View, told


def print_json(view: View) -> None:
    """Print one JSON object; whatever is a view is documented (docs/json.md)."""
    # Not a number, or infinite, is no JSON.
    echo(json.dumps(told(view), ensure_ascii=False, indent=2, allow_nan=False))
