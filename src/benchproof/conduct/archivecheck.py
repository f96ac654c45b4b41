"""Whether the archive is as it was recorded, the meaning of its events included."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchproof.proof.codec import decode
from benchproof.proof.events import Closed
from benchproof.proof.problems import ProofProblem
from benchproof.record.verifying import Verified, verify

if TYPE_CHECKING:
    from benchproof.record.store import Store


def looked_at(store: "Store", codes: Sequence[str] = ()) -> Verified:
    """Look at everything in the archive, and at what this bench remembers of it.

    Parameters
    ----------
    codes : sequence of str
        Heads that were printed or written down.
    """
    return verify(store.database, agrees, store.ledger.heads, codes)


def agrees(closed_as: str | None, payloads: Sequence[bytes]) -> bool:
    """Tell whether a proof's events say that it is closed as the list says."""
    unread = False
    # Only remarks follow the event that closes a proof.
    for payload in reversed(payloads):
        try:
            event = decode(payload)
        except ProofProblem:
            # Of a newer program, or altered, which the chain tells.
            unread = True
            continue
        if isinstance(event, Closed):
            return event.outcome.value == closed_as
    return unread or closed_as is None
