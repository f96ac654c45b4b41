"""Whether the archive stays quick: 100,000 proofs against 1,000, in the same run.

`make bench-archive` runs it whole and writes into docs/records.md; `make test` runs a small sample.
"""

import argparse
import random
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import groupby
from pathlib import Path

from sqlalchemy import delete, insert, select

from benchproof.record import chain, schema
from benchproof.record.chain import ChainLink, Stored
from benchproof.record.openformats import emptied
from benchproof.record.rows import ProofRow
from benchproof.record.store import Store, open_store
from benchproof.record.verifying import verify
from figures import write_between
from postgres import server
from recording import clock, payload, scratch

FAMILY = b"invented family"
BEGAN = datetime(2020, 1, 2, 8, 0, tzinfo=UTC)
DOC = Path(__file__).parents[1] / "docs" / "records.md"
EVENTS_A_PROOF = 10
PROOFS_A_PART = 2
_AT_ONCE = 2000


@dataclass(frozen=True)
class Doing:
    """One thing that a person does, in a small archive and in a large one.

    Attributes
    ----------
    name : str
    small_ms, large_ms : float
        Median.
    """

    name: str
    small_ms: float
    large_ms: float

    @property
    def ratio(self) -> float:
        """How many times as long it takes in the large archive."""
        return self.large_ms / self.small_ms


def fill(store: Store, proofs: int) -> None:
    """Record many closed proofs at once, without waiting for the disk after each event."""
    family = sha256(FAMILY).hexdigest()
    with emptied(store, "the benchmark") as connection:
        connection.execute(insert(schema.files).values(hash=family, content=FAMILY))
        for first in range(0, proofs, _AT_ONCE):
            rows = list(_rows(first, min(first + _AT_ONCE, proofs), family))
            for table, kind in ((schema.parts, 0), (schema.proofs, 1), (schema.events, 2)):
                told = [row for rowset in rows for row in rowset[kind]]
                connection.execute(insert(table), told)


def _rows(first: int, last: int, family: str) -> Iterator[tuple[list[dict[str, object]], ...]]:
    for number in range(first, last):
        at = BEGAN + timedelta(minutes=7 * number)
        part = f"S-{number // PROOFS_A_PART:06d}"
        tag = f"{part}.{number % PROOFS_A_PART + 1}"
        link = chain.start(tag)
        events: list[dict[str, object]] = []
        for seq in range(EVENTS_A_PROOF):
            link = chain.following(link, payload(seq))
            events.append(
                {"proof": tag, "seq": link.seq, "payload": payload(seq), "hash": link.hash}
            )
        parts: list[dict[str, object]] = []
        if number % PROOFS_A_PART == 0:
            parts.append(
                {
                    "tag": part,
                    "family": "invented",
                    "family_file": family,
                    "added": at,
                    "maker_class": "unknown",
                    "core": None,
                    "bought": False,
                    "note": "",
                }
            )
        # As many are open in the small archive as a page shows.
        closed = None if number % 20 == 0 else "accepted"
        proof: dict[str, object] = {
            "tag": tag,
            "part": part,
            "number": number % PROOFS_A_PART + 1,
            "opened_at": at,
            "last_seq": link.seq,
            "head": link.hash,
            "mode": "prove",
            "closed_as": closed,
        }
        yield parts, [proof], events


def measure(small: Store, large: Store, counts: tuple[int, int], rounds: int) -> list[Doing]:
    """Time what a person does, in both archives by turns."""
    drawn = random.Random(1)
    times: dict[str, tuple[list[float], list[float]]] = {}
    for turn in range(rounds + 5):
        for which, (store, many) in enumerate(((small, counts[0]), (large, counts[1]))):
            number = drawn.randrange(many)
            part = f"S-{number // PROOFS_A_PART:06d}"
            for name, do in _doings(store, part, number).items():
                begin = time.perf_counter()
                do()
                seconds = time.perf_counter() - begin
                if turn >= 5:
                    times.setdefault(name, ([], []))[which].append(1000.0 * seconds)
    return [
        Doing(name, statistics.median(two[0]), statistics.median(two[1]))
        for name, two in times.items()
    ]


def _doings(store: Store, part: str, number: int) -> dict[str, Callable[[], object]]:
    tag = f"{part}.{number % PROOFS_A_PART + 1}"

    def second_page() -> list[ProofRow]:
        return store.proofs.list(before=store.proofs.list()[-1])

    return {
        "opening the list of proofs": store.proofs.list,
        "its second page": second_page,
        "the list of open proofs": lambda: store.proofs.list(open_only=True),
        "finding a part by its tag": lambda: store.parts.get(part),
        "completing a tag": lambda: store.parts.tags(part[:-1], 20),
        "the proofs of a part": lambda: store.proofs.list(part=part),
        "opening a proof": lambda: store.proofs.events(tag),
    }


def table(doings: list[Doing]) -> str:
    """Return figures as a Markdown table."""
    lines = ["| doing | small, ms | large, ms | ratio |", "| --- | ---: | ---: | ---: |"]
    lines += [f"| {d.name} | {d.small_ms:.2f} | {d.large_ms:.2f} | {d.ratio:.2f} |" for d in doings]
    return "\n".join(lines)


def run(small_at: str, large_at: str, counts: tuple[int, int], rounds: int) -> list[Doing]:
    """Fill two archives and time them."""
    with ExitStack() as stack:
        small, large = (stack.enter_context(open_store(at, clock)) for at in (small_at, large_at))
        for store, many in ((small, counts[0]), (large, counts[1])):
            fill(store, many)
            if store.database.path is None:
                _analyse(store)
        return measure(small, large, counts, rounds)


def whole(store: Store) -> str:
    """Time what looks at everything, against what looking at the proofs' chains alone takes."""
    chains = _timed(lambda: _chains_alone(store))
    looked = _timed(lambda: verify(store.database))
    with store.database.writing() as connection:
        connection.execute(delete(schema.ledger))
        begun = _timed(lambda: store.ledger.begin(connection))
    lines = ["| doing | time, s | times the chains alone |", "| --- | ---: | ---: |"]
    for name, seconds in (
        ("the chains of proofs, files and photographs alone", chains),
        ("`verify`", looked),
        ("beginning the ledger of an archive that had none", begun),
    ):
        lines.append(f"| {name} | {seconds:.1f} | {seconds / chains:.1f} |")
    return "\n".join(lines)


def _timed(do: Callable[[], object]) -> float:
    begin = time.perf_counter()
    do()
    return time.perf_counter() - begin


def _chains_alone(store: Store) -> None:
    """Look at what could be looked at before there was a ledger."""
    events, proofs = schema.events, schema.proofs
    columns = (events.c.proof, events.c.seq, events.c.payload, events.c.hash)
    with store.database.reading() as connection:
        heads = connection.execute(select(proofs.c.tag, proofs.c.last_seq, proofs.c.head)).all()
        expected = {tag: ChainLink(seq, head) for tag, seq, head in heads}
        query = select(*columns).order_by(events.c.proof, events.c.seq)
        rows = connection.execute(query, execution_options={"yield_per": 1000})
        for tag, group in groupby(rows, key=lambda row: row[0]):
            stored = [Stored(*row[1:]) for row in group]
            assert not list(chain.breaks(tag, stored, expected[tag]))


def _analyse(store: Store) -> None:
    """Let PostgreSQL count its rows, as it does by itself within a minute."""
    with store.database.writing() as connection:
        connection.exec_driver_sql("ANALYZE")


def main() -> None:
    """Run it whole and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--proofs", type=int, default=100_000)
    options.add_argument("--rounds", type=int, default=300)
    chosen = options.parse_args()
    counts = (1000, chosen.proofs)
    with scratch() as folder:
        told = run(str(folder / "small"), str(folder / "large"), counts, chosen.rounds)
        write_between(DOC, "archive sqlite", table(told))
        with open_store(str(folder / "large"), clock) as store:
            write_between(DOC, "archive whole", whole(store))
    with server() as running:
        small, large = running.new_database(), running.new_database()
        told = run(small, large, counts, chosen.rounds)
        write_between(DOC, "archive postgresql", table(told))
    print(DOC.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
