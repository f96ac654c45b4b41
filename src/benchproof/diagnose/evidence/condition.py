"""What was seen by eye: kinds of fault that it makes likelier, by a small table in priors.toml."""

from collections.abc import Iterable

import numpy as np

from benchproof.diagnose.tables import Tables
from benchproof.network.resistance import Floats
from benchproof.reading.evidence import SeenCondition


def log_seen(tables: Tables, seen: Iterable[SeenCondition]) -> Floats:
    """Return the log of how much likelier what was seen makes each cause, shape (causes,).

    Never less likely: what looks sound is measured all the same. Where several things seen speak
    for one kind of fault the weightiest counts, for they often have one origin.
    """
    told = {(one.item, one.grade) for one in seen}
    times: dict[str, float] = {}
    for one in tables.priors.seen:
        if (one.item, one.grade) in told:
            times[one.fault] = max(times.get(one.fault, 1.0), one.times)
    return np.log(
        [1.0 if c is None else times.get(c.kind.value, 1.0) for c in tables.causes], dtype=float
    )
