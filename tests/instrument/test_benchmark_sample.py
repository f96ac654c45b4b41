"""The benchmark of the instruments runs; its figures are `make bench-instrument`."""

import instrument


def test_it_measures_all_it_tells() -> None:
    least = instrument.measure(1, 4)
    assert set(least) == {"bare", "reading", "confirmed", "switched"}
    assert all(0.0 < value < 10.0 for value in least.values())
