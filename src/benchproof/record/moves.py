"""The way of a part over the shelf: which move may follow which.

The database holds each move to this table, so that no program can put a part on two units at once.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Lawful:
    """One kind of move.

    Attributes
    ----------
    before, after : str
        States; `before` is empty for a part that was never on the shelf.
    unit : str
        "none" where the move names no unit, "new" where it names any, "same" where it names the one
        that the part is reserved for or fitted in.
    proven : bool
        Whether it needs an accepted proof that put no part on the shelf before.
    """

    before: str
    after: str
    unit: str
    proven: bool = False


LAWFUL = (
    Lawful("", "stock", "none", proven=True),
    Lawful("stock", "reserved", "new"),
    Lawful("stock", "fitted", "new"),
    Lawful("stock", "scrapped", "none"),
    Lawful("reserved", "stock", "none"),
    Lawful("reserved", "fitted", "same"),
    Lawful("reserved", "scrapped", "none"),
    Lawful("fitted", "returned", "same"),
    Lawful("returned", "stock", "none", proven=True),
    Lawful("returned", "scrapped", "none"),
)
STATES = ("stock", "reserved", "fitted", "returned", "scrapped")
ACCEPTED = "accepted"
"""How a proof is closed that lets its part go on the shelf."""


def lawful_sql() -> str:
    """Return the condition that each row of `shelf_moves` meets."""
    return " OR ".join(f"({_row_sql(move)})" for move in LAWFUL)


def _row_sql(move: Lawful) -> str:
    place = {"none": "place = ''", "new": "place <> ''", "same": "place = before_place"}[move.unit]
    proof = "IS NOT NULL" if move.proven else "IS NULL"
    return (
        f"before_state = '{move.before}' AND state = '{move.after}' AND {place} AND proof {proof}"
    )
