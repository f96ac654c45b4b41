"""What to do with the part of a proof, priced by the shop's own figures or the invented ones."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

import msgspec
from msgspec import inspect as shapes

from benchproof.shipped.contents import usual_costs
from benchproof.shop.costs import Costs, read_costs
from benchproof.shop.decision import Choice, Decision, decide

if TYPE_CHECKING:
    from benchproof.proof.state import State

INVENTED = "The costs are invented; type the shop's own."
LABELS = {
    "currency": "Money",
    "hour": "An hour at the bench",
    "new_part": "A new part",
    "comeback": "A unit that comes back",
    "reuse_min": "Install it as it is, minutes",
    "realign_min": "Center it and prove it anew, minutes",
    "clean_min": "Clean, dry and prove it anew, minutes",
    "replace_min": "Set and prove a new part, minutes",
    "good_comeback_rate": "How often a good part comes back, 0 to 1",
    "new_comeback_rate": "How often a new part comes back, 0 to 1",
    "misaligned_comeback_rate": "How often one out of line comes back, 0 to 1",
    "faulty_comeback_rate": "How often a faulty one comes back, 0 to 1",
    "clean_cures_rate": "How often cleaning cures a fault, 0 to 1",
    "proof_finds_rate": "How often a new proof finds what is wrong, 0 to 1",
    "doubtful_good_rate": "How often a doubtful part is good after all, 0 to 1",
}
"""What each of the shop's figures is called."""
assert tuple(LABELS) == Costs.__struct_fields__, "every figure has a name"
_LIMITS = {one.name: one.type for one in shapes.type_info(Costs).fields}  # type: ignore[attr-defined]
_THOUSANDS = re.compile(r"\d+,\d{3}")


@dataclass(frozen=True)
class Figures:
    """The figures that count.

    Attributes
    ----------
    costs : Costs
    own : bool
        Whether they are the shop's own; else they are invented.
    """

    costs: Costs
    own: bool

    @property
    def typed(self) -> dict[str, str]:
        """Each as it is typed."""
        values = msgspec.to_builtins(self.costs)
        return {
            name: value if isinstance(value, str) else f"{value:.10g}"
            for name, value in values.items()
        }


def figures_kept(text: str) -> Figures:
    """Return the figures that `kept` made a text of; the invented ones of an empty text."""
    usual = read_costs(usual_costs(), "costs.toml", "")
    if not text:
        return Figures(usual, own=False)
    try:
        return Figures(msgspec.json.decode(text, type=Costs), own=True)
    except msgspec.DecodeError:
        # Another version may have had other figures.
        return Figures(usual, own=False)


def kept(costs: Costs) -> str:
    """Return figures as text."""
    return msgspec.json.encode(costs).decode()


def figures_typed(typed: Mapping[str, str], before: Costs) -> tuple[Costs, dict[str, str]]:
    """Return the figures as they were typed, and what is wrong with those that cannot be taken.

    Parameters
    ----------
    typed : mapping of str to str
        By field; what is missing or empty stays as it was.
    before : Costs
    """
    values: dict[str, float | str] = {}
    wrong: dict[str, str] = {}
    for name, limit in _LIMITS.items():
        text = typed.get(name, "").strip()
        if not text:
            continue
        if isinstance(limit, shapes.StrType):
            values[name] = text
            if limit.max_length is not None and len(text) > limit.max_length:
                wrong[name] = f"Take at most {limit.max_length} letters."
            continue
        assert isinstance(limit, shapes.FloatType)
        number = _number(text)
        most = float(limit.le or 0.0)
        if _THOUSANDS.fullmatch(text):
            wrong[name] = f"Is it {text.replace(',', '')} or {text.replace(',', '.')}? Type that."
        elif number is None or not 0.0 <= number <= most:
            wrong[name] = f"Type a number from 0 to {most:,.0f}."
        else:
            values[name] = number
    return (before if wrong else msgspec.structs.replace(before, **values)), wrong


def _number(text: str) -> float | None:
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        return None
    return found if isfinite(found) else None


def decided(state: "State", figures: Figures) -> tuple[Decision | None, tuple[str, ...]]:
    """Price what can be done with the part of a proof, as it is left.

    Parameters
    ----------
    state : State
        The proof.
    figures : Figures
        What it costs.

    Returns
    -------
    Decision or None
        None as long as nothing is read.
    tuple of str
        What is to be said of it.

    Raises
    ------
    TooLarge
        If the chart is too large for a diagnosis.
    """
    if not (state.as_left.taken or state.as_left.noted):
        return None, ("Nothing is read yet, so nothing can be priced.",)
    found = decide(state.as_left.examination, figures.costs, state.dangers)
    # The price knows nothing of how a part must be proved.
    against = [one.sentence for one in state.objections if not one.overridable]
    first = [f"Before it is reused: {one}" for one in against if found.best is Choice.REUSE]
    return found, (*first, *found.remarks, *(() if figures.own else (INVENTED,)))
