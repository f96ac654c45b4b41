"""What was seen by eye: kinds of fault that it makes likelier, by a small table in priors.toml."""

from collections.abc import Iterable

import numpy as np

from benchproof.diagnose.priors import SeenRatio
from benchproof.diagnose.tables import Tables
from benchproof.network.faultkind import FaultKind
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import SeenCondition


def log_seen(tables: Tables, seen: Iterable[SeenCondition]) -> Floats:
    """Return the log of how much likelier what was seen makes each cause, shape (causes,).

    Never less likely: what looks sound is measured all the same. Where several things seen speak
    for one kind of fault the weightiest counts, for they often have one origin.
    """
    times: dict[str, float] = {}
    for one in _speaking(tables, seen):
        times[one.fault] = max(times.get(one.fault, 1.0), one.times)
    return np.log(
        [1.0 if c is None else times.get(c.kind.value, 1.0) for c in tables.causes], dtype=float
    )


def _speaking(tables: Tables, seen: Iterable[SeenCondition]) -> list[SeenRatio]:
    """Return what of the table something seen speaks for, in the table's order."""
    told = {(one.item, one.grade) for one in seen}
    return [one for one in tables.priors.seen if (one.item, one.grade) in told]


def seen_told(tables: Tables, seen: Iterable[SeenCondition]) -> tuple[str, ...]:
    """Return what was seen that makes a fault likelier, and by how much, a sentence each."""
    found: dict[tuple[str, str], list[str]] = {}
    for ratio in _speaking(tables, seen):
        faults = found.setdefault((ratio.item, ratio.grade), [])
        faults.append(f"{ratio.fault} {ratio.times:g} times")
    return tuple(
        f"{item} ({grade}), seen by eye: {' and '.join(faults)} likelier at each place."
        for (item, grade), faults in found.items()
    )


def seen_for(
    tables: Tables, seen: Iterable[SeenCondition], kind: FaultKind
) -> list[tuple[float, str]]:
    """Return what of it speaks for a kind of fault: how many times likelier, and a sentence."""
    return [
        (one.times, f"for: {one.item} ({one.grade}) seen by eye, {one.times:g} times likelier.")
        for one in _speaking(tables, seen)
        if one.fault == kind.value
    ]
