"""The kind of struct that all objects are, and the order in which they are told."""

from collections.abc import Iterable
from typing import Any

from msgspec import Meta, Struct


class View(Struct, forbid_unknown_fields=True, kw_only=True):
    """An object that a program is shown; its docstring and its fields' meanings are documented."""


def says(meaning: str) -> Meta:
    """Return what a field means, for a person who reads docs/json.md or the API's description."""
    return Meta(description=meaning)


Pins = tuple[str, str]
Span = tuple[float, float]

_FIRST = ("dangers", "danger", "questions")


def dangers_first(told: Any) -> Any:  # noqa: ANN401  (whatever JSON can hold)
    """Return what is told with what could hurt somebody first, in every object of it."""
    if isinstance(told, list):
        return [dangers_first(one) for one in told]
    if not isinstance(told, dict):
        return told
    return {key: dangers_first(told[key]) for key in told_order(told)}


def told_order(keys: Iterable[str]) -> list[str]:
    """Return keys in the order in which they are told."""
    return sorted(keys, key=lambda key: _FIRST.index(key) if key in _FIRST else len(_FIRST))
