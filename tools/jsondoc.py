"""docs/json.md, made from the structs themselves."""

import inspect
from collections.abc import Iterator
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from benchproof.face.catalog import SHOWN
from benchproof.face.view import View, told_order

HEAD = """# JSON objects

Made from the structs in `src/benchproof/face` by `make docs`; do not edit it. With `--json` a
command prints one object on standard output, and the API of the bench page answers with the same
objects. What could hurt somebody stands first in every object that shows a part. Later versions may
add keys; they do not change or drop one without saying so in the changelog.
"""
DOC = Path(__file__).parents[1] / "docs" / "json.md"
_PLAIN = {str: "text", int: "whole number", float: "number", bool: "`true` or `false`"}


def document() -> str:
    """Return docs/json.md."""
    objects: dict[type[View], None] = {}
    commands: dict[type[View], list[str]] = {}
    for words, shape in SHOWN.items():
        commands.setdefault(shape, []).append(words)
    parts = [HEAD]
    for shape, named in commands.items():
        parts.append("\n".join([f"## {_named(named)}", "", *_told(shape, objects)]))
    parts.append("## Objects\n\nWhat the objects above are made of.")
    told: set[type[View]] = set()
    while left := [one for one in objects if one not in told]:
        for one in left:
            told.add(one)
            parts.append("\n".join([f"### {_name(one)}", "", *_told(one, objects)]))
    return "\n\n".join(part.rstrip() for part in parts) + "\n"


def _named(words: list[str]) -> str:
    first = words[0].split()[0]
    rest = [one.removeprefix(f"{first} ") for one in words]
    return f"benchproof {words[0]}" if len(words) == 1 else f"benchproof {first} {', '.join(rest)}"


def _told(shape: type[View], objects: dict[type[View], None]) -> Iterator[str]:
    yield f"{inspect.getdoc(shape)}"
    yield ""
    yield "| key | type | what it holds |"
    yield "| --- | --- | --- |"
    hints = get_type_hints(shape, include_extras=True)
    for name in told_order(shape.__struct_fields__):
        kind, meaning = hints[name], ""
        if get_origin(kind) is Annotated:
            kind, *notes = get_args(kind)
            meaning = " ".join(n.description for n in notes if n.description)
        yield f"| `{name}` | {_kind(kind, objects)} | {meaning} |"


def _kind(kind: Any, objects: dict[type[View], None]) -> str:  # noqa: ANN401  (any type)
    """Return a type in words, and note the objects that it names."""
    origin, of = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return _kind(of[0], objects)
    if origin in (Union, UnionType):
        some = [_kind(one, objects) for one in of if one is not NoneType]
        return " or ".join([*some, "`null`"])
    if origin is Literal:
        return ", ".join(f"`{one}`" for one in of)
    if origin is list:
        return f"list of {_kind(of[0], objects)}"
    if origin is tuple:
        return f"[{', '.join(_kind(one, objects) for one in of)}]"
    if origin is dict:
        return f"object: {_kind(of[1], objects)} by name"
    if isinstance(kind, type) and issubclass(kind, View):
        objects.setdefault(kind)
        name = _name(kind)
        return f"[{name}](#{name.replace(' ', '-')})"
    return _PLAIN[kind]


def _name(shape: type[View]) -> str:
    """Return the name of an object: "swept pair" of SweptPairView."""
    bare = shape.__name__.removesuffix("View")
    return "".join(f" {c.lower()}" if c.isupper() else c for c in bare).strip()


if __name__ == "__main__":
    DOC.write_text(document(), encoding="utf-8")
