"""The two hash chains, of a proof's events and of the archive's ledger: a hash covers all before.

Pure: bytes in, hashes out. Whoever can rewrite the whole archive can also rewrite a chain; the
ledger's signatures, and the hash printed on a certificate, are what shows that.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256

_START = b"benchproof proof 1\n"
_LEDGER = b"benchproof ledger 1\n"
_HASH = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class ChainLink:
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


@dataclass(frozen=True, slots=True)
class Entry:
    """One change of the archive, as it stands in the ledger.

    Attributes
    ----------
    number : int
        1 for the first entry of the archive.
    kind : str
        The table that got a row, or what else was done.
    subject : str
        Which row; with `kind` it stands in the payload too.
    payload : bytes
        JSON.
    hash : str
        64 hexadecimal digits.
    signer : str
        Name of the key that signed the hash; empty where a later entry of one change is signed.
    signature : bytes
        64 bytes, or none.
    """

    number: int
    kind: str
    subject: str
    payload: bytes
    hash: str
    signer: str = ""
    signature: bytes = b""


def entry_hash(before: Entry | None, payload: bytes) -> str:
    """Return the hash of the entry that comes after `before`, whose signature it covers too."""
    if before is None:
        hashed = sha256(_LEDGER + (1).to_bytes(8, "big") + payload)
    else:
        # What is no text was read as it is.
        seal = before.signer.encode("utf-8", "surrogateescape") + before.signature
        number = (before.number + 1).to_bytes(8, "big")
        hashed = sha256(bytes.fromhex(before.hash) + seal + number + payload)
    return hashed.hexdigest()


def start(tag: str) -> ChainLink:
    """Return the link before the first event of a proof.

    Examples
    --------
    >>> start("S-1.1").seq
    0
    """
    return ChainLink(0, sha256(_START + tag.encode()).hexdigest())


def following(last: ChainLink, payload: bytes) -> ChainLink:
    """Return the link of the event that comes after `last`."""
    seq = last.seq + 1
    hashed = sha256(bytes.fromhex(last.hash) + seq.to_bytes(8, "big") + payload)
    return ChainLink(seq, hashed.hexdigest())


def breaks(tag: str, events: Iterable[Stored], head: ChainLink) -> Iterator[str]:
    """Tell where a proof's events are not what was recorded, one phrase for each place.

    Parameters
    ----------
    tag : str
        Of the proof.
    events : iterable of Stored
        In order of `seq`.
    head : ChainLink
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
        # Another program may have put anything into a column.
        if type(event.seq) is not int or not _HASH.fullmatch(str(event.hash)):
            yield f"event {last.seq + 1} was altered"
            return
        if event.seq != last.seq + 1:
            # What the missing events hashed to is lost: the next ones are held against this one.
            yield _gap(last.seq, event.seq)
        elif (
            not isinstance(event.payload, bytes)
            or following(last, event.payload).hash != event.hash
        ):
            yield f"event {event.seq} was altered"
        last = ChainLink(event.seq, event.hash)
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
