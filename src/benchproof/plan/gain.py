"""How much each reading would tell, in bits.

Two things are to be learned. One is the verdict: a reading's *gain* is the mutual information
between the verdict and the reading's outcome. The other is that no start permit conducts where the
starter must not turn. Before a part is accepted that has to be so unlikely that mutual information,
which weighs by probability, no longer sees it; so it is counted by its odds against an accepted
part: a reading's *clearing* is how far it is expected to bring the odds down, if the part is one to
accept, no further than is needed.
"""

from dataclasses import dataclass

import numpy as np

from benchproof.diagnose.verdict import MOST_HAZARD
from benchproof.network.resistance import Floats
from benchproof.plan.forecast import Forecast
from benchproof.plan.weights import ACCEPT

CLEARING_WEIGHT = 0.02
"""What a bit of clearing counts for, in bits of the verdict, if the part is one to accept.

A reading clears the start permit by about eight bits and there are about twelve to go; it should
neither be put off to the end, when the lever is elsewhere, nor come before readings that may find
the part bad. Weights between 0.01 and 0.03 lead to the same mean time (measured)."""


@dataclass(frozen=True)
class Gains:
    """How much each reading would tell.

    Attributes
    ----------
    gain_bit : array, shape (leans, pairs, positions)
        Expected gain on the verdict.
    clearing_bit : array, shape (leans, pairs, positions)
        Expected clearing of the start permit.
    accept : float
        Probability of a part to accept.
    entropy_bit : float
        What is still unknown of the verdict; no gain is more.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    """

    gain_bit: Floats
    clearing_bit: Floats
    accept: float
    entropy_bit: float
    hazard: float

    @property
    def worth_bit(self) -> Floats:
        """What each reading is worth, shape (leans, pairs, positions)."""
        worth: Floats = self.gain_bit + CLEARING_WEIGHT * self.accept * self.clearing_bit
        return worth


def gains_of(forecast: Forecast) -> Gains:
    """Return how much each reading would tell."""
    joint = forecast.joint
    verdict = joint[0, 0, 0].sum(axis=-1)
    entropy = -float((verdict * _log2(verdict)).sum())
    outcome = joint.sum(axis=-2)
    independent = _log2(verdict)[:, None] + _log2(outcome)[..., None, :]
    gain = (joint * (_log2(joint) - independent)).sum(axis=(-2, -1))
    hazard = float(forecast.unsafe[0, 0, 0].sum())
    clearing = np.zeros_like(gain)
    accept = float(verdict[ACCEPT])
    if hazard > MOST_HAZARD and accept > 0.0:
        needed = float(_log2(np.array(hazard / MOST_HAZARD)))
        likely = joint[..., ACCEPT, :] / accept
        less = _log2(likely) - _log2(forecast.unsafe / hazard)
        clearing = np.maximum((likely * np.minimum(less, needed)).sum(axis=-1), 0.0)
    return Gains(np.clip(gain, 0.0, entropy), clearing, accept, entropy, hazard)


def _log2(values: Floats) -> Floats:
    """Return the logarithm to base 2, far below any other for zero."""
    logs: Floats = np.log2(np.maximum(values, 1e-300))
    return logs
