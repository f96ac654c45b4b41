"""An act of many steps that is killed midway leaves the old archive whole, and is done or not."""

import pytest

import midway

ACTS = (
    *("a migration", "restore", "import", "salvage", "backup", "export"),
    *("keeping photographs", "reading many sheets", "making a key"),
)


@pytest.mark.parametrize("name", ACTS)
def test_what_is_killed_midway_is_done_or_not(name: str) -> None:
    """A few moments of each; `make bench-faults` tries 500."""
    with midway.acts() as acts:
        (act,) = (one for one in acts if one.name == name)
        tally = midway.killed_midway(act, 6, seed=4)
    assert (tally.runs, tally.broken, tally.unopened) == (6, 0, 0)


def test_no_act_is_left_out() -> None:
    with midway.acts() as acts:
        assert tuple(act.name for act in acts) == ACTS


def test_half_an_act_would_be_counted() -> None:
    with midway.acts() as acts:
        (act,) = (one for one in acts if one.name == "making a key")
        half = midway.Act("half", act.begin, act.do, lambda: (0, 0), lambda s: s == (1, 1))
        with pytest.raises(AssertionError):
            midway.killed_midway(half, 1, seed=1)
