"""Redundant pairs, against every deviation of the contact they share spelt out one by one."""

import numpy as np
import pytest

from benchproof.diagnose.diagnosis import verdict_masses
from benchproof.diagnose.posterior import Posterior, masses, observe, prior_of, tell
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.diagnose.verdict import PartVerdict
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.reading.value import OverRange, Reading, parse_value
from benchproof.shipped.read import lever_families, shipped_family, shipped_meter, shipped_priors

METER = shipped_meter("ordinary-handheld")
# A, B and C are tied inside: A-E, B-E and C-E all read the one contact between n and E.
FAMILY = b"""
name = "redundant"
positions = ["P", "R", "N"]
detents_deg = [0, 20, 40]
pins = [{ name = "A" }, { name = "B" }, { name = "C" }, { name = "E" }]
inner = ["n"]
[[chart]]
pair = "A-E"
[[chart]]
pair = "B-E"
[[chart]]
pair = "C-E"
[[branches]]
kind = "contact"
between = "n-E"
dwells_deg = [[-4, 4]]
[[branches]]
kind = "resistor"
between = "A-n"
value = "0.1 ohm"
[[branches]]
kind = "resistor"
between = "B-n"
value = "0.1 ohm"
[[branches]]
kind = "resistor"
between = "C-n"
value = "0.1 ohm"
"""


@pytest.fixture(scope="module")
def tables() -> Tables:
    return tables_of(completed(read_family(FAMILY, "redundant.toml")), shipped_priors("redundant"))


def told(tables: Tables, values: dict[str, str], position: str = "P") -> Posterior:
    readings = [
        Reading(position, (pair[0], pair[2]), parse_value(value)) for pair, value in values.items()
    ]
    return tell(prior_of(tables), observe(tables, readings, METER))


def spelt_out(tables: Tables, posterior: Posterior) -> np.ndarray:
    """Return the log probability of the readings without fault, by offset."""
    grid, latents, count = tables.grid, tables.latents, tables.bins.count
    found = np.zeros(len(grid.offsets))
    clean = tables.channel[:count]
    shown = (1.0 - latents.misread) * clean + latents.misread * (latents.elsewhere @ clean)
    for x in range(len(found)):
        for d, share in enumerate(grid.spread):
            product = 1.0
            for (k, p), readings in posterior.cells.items():
                b = int(tables.healthy[k, p, grid.start(0) + x + d])
                said = [
                    float(np.prod([shown[n] @ one.seen for one in readings])) for n in range(count)
                ]
                drawn = float(np.prod([latents.wander @ shown @ one.seen for one in readings]))
                local, wandering = latents.local[k, p], latents.wandering[k, p]
                cell = (1.0 - local - wandering) * said[b]
                cell += local * float(latents.defect @ said) + wandering * drawn
                product *= cell
            found[x] += share * product
    return np.log(found)


def test_pairs_on_one_contact_are_one_site(tables: Tables) -> None:
    assert ((0, 0), (1, 0), (2, 0)) in tables.sites
    for name in lever_families():
        assert tables_of(shipped_family(name), shipped_priors(name)).sites == ()


@pytest.mark.parametrize(
    "values",
    [
        {"A-E": "0.2", "B-E": "0.2", "C-E": "0.3"},
        {"A-E": "OL", "B-E": "OL"},
        {"A-E": "OL", "B-E": "0.2", "C-E": "OL"},
    ],
)
def test_what_a_site_says_is_its_deviation_summed_once(
    tables: Tables, values: dict[str, str]
) -> None:
    posterior = told(tables, values)
    assert np.abs(posterior.log_healthy - spelt_out(tables, posterior)).max() < 1e-9


def test_the_order_does_not_matter_and_what_is_untold_leaves_nothing(tables: Tables) -> None:
    there = told(tables, {"A-E": "OL", "B-E": "OL", "C-E": "0.2"})
    back = told(tables, {"C-E": "0.2", "B-E": "OL", "A-E": "OL"})
    assert np.allclose(there.log_ratio, back.log_ratio, atol=1e-9)
    assert np.allclose(there.log_healthy, back.log_healthy, atol=1e-9)


def test_redundant_pairs_make_the_offset_no_surer(tables: Tables) -> None:
    def spread(values: dict[str, str]) -> float:
        mass = masses(told(tables, values)).single[0]
        mass = mass / mass.sum()
        mean = float(mass @ tables.grid.offsets)
        return float(np.sqrt(mass @ (tables.grid.offsets - mean) ** 2))

    once = spread({"A-E": "0.2"})
    thrice = spread({"A-E": "0.2", "B-E": "0.2", "C-E": "0.2"})
    assert thrice == pytest.approx(once, rel=0.01)


def test_the_verdicts_of_a_redundant_sheet_sum_to_one(tables: Tables) -> None:
    posterior = told(tables, {"A-E": "0.2", "B-E": "0.2", "C-E": "0.2"})
    for position in ("R", "N"):
        readings = [Reading(position, (pin, "E"), OverRange()) for pin in "ABC"]
        posterior = tell(posterior, observe(tables, readings, METER))
    verdicts = verdict_masses(posterior, masses(posterior))
    assert sum(verdicts.values()) == pytest.approx(1.0, abs=1e-9)
    assert verdicts[PartVerdict.ACCEPT] > 0.95
