"""What would happen: what the controller reads of a part, and what the vehicle then does."""

from dataclasses import dataclass

from starlette.responses import Response

from benchproof.conduct.aligning import number_of
from benchproof.conduct.families import family_of, lever_choices, vehicle_read
from benchproof.family.model import Grade
from benchproof.family.safety import assumed
from benchproof.foretell.consequences import CODES
from benchproof.foretell.faulttext import STATED, parse_fault
from benchproof.foretell.foretelling import Foretold, Vehicle, vehicle_of
from benchproof.foretell.outlook import Outlook, of_condition, of_readings
from benchproof.foretell.permitproof import PermitFacts, cautions_of, limits_of, loose_of, proof_of
from benchproof.network.faults import Fault
from benchproof.network.geometry import Margins, geometry
from benchproof.proof.setting import Setting
from benchproof.shipped.read import shipped_meter
from benchproof.web.forms import PageRequest, screen
from benchproof.web.rendering import page

MOST_FAULTS = 3
MOST_OFFSET = 180.0


@dataclass(frozen=True)
class ShownOutlook:
    """An outlook as a screen shows it.

    Attributes
    ----------
    title : str
    outlook : Outlook
    hazards, others : list of Foretold
        What is worth telling.
    proof, limits, loose : list of str
        What the readings prove of the start permit, what cannot be known, what a loose lever does.
    codes : str
        What is said of trouble codes; empty if none is named.
    """

    title: str
    outlook: Outlook
    hazards: list[Foretold]
    others: list[Foretold]
    proof: list[str]
    limits: list[str]
    loose: list[str]
    codes: str


def _shown(title: str, outlook: Outlook, known: PermitFacts) -> ShownOutlook:
    told = outlook.worth_telling
    return ShownOutlook(
        title,
        outlook,
        [one for one in told if one.rule.grade is Grade.HAZARD],
        [one for one in told if one.rule.grade is not Grade.HAZARD],
        proof_of(known),
        limits_of(known),
        loose_of(told),
        CODES if any(one.rule.code for one in told) else "",
    )


def _pick(asked: PageRequest) -> Response:
    return page(
        asked,
        "pickfamily.html",
        families=lever_choices(asked.site.store),
        to="/foretell",
        heading="What would happen with which family?",
        told="State how far a part is out of line, or what is wrong with it, and see what the "
        "vehicle would do. For a part that was read, open its proof instead.",
    )


def _stated(asked: PageRequest) -> Response:
    key = asked.path("key")
    kept = family_of(asked.site.store, key)
    vehicle = vehicle_read(kept.content, kept.family.name)
    wrong: dict[str, str] = {}
    offset = _offset(asked, wrong)
    faults = _faults(asked, vehicle, wrong)
    shown: list[ShownOutlook] = []
    meter = shipped_meter()
    known = PermitFacts(vehicle, (), meter)
    if not wrong:
        outlook = of_condition(vehicle, offset, faults)
        shown = [_shown(f"Of {outlook.of}", outlook, known)]
    return page(
        asked,
        "foretell.html",
        status=422 if wrong else 200,
        title=f"What {kept.family.name} would do",
        found=(),
        key=key,
        unit="degrees" if vehicle.shape.unit == "deg" else "detent gaps",
        kinds=[kind.value for kind in STATED],
        shown=shown,
        cautions_=cautions_of(known),
        typed=asked.typed,
        wrong=wrong,
    )


def _offset(asked: PageRequest, wrong: dict[str, str]) -> float:
    text = asked.text("offset", 40)
    found = number_of(text) if text else 0.0
    if found is None or abs(found) > MOST_OFFSET:
        wrong["offset"] = f"Type a number from -{MOST_OFFSET:g} to {MOST_OFFSET:g}."
        return 0.0
    return found


def _faults(asked: PageRequest, vehicle: Vehicle, wrong: dict[str, str]) -> list[Fault]:
    found = []
    for number in range(1, MOST_FAULTS + 1):
        text = asked.text(f"fault{number}", 200)
        if not text:
            continue
        try:
            found.append(parse_fault(text, vehicle.family))
        except ValueError as error:
            wrong[f"fault{number}"] = f"{error}."
    return found


def _of_proof(asked: PageRequest) -> Response:
    """As found and as left, side by side."""
    standing = asked.site.works.standing(asked.path("tag"))
    state = standing.state
    known = state.ground.priors
    margins = Margins(known.single_margin_gaps, known.run_margin_gaps)
    vehicle = vehicle_of(geometry(assumed(state.ground.family), margins))
    settings = [("As found", state.as_found)]
    if len(state.settings) > 1:
        settings.append(("As left", state.as_left))
    shown = []
    for title, one in settings:
        subject = PermitFacts(vehicle, tuple(taken.reading for taken in one.taken), one.meter)
        shown.append(_shown(title, _outlook(vehicle, one), subject))
    return page(
        asked,
        "foretell.html",
        title=f"What {state.opened.part} would do",
        key="",
        tag=standing.tag,
        found=state.dangers,
        shown=shown,
        cautions_=cautions_of(PermitFacts(vehicle, (), state.as_left.meter)),
        typed={},
        wrong={},
        unit="",
        kinds=[],
    )


def _outlook(vehicle: Vehicle, one: Setting) -> Outlook:
    readings = [taken.reading for taken in one.taken]
    return of_readings(vehicle, readings, one.meter, one.posterior)


ROUTES = (
    screen("/foretell", get=_pick),
    screen("/foretell/{key}", get=_stated),
    screen("/proofs/{tag}/foretell", get=_of_proof),
)
