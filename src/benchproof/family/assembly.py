"""Parts and the harness that joins them, as a file tells them; `network.assembly` joins them."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchproof.family.model import Family
from benchproof.family.problems import Problem
from benchproof.family.roles import Answers


@dataclass(frozen=True)
class Assembly:
    """Parts and the harness that joins them.

    Attributes
    ----------
    harness : Family
        The connector at which the meter is, and what leads from it: its pins are those of the
        connector, its branches the wires, its inner nodes splices and the members' pins, by
        `node_of`; its chart is what is told of the connector itself. Positions are those of the
        member that has a lever.
    members : mapping of str to Family
        The parts, by the names that the harness has for them; at most one has a lever.
    own_limits : bool
        Whether the limits of the harness hold at its connector; else those of the parts do, with
        the wires' ohms added.
    """

    harness: Family
    members: Mapping[str, Family]
    own_limits: bool = False
    said: Answers = field(default_factory=Answers)

    @property
    def moved(self) -> Family | None:
        """The member that has a lever; None if none has one."""
        return next((family for family in self.members.values() if family.lever), None)


class NotJoined(ValueError):
    """Parts cannot be joined to one network.

    Attributes
    ----------
    problems : tuple of Problem
        All that is wrong, each with its place in the file.
    """

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__(" ".join(one.sentence for one in problems))
        self.problems = problems


def node_of(member: str, pin: str) -> str:
    """Return what a harness calls a pin of a member.

    Examples
    --------
    >>> node_of("switch", "A")
    'switch.A'
    """
    return f"{member}.{pin}"
