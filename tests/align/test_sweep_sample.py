"""A small seeded sample of the benchmark of traces; the whole of it is `make bench-trace`."""

import traces


def test_detents_cannot_tell_a_stuck_bit_from_an_offset_and_a_sweep_can() -> None:
    found = traces.static_and_swept(20, 1)
    assert found.undecided == found.said == 20
    assert found.realign > 0.1
    assert found.repair > 0.1
    assert found.swept_right == 20


def test_a_sweep_tells_stuck_from_out_of_line() -> None:
    found = traces.stuck_or_offset("valley-coded-7", 30, 2)
    assert found.right == 30
    assert found.covered >= 26


def test_a_sweep_is_right_about_parts_drawn_as_believed() -> None:
    found = traces.as_believed("harvest-ladder-8", 30, 3)
    assert found.right >= 29
    assert found.covered >= 26


def test_own_edges_are_nearer_than_the_librarys() -> None:
    passes = traces.noisy_passes(15, 4, 0.6, 4)
    own = traces.edge_score(passes, traces.own_edges)
    library = traces.edge_score(passes, lambda a, x: traces.library_edges(a, x, 1000.0))
    assert own.missed == own.extra == 0
    assert own.rms_deg < library.rms_deg
