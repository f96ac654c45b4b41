"""What befalls single cells: rates and shares against their definition in whole bins."""

from itertools import pairwise
from math import log

import msgspec
import numpy as np
import pytest

from benchproof.diagnose.evidence.reading import Observed
from benchproof.diagnose.latent import latents_of, visits_of
from benchproof.diagnose.outcome import Bins
from benchproof.shipped.read import shipped_priors

EDGES = [2.0, 50.0, 10_000.0]


@pytest.mark.parametrize(
    ("charted", "elsewhere"),
    [([0, 3, 3, 3], [0.25, 0.0, 0.0, 0.75]), ([0, 0], [1.0, 0.0, 0.0, 0.0])],
)
def test_a_defect_is_as_likely_at_any_ohms_on_a_scale_of_logs(
    charted: list[int], elsewhere: list[float]
) -> None:
    priors = msgspec.structs.replace(shipped_priors("invented"), start_permit_bridged_rate=3e-5)
    hazard = np.array([[False, True], [False, False]])
    found = latents_of(Bins(np.array(EDGES)), charted, hazard, 3, priors)
    # Between 0.05 ohm and 100 kohm; one in five is open, of what wanders 35 in 100.
    ends = [0.05, *EDGES, 100_000.0]
    width = [log(b / a) / log(100_000.0 / 0.05) for a, b in pairwise(ends)]
    is_open = [0.0, 0.0, 0.0, 1.0]
    for share, shut in ((found.defect, 0.2), (found.wander, 0.35)):
        expected = [(1 - shut) * w + shut * o for w, o in zip(width, is_open, strict=True)]
        assert share == pytest.approx(expected, rel=1e-9)
    assert found.elsewhere == pytest.approx(elsewhere)
    assert found.misread == priors.misread_visit_rate
    # The start permit where it must be open has rates of its own; a pair not charted has not.
    for rates, cell, own in (
        (found.local, priors.local_defect_rate, priors.start_permit_bridged_rate),
        (found.wandering, priors.wandering_rate, priors.start_permit_wandering_rate),
    ):
        assert rates.tolist() == [[cell, own], [cell, cell], [cell, cell]]
        assert cell != own


def test_bins_beyond_what_a_defect_comes_in_have_none_of_it() -> None:
    bins = Bins(np.array([0.01, 2.0, 200_000.0]))
    found = latents_of(bins, [0], np.zeros((1, 1), dtype=np.bool_), 1, shipped_priors("invented"))
    assert found.defect == pytest.approx(
        [0.0, 0.8 * log(2.0 / 0.05) / log(2e6), 0.8 * log(1e5 / 2.0) / log(2e6), 0.2]
    )


def test_readings_are_of_one_visit_by_its_number_and_by_themselves_without_one() -> None:
    one, two, three, four = (Observed(0, 0, 0, np.ones(1), visit) for visit in (0, 7, 0, 7))
    assert visits_of([one, two, three, four]) == [[one], [two, four], [three]]
