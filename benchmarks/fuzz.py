"""Replies of a meter, spoilt in every way that a line can: no wrong number may be accepted.

`make fuzz-instrument` makes 100,000 of them; `make test` runs a sample. The meter is the simulated
bench in memory; the line keeps what was sent late and hands it over even after it was opened anew,
as a serial line does. Time is counted, not waited for.
"""

import random
import sys
from collections import Counter
from dataclasses import dataclass, field

from benchproof.instrument.dialect import Dialect
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.meter import ScpiMeter
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.scpi import Lines
from benchproof.instrument.simbench import garbled
from benchproof.instrument.simcommands import Faults, SimBench, Wiring
from benchproof.reading.value import Measured, OverRange

TIMEOUT_S = 1.0
KINDS = ("garbled", "scattered", "cut", "silent", "late", "twice", "question garbled")


@dataclass
class Line:
    """A line in memory to a bench, with faults; `rate` of the replies are spoilt."""

    bench: SimBench
    rng: random.Random
    rate: float
    now_s: float = 0.0
    spoilt: Counter[str] = field(default_factory=Counter)
    name: str = "memory"

    def __post_init__(self) -> None:
        """Start with nothing on the way."""
        self._in, self._late, self._lines, self._cut = b"", b"", Lines(), False

    def open(self) -> None:
        """Open it; what is late stays late."""
        self._in, self._cut, self._lines = b"", False, Lines()

    def close(self) -> None:
        """Close it."""

    def clock(self) -> float:
        """Return the seconds that were counted."""
        return self.now_s

    def sleep(self, seconds: float) -> None:
        """Count seconds."""
        self.now_s += seconds

    def write(self, data: bytes) -> None:
        """Execute the message and put its reply, spoilt or not, on the way."""
        rng = self.rng
        kind = rng.choice(KINDS) if rng.random() < self.rate else ""
        self.spoilt[kind] += 1
        if self._late and rng.random() < 0.5:
            self._in, self._late = self._in + self._late, b""
        if kind == "question garbled":
            data = burst(data, rng)
        for message in self._lines.feed(data):
            reply = self.bench.execute(message)
            if reply is not None:
                self._put(reply.encode() + b"\n", kind)

    def _put(self, data: bytes, kind: str) -> None:
        match kind:
            case "garbled":
                self._in += burst(data, self.rng)
            case "scattered":
                self._in += garbled(data, self.rng)
            case "cut":
                self._in += data[: self.rng.randrange(len(data))]
                self._cut = True
            case "silent":
                pass
            case "late":
                self._late += data
            case "twice":
                self._in += data + data
            case _:
                self._in += data

    def read(self, timeout_s: float) -> bytes:
        """Return a piece of what is on the way."""
        if self._in:
            size = self.rng.randint(1, len(self._in))
            data, self._in = self._in[:size], self._in[size:]
            return data
        if self._cut:
            raise Doubt(Trouble.LOST)
        self.now_s += max(timeout_s, 1e-6)
        return b""


def burst(data: bytes, rng: random.Random) -> bytes:
    """Return bytes with up to eight in a row replaced by as many others, fewer or more."""
    at = rng.randrange(len(data))
    noise = bytes(rng.choice((rng.randrange(256), *b"0123456789+-.E,;\n")) for _ in range(8))
    return data[:at] + noise[: rng.randint(0, 8)] + data[at + rng.randint(0, 8) :]


def is_right(value: Measured | OverRange, ohm: float) -> bool:
    """Return whether a reading is what the bench sent of a resistance."""
    if isinstance(value, OverRange):
        return ohm == float("inf")
    # The bench sends nine digits; no more than a nano-ohm is rounded off.
    return ohm < float("inf") and abs(value.ohm - float(f"{ohm:.8E}")) <= 1e-9


@dataclass(frozen=True)
class Found:
    """How many readings were right, refused and wrong, and the longest took, seconds counted."""

    right: int
    refused: int
    wrong: tuple[str, ...]
    spoilt: int
    longest_s: float


def run(replies: int, rate: float, seed: int) -> Found:
    """Return what came of readings until so many replies were spoilt."""
    rng = random.Random(seed)
    true = [0.0]

    bench = SimBench(Wiring({"101": ("A", "E")}, ("P",), lambda *_: true[0]), Faults())
    bench.closed.add("101")
    line = Line(bench, rng, rate)
    dialect = Dialect("standard")
    dialogue = Dialogue(
        line,
        "meter",
        dialect.conversation(),
        TIMEOUT_S,
        dialect.errors,
        clock=line.clock,
        sleep=line.sleep,
    )
    meter = ScpiMeter(dialogue, dialect)
    right, refused, wrong, longest_s = 0, 0, [], 0.0
    while line.spoilt.total() - line.spoilt[""] < replies:
        true[0] = rng.choice((float("inf"), 10.0 ** rng.uniform(-2.0, 8.0)))
        began = line.now_s
        try:
            value = meter.read_ohm()
        except InstrumentProblem:
            refused += 1
        else:
            if is_right(value, true[0]):
                right += 1
            else:
                wrong.append(f"{value} for {true[0]}")
        longest_s = max(longest_s, line.now_s - began)
    spoilt = line.spoilt.total() - line.spoilt[""]
    return Found(right, refused, tuple(wrong), spoilt, longest_s)


def main() -> int:
    """Run it; the exit code tells whether a wrong number was accepted."""
    worst = 0
    for rate in (0.05, 0.2, 0.4):
        found = run(100_000 // 3 + 1, rate, 1)
        print(
            f"{found.spoilt} replies spoilt, {rate:.0%} of all: {found.right} readings right, "
            f"{found.refused} refused, {len(found.wrong)} wrong; the longest took "
            f"{found.longest_s:.1f} s of counted time"
        )
        for line in found.wrong[:5]:
            print(f"  {line}")
        worst = max(worst, len(found.wrong))
    return min(worst, 1)


if __name__ == "__main__":
    sys.exit(main())
