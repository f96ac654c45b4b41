"""A start permit that conducts in one position alone, whatever else is true of the part.

No fault of a whole contact or pin explains debris or a burr that bridges the start permit in one
lever position and nowhere else; without room for it, readings that say so again and again would
pass for slips. It is too rare to be looked for in cells that were not read, which a proof reads
anyway; it is weighed where a reading says that the cell conducts.
"""

from math import exp, log

from benchproof.diagnose.posterior import Posterior


def bridged(posterior: Posterior) -> float:
    """Return the probability that a start permit is bridged where the starter must not turn.

    Only readings in the detent count: leaned ones may conduct in a good part.
    """
    tables = posterior.tables
    rate = tables.priors.start_permit_bridged_rate
    if not rate:
        return 0.0
    closed, opened = tables.channel[0], tables.channel[tables.bins.count - 1]
    safe = 1.0
    for (k, p), readings in posterior.cells.items():
        if k < tables.charted and tables.hazard[k, p]:
            speaks = [
                log(float(closed @ one.seen)) - log(float(opened @ one.seen))
                for one in readings
                if not one.lean
            ]
            if max(speaks, default=0.0) > 0.0:
                safe /= 1.0 + exp(min(log(rate) + sum(speaks), MOST))
    return 1.0 - safe


MOST = 50.0
"""Log odds beyond this are certainty."""
