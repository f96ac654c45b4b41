"""The hash chain of a proof's events: each hash covers all that came before it.

Pure: bytes in, hashes out. Whoever can rewrite the whole archive can also rewrite a chain; the hash
printed on a certificate is what shows that.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256

_START = b"benchproof proof 1\n"


@dataclass(frozen=True, slots=True)
class Link:
    """The place of an event in its chain.

    Attributes
    ----------
    seq : int
        1 for the first event of the proof.
    hash : str
        64 hexadecimal digits.
    """

    seq: int
    hash: str


@dataclass(frozen=True, slots=True)
class Stored:
    """An event as it stands in the archive."""

    seq: int
    payload: bytes
    hash: str


def start(tag: str) -> Link:
    """Return the link before the first event of a proof.

    Examples
    --------
    >>> start("S-1.1").seq
    0
    """
    return Link(0, sha256(_START + tag.encode()).hexdigest())


def following(last: Link, payload: bytes) -> Link:
    """Return the link of the event that comes after `last`."""
    seq = last.seq + 1
    hashed = sha256(bytes.fromhex(last.hash) + seq.to_bytes(8, "big") + payload)
    return Link(seq, hashed.hexdigest())


def breaks(tag: str, events: Iterable[Stored], head: Link) -> Iterator[str]:
    """Tell where a proof's events are not what was recorded, one phrase for each place.

    Parameters
    ----------
    tag : str
        Of the proof.
    events : iterable of Stored
        In order of `seq`.
    head : Link
        Number and hash of the last event, as they stand beside the proof's tag.

    Examples
    --------
    >>> first = following(start("S-1.1"), b"opened")
    >>> list(breaks("S-1.1", [Stored(1, b"opened", first.hash)], first))
    []
    >>> list(breaks("S-1.1", [Stored(1, b"Opened", first.hash)], first))
    ['event 1 was altered']
    """
    last = start(tag)
    for event in events:
        if event.seq != last.seq + 1:
            # What the missing events hashed to is lost: the next ones are held against this one.
            yield _gap(last.seq, event.seq)
        elif following(last, event.payload).hash != event.hash:
            yield f"event {event.seq} was altered"
        last = Link(event.seq, event.hash)
    if last.seq != head.seq:
        yield f"the last event is number {last.seq}, but the proof's row says {head.seq}"
    elif last.hash != head.hash:
        yield "the hash of the last event is not the one in the proof's row"


def _gap(before: int, here: int) -> str:
    if here <= before:
        return f"event {here} stands out of order"
    if here == before + 2:
        return f"event {before + 1} is missing"
    return f"events {before + 1} to {here - 1} are missing"
