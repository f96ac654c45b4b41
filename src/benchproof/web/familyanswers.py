"""What a person says on the page of a family that its chart does not tell."""

from dataclasses import dataclass

from benchproof.conduct.familyanswers import PROPOSED
from benchproof.family.audit.finding import Finding
from benchproof.family.audit.rules import unfit
from benchproof.family.model import Family, Role, pair_text
from benchproof.family.safety import Question, safety_of
from benchproof.web.forms import PageRequest

KINDS = ("park", "reverse", "neutral", "drive")
ROLES = tuple(role.value for role in Role if role is not Role.UNTOLD)


@dataclass(frozen=True)
class QuestionPanel:
    """The questions about a family as a screen asks them.

    Attributes
    ----------
    family : Family
    form : str
        The id of the form that its answers go with.
    questions : tuple of Question
    unfit : tuple of Finding
        Why no part can be proved against the chart.
    """

    family: Family
    form: str
    questions: tuple[Question, ...]
    unfit: tuple[Finding, ...]
    kinds: tuple[str, ...] = KINDS
    roles: tuple[str, ...] = ROLES

    @property
    def untold(self) -> list[str]:
        """The pairs of which nobody has said what they do."""
        return [pair_text(row.pair) for row in self.family.chart if row.role is Role.UNTOLD]


def panel_of(family: Family, form: str) -> QuestionPanel | None:
    """Return what is to be asked of a family; None if nothing is."""
    found = QuestionPanel(family, form, safety_of(family).questions, tuple(unfit(family)))
    return found if found.questions or found.unfit else None


def said_in(asked: PageRequest, family: Family) -> list[str]:
    """Return what was said in a form, as `understood` takes it; empty if nothing."""
    do = asked.text("do")
    if do not in (PROPOSED, "say"):
        return []
    said = [PROPOSED] if do == PROPOSED else []
    for number, position in enumerate(family.positions):
        if kind := asked.text(f"position-{number}", 20):
            said.append(f"{position}={kind}")
    for number, row in enumerate(family.chart):
        if role := asked.text(f"pair-{number}", 20):
            said.append(f"{pair_text(row.pair)}={role}")
    if asked.text("no-permit"):
        said.append("start permit=none")
    if reason := asked.text("reason", 400):
        said.append(f"chart={reason}")
    return said
