"""Proofs of invented parts, whose readings are those that the chart asks for unless told."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

import pytest

import benchproof
from benchproof.family.expectation import Kind
from benchproof.family.model import Pair, same_pair
from benchproof.plan.actions import TakeReading
from benchproof.proof.events import (
    BenchChosen,
    Event,
    MeterChosen,
    Mistake,
    Mode,
    Opened,
    ReadingTaken,
    ReadingWithdrawn,
)
from benchproof.proof.state import State, start

PACKAGE = Path(benchproof.__file__).parent
AT = "2026-03-02T14:05:09+01:00"
SMALL = b"""
name = "small"
positions = ["P", "R", "D"]
pins = [{ name = "A" }, { name = "B" }, { name = "E" }, { name = "C" }, { name = "F" }]
[[chart]]
pair = "A-E"
expect = ["closed", "open", "closed"]
[[chart]]
pair = "B-E"
expect = ["open", "closed", "100 ohm"]
[[chart]]
pair = "C-F"
role = "start permit"
expect = ["closed", "open", "open"]
"""


def shipped(kind: str, name: str) -> bytes:
    return (PACKAGE / kind / f"{name}.toml").read_bytes()


Answer = Callable[[State, TakeReading], str]


@dataclass
class Making:
    """Makes events of one part, and keeps the files that they name."""

    files: dict[str, bytes] = field(default_factory=dict)

    def put(self, content: bytes) -> str:
        """Keep a file and return its hash."""
        key = sha256(content).hexdigest()
        self.files[key] = content
        return key

    def opened(
        self,
        family: bytes,
        name: str = "small",
        mode: Mode = Mode.PROVE,
        library: Iterable[str] = (),
        at: str = AT,
    ) -> Opened:
        """Return the event that opens a proof, of the usual priors, meter and bench."""
        return Opened(
            at=at,
            by="ab",
            part="S-1",
            mode=mode,
            version="0.1.0",
            family=name,
            family_file=self.put(family),
            priors_file=self.put(shipped("diagnose", "priors")),
            meter_file=self.put(shipped("meters", "ordinary-handheld")),
            bench_file=self.put(shipped("benches", "selector-box")),
            library=tuple((other, self.put(shipped("families", other))) for other in library),
        )

    def meter(self, name: str = "depot-bench", due_on: str = "2027-01-01") -> MeterChosen:
        """Return the event that chooses a meter."""
        key = self.put(shipped("meters", name))
        return MeterChosen(AT, "ab", key, name, tag="M-1", due_on=due_on)

    def bench(self, name: str = "needle-probes") -> BenchChosen:
        """Return the event that chooses a bench."""
        return BenchChosen(AT, "ab", self.put(shipped("benches", name)), name)

    def started(self, family: bytes = SMALL, name: str = "small", mode: Mode = Mode.PROVE) -> State:
        """Return a proof just opened, its meter named."""
        return start(self.opened(family, name, mode), self.files).after(self.meter())

    def shipped(self, name: str = "valley-coded-7", mode: Mode = Mode.PROVE) -> State:
        """Return a proof just opened of a family that comes along."""
        return self.started(shipped("families", name), name, mode)

    def taken(
        self,
        position: str,
        pair: str | Pair,
        value: str,
        lean: str = "",
        again: bool = False,
        by: str = "ab",
    ) -> ReadingTaken:
        """Return the event of a reading."""
        first, second = pair.split("-") if isinstance(pair, str) else pair
        return ReadingTaken(AT, by, position, (first, second), value, lean, again)

    def withdrawn(
        self, seq: int, reason: str = "probe slipped", kind: Mistake = Mistake.SLIP, by: str = "ab"
    ) -> ReadingWithdrawn:
        """Return the event that withdraws a reading."""
        return ReadingWithdrawn(AT, by, seq, reason, kind)

    def charted(self, state: State, action: TakeReading) -> str:
        """Return what a good part reads, as a person types it."""
        family = state.ground.family
        row = next(r for r in family.chart if same_pair(r.pair) == same_pair(action.pair))
        expected = row.expect[family.positions.index(action.position)]
        match expected.kind:
            case Kind.CLOSED:
                return "0.1"
            case Kind.OHMS:
                return f"{expected.nominal_ohm} ohm"
            case _:
                return "OL"

    def worked(self, state: State, answer: Answer | None = None, most: int = 200) -> State:
        """Return the proof after every reading that it asks for."""
        for _ in range(most):
            action = state.next.action
            if not isinstance(action, TakeReading):
                return state
            value = (answer or self.charted)(state, action)
            one = self.taken(action.position, action.pair, value, action.lean, action.again)
            state = state.after(one)
        raise AssertionError("it asks on and on")

    def followed(self, state: State, *events: Event) -> State:
        """Return the state after some events."""
        for event in events:
            state = state.after(event)
        return state


@pytest.fixture(scope="session")
def making() -> Making:
    return Making()


@pytest.fixture(scope="session")
def accepted(making: Making) -> State:
    """Return a proof of a good part that nothing stands against."""
    return making.worked(making.shipped())
