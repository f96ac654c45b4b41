"""The one type of every option that takes a number."""

from math import inf
from typing import Any

import click

from benchproof.family.sentence import quoted
from benchproof.reading.quantity import parse_quantity


class NumberType(click.ParamType[float]):
    """A number with a decimal point or comma, and a unit that may stand beside it.

    Parameters
    ----------
    unit : str
        What a bare number is in; see `reading.quantity`.
    low, high : float
        Between which it must lie, in that unit.
    open_low : bool
        Whether `low` itself is outside.
    whole : bool
        Whether it is rounded to a whole number.
    """

    name = "number"

    def __init__(
        self,
        unit: str = "",
        low: float = -inf,
        high: float = inf,
        *,
        open_low: bool = False,
        whole: bool = False,
    ) -> None:
        self.unit, self.low, self.high = unit, low, high
        self.open_low = open_low
        self.whole = whole

    def convert(
        self,
        value: Any,  # noqa: ANN401  (click's signature)
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """Return the number in our unit."""
        if isinstance(value, int | float):
            return value
        try:
            number = parse_quantity(value, self.unit)
        except ValueError as error:
            self.fail(f"{quoted(value)} {error}.", param, ctx)
        below = number <= self.low if self.open_low else number < self.low
        if below or number > self.high or abs(number) == inf:
            self.fail(f"{quoted(value)} is out of range: {self._allowed}.", param, ctx)
        return round(number) if self.whole else number

    @property
    def _allowed(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        least = "above" if self.open_low else "at least"
        ends = [f"{least} {self.low:g}{unit}"] if self.low > -inf else []
        ends += [f"at most {self.high:g}{unit}"] if self.high < inf else []
        return " and ".join(ends) or "a number"
