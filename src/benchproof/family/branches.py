"""What lies between two nodes of a part, as far as a family needs to know it.

A node is a pin, `CASE`, or an inner node that the family file declares. The kinds of branch are the
network's (`network.branches`).
"""

from typing import Protocol

CASE = "case"
"""The housing as a terminal."""


class BranchLike(Protocol):
    """One thing between two nodes."""

    @property
    def ends(self) -> tuple[str, str]:
        """The two nodes it joins."""
