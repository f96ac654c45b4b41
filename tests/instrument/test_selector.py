"""A SCPI selector: one pair at a time, break before make, read back, safe on doubt."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.instrument.problems import InstrumentProblem, Trouble
from benchproof.instrument.selector import ScpiSelector
from benchproof.instrument.simcommands import SimBench

from .conftest import CHANNELS, PAIRS, MakeLink, MemoryLink, new_bench


def test_each_pair_alone_and_all_opened_before(bench: SimBench, link: MakeLink) -> None:
    line = link(bench)
    selector = ScpiSelector(line.dialogue(), CHANNELS)
    for name, pair in PAIRS.items():
        selector.connect(pair)
        assert bench.closed == {name}
        selector.confirm()
    selector.connect(("H", "G"))
    assert bench.closed == {"103"}
    assert bench.most_closed == 1
    commands = [sent.split(";")[1] for sent in line.sent if "ROUT" in sent]
    for number, command in enumerate(commands):
        if command.startswith("ROUT:CLOS "):
            assert commands[number - 2] == "ROUT:OPEN:ALL"
            assert commands[number - 1].startswith("ROUT:CLOS? (@101,102,103)")
    selector.close()
    assert bench.closed == set()


def test_a_matrix_closes_two_channels_for_one_pair(bench: SimBench, link: MakeLink) -> None:
    channels = {frozenset("AE"): ("101", "102"), frozenset("BE"): ("101", "103")}
    selector = ScpiSelector(link(bench).dialogue(), channels)
    selector.connect(("A", "E"))
    assert bench.closed == {"101", "102"}
    selector.connect(("B", "E"))
    assert bench.closed == {"101", "103"}


def test_a_pair_without_a_channel(bench: SimBench, link: MakeLink) -> None:
    selector = ScpiSelector(link(bench).dialogue(), CHANNELS)
    with pytest.raises(InstrumentProblem, match="has no channel for this pair") as refused:
        selector.connect(("A", "H"))
    assert "A-H" in str(refused.value)


class Stuck(set[str]):
    """Relays of which one never opens."""

    def clear(self) -> None:
        super().clear()
        self.add("102")


def test_a_relay_that_sticks_stops_the_work(bench: SimBench, link: MakeLink) -> None:
    bench.closed = Stuck({"102"})
    line = link(bench)
    with pytest.raises(InstrumentProblem, match="still has channels closed") as refused:
        ScpiSelector(line.dialogue(), CHANNELS).connect(("A", "E"))
    assert refused.value.trouble is Trouble.STUCK_CLOSED
    assert "channels may be closed, switch it off" in str(refused.value)
    assert not any("CLOS (@" in sent for sent in line.sent)


def test_a_wrong_relay_is_noticed_and_all_are_opened(bench: SimBench, link: MakeLink) -> None:
    class Crossed(MemoryLink):
        def write(self, data: bytes) -> None:
            super().write(data.replace(b"CLOS (@101)", b"CLOS (@101,103)"))

    with pytest.raises(InstrumentProblem, match="all channels were opened") as refused:
        ScpiSelector(Crossed(bench).dialogue(), CHANNELS).connect(("A", "E"))
    assert refused.value.trouble is Trouble.WRONG_CLOSED
    assert bench.closed == set()


def test_a_board_that_started_anew_is_noticed(bench: SimBench, link: MakeLink) -> None:
    selector = ScpiSelector(link(bench).dialogue(), CHANNELS)
    selector.connect(("A", "E"))
    bench.reset("")
    with pytest.raises(InstrumentProblem, match="changed its channels"):
        selector.confirm()
    # It is not taken for connected after that.
    selector.connect(("A", "E"))
    assert bench.closed == {"101"}


def test_a_board_that_cannot_be_reached_is_to_be_switched_off(
    bench: SimBench, link: MakeLink
) -> None:
    line = link(bench)
    selector = ScpiSelector(line.dialogue(), CHANNELS)
    selector.connect(("A", "E"))
    line.tamper = lambda *_: None
    with pytest.raises(InstrumentProblem, match="channels may be closed, switch it off"):
        selector.connect(("B", "E"))


@given(st.integers(0, 2**32))
def test_never_two_pairs_whatever_the_line_does(seed: int) -> None:
    rng = random.Random(seed)
    bench = new_bench()

    def spoil(message: str, reply: bytes) -> bytes | None:
        chance = rng.random()
        if chance < 0.1:
            return None
        return reply[: rng.randrange(len(reply) + 1)] if chance < 0.2 else reply

    selector = ScpiSelector(MemoryLink(bench, spoil).dialogue(), CHANNELS)
    for pair in rng.choices([*PAIRS.values()], k=6):
        try:
            selector.connect(pair)
        except InstrumentProblem:
            continue
        assert {PAIRS[name] for name in bench.closed} == {pair}
    assert bench.most_closed <= 1
