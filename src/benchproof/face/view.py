"""The kind of struct that all objects are, and the order in which they are told."""

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from msgspec import Meta, Struct, to_builtins
from msgspec.json import schema_components

from benchproof.family.model import AT_REST


class View(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """An object that a program is shown; its docstring and its fields' meanings are documented."""


def says(meaning: str) -> Meta:
    """Return what a field means, for a person who reads docs/json.md or the API's description."""
    return Meta(description=meaning)


Pins = Annotated[tuple[str, str], says("the two pins")]
Span = tuple[float, float]
Time = Annotated[
    str,
    Meta(
        description="time with its offset from UTC, ISO 8601",
        extra_json_schema={"format": "date-time"},
    ),
]
Day = Annotated[str, Meta(description="day, ISO 8601", extra_json_schema={"format": "date"})]
Position = Annotated[str, says("lever position, as the family names it")]
CellPosition = Annotated[
    str | None, says("lever position, as the family names it; `null` for a part without a lever")
]
FamilyName = Annotated[str, says("name of the family")]
Mode = Annotated[
    Literal["find", "prove"],
    says("`find` stops at a clear decision, `prove` reads every cell"),
]


def position_shown(position: str) -> str | None:
    """Return a lever position as it is shown: None for a part without a lever."""
    return None if position == AT_REST else position


_FIRST = ("dangers", "danger", "questions")


def told(shown: Any) -> Any:  # noqa: ANN401  (a view, or a list of views)
    """Return what JSON can hold of what is shown, with what could hurt somebody first."""
    return dangers_first(to_builtins(shown))


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


def tells_in_order(shape: Any) -> bool:  # noqa: ANN401  (a view, or a list of views)
    """Return whether all objects of a type have their keys in that order as they are declared."""
    _, components = schema_components([shape])
    named = [list(one["properties"]) for one in components.values() if "properties" in one]
    return all(told_order(keys) == keys for keys in named)
