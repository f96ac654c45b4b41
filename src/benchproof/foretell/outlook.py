"""What is foretold of one part: of a stated condition, or of readings and their diagnosis."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchproof.diagnose.posterior import Posterior
from benchproof.family.model import Grade
from benchproof.foretell.asread import as_read
from benchproof.foretell.controller import SeenByController
from benchproof.foretell.foretelling import Foretold, Vehicle, cause_text, foretell, told_of
from benchproof.foretell.likely import likely
from benchproof.foretell.travelplaces import Stretch
from benchproof.network.faults import Fault
from benchproof.reading.meter import Meter
from benchproof.reading.value import Reading

WORTH_TELLING = {Grade.HAZARD: 0.02, Grade.DRIVABILITY: 0.05, Grade.NUISANCE: 0.05}
"""From this probability on a consequence is foretold to a person.

A good part read in every detent keeps up to 1 % of a start permit that closes between detents,
which only a sweep or leans rule out (measured on the families that come along).
"""


@dataclass(frozen=True)
class Outlook:
    """What is foretold of a part.

    Attributes
    ----------
    of : str
        What it is foretold of: "offset +5 deg", "the readings".
    detents : mapping of str to tuple of SeenByController
        What the controller sees in each position: of readings, what was read itself; empty where
        nothing was read, several by turns where a contact chatters.
    explanation : str
        Of readings, the likeliest explanation, which `stretches` are of; else empty.
    explained : float or None
        Its probability; None for a stated condition or without a diagnosis.
    stretches : tuple of Stretch
        What is seen between detents, in lever order.
    foretold : tuple of Foretold
        Worst first.
    not_foretold, not_foretold_between : float or None
        Probability of explanations of which nothing is foretold, in detents and between.
    """

    of: str
    detents: Mapping[str, tuple[SeenByController, ...]]
    explanation: str
    explained: float | None
    stretches: tuple[Stretch, ...]
    foretold: tuple[Foretold, ...]
    not_foretold: float | None = None
    not_foretold_between: float | None = None

    @property
    def not_ruled_out(self) -> tuple[Foretold, ...]:
        """Hazards that are less likely than those worth telling, yet not ruled out."""
        told = self.worth_telling
        return tuple(
            one for one in self.foretold if one.rule.grade is Grade.HAZARD and one not in told
        )

    @property
    def worth_telling(self) -> tuple[Foretold, ...]:
        """What is foretold for certain, was read, or is likely enough."""
        return tuple(
            one
            for one in self.foretold
            if one.probability is None
            or one.read
            or one.probability >= WORTH_TELLING[one.rule.grade]
        )


def of_condition(vehicle: Vehicle, offset: float, faults: Sequence[Fault]) -> Outlook:
    """Foretell of a stated condition (`foretelling.foretell`)."""
    found = foretell(vehicle, offset, faults)
    of = cause_text(offset, faults, vehicle.shape.unit) or "a good part in line"
    return Outlook(of, found.detents, "", None, found.stretches, found.foretold)


def of_readings(
    vehicle: Vehicle, readings: Sequence[Reading], meter: Meter, posterior: Posterior | None
) -> Outlook:
    """Foretell of readings.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle's side of the family.
    readings : sequence of Reading
        In any order and number.
    meter : Meter
        What they were read with.
    posterior : Posterior or None
        What they say of the part; None for a chart too large for a diagnosis, of which only what
        was read itself is foretold.
    """
    read = as_read(vehicle, readings, meter)
    detents = {
        name: tuple(seen for place, seen in read if place.position == name and not place.beside)
        for name in vehicle.family.positions
    }
    if posterior is None:
        return Outlook("the readings", detents, "", None, (), told_of(vehicle, [read], "as read"))
    found = likely(vehicle, posterior, read)
    return Outlook(
        "the readings",
        detents,
        found.explanation or "a good part in line",
        found.probability,
        found.likeliest.stretches,
        found.foretold,
        found.not_foretold,
        found.not_foretold_between,
    )
