"""Where a sweep turns back: as by a plain loop, however it is cut into blocks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.family.problems import TooLarge
from benchproof.trace.passes import PassCutter


def passes_of_a_loop(angle: list[float], turn_deg: float) -> list[tuple[bool, int]]:
    """Return direction and number of samples of each pass, told sample by sample."""
    rising: bool | None = None
    low = high = angle[0]
    passes, count = [], 0
    for x in angle:
        if rising is None:
            low, high = min(low, x), max(high, x)
            if high - low >= turn_deg:
                rising = x == high
        elif rising:
            high = max(high, x)
            if high - x >= turn_deg:
                passes.append((True, count))
                rising, low, count = False, x, 0
        else:
            low = min(low, x)
            if x - low >= turn_deg:
                passes.append((False, count))
                rising, high, count = True, x, 0
        count += 1
    return [*passes, (rising is not False, count)]


@given(
    st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=300),
    st.integers(1, 301),
    st.sampled_from([0.5, 1.0, 4.0]),
)
def test_passes_are_those_of_a_plain_loop(steps: list[float], block: int, turn_deg: float) -> None:
    angle = np.cumsum(steps)
    turns = PassCutter(turn_deg)
    for at in range(0, len(angle), block):
        turns.cut(angle[at : at + block])
    found = [(one.rising, one.samples) for one in turns.finished()]
    assert found == passes_of_a_loop(angle.tolist(), turn_deg)


def test_an_angle_that_is_no_angle_is_refused() -> None:
    turns = PassCutter(1.0)
    with pytest.raises(TooLarge, match="is the angle column right"):
        turns.cut(np.tile([0.0, 5.0], 30_000))
