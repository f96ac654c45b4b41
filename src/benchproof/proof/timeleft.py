"""How long a proof still takes by its bench profile."""

from collections import Counter

from benchproof.examine.policy import left_of, route_of
from benchproof.family.model import same_pair
from benchproof.plan.actions import Place, TakeReading
from benchproof.plan.bench import seconds_between
from benchproof.proof.events import Mode
from benchproof.proof.state import State


def seconds_left(state: State) -> float | None:
    """Return how long the readings take that every cell still needs, moves included.

    Parameters
    ----------
    state : State
        The proof.

    Returns
    -------
    float or None
        Seconds; None to find, where nobody knows beforehand how many readings decide, and once
        nothing more is asked for.

    Notes
    -----
    The readings are taken in the order of the route from where this setting of the body began,
    whatever was read out of turn.
    """
    asked = state.next.action
    if state.mode is Mode.FIND or not isinstance(asked, TakeReading):
        return None
    family, bench = state.ground.family, state.bench
    pairs = family.charted_pairs
    left = Counter(left_of(state.as_left.examination.standing))
    left[asked.position, same_pair(asked.pair)] -= 1
    charted = {same_pair(pair) for pair in pairs}
    at = Place(asked.position, asked.pair if same_pair(asked.pair) in charted else None)
    total = state.next.seconds
    for step in route_of(state.as_left.ground):
        cell = step.position, same_pair(step.pair)
        if left[cell] > 0:
            left[cell] -= 1
            total += seconds_between(bench, family, pairs, at, step)
            at = Place(step.position, step.pair)
    # What a failure needs once more is on no route.
    return total + bench.reading_s * sum(count for count in left.values() if count > 0)
