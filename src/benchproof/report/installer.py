"""Cautions for whoever fits the part: a table of conditions and their sentences."""

from collections.abc import Iterator

from benchproof.family.danger import LOCAL_RULE, STARTER_RULE, notes_on
from benchproof.family.sentence import Sentence, said
from benchproof.report.certificate import Certificate
from benchproof.report.language import language


def _to_be_fitted(told: Certificate) -> bool:
    return told.accepted or told.overridden


def _overridden(told: Certificate) -> Iterator[dict[str, str]]:
    if told.overridden:
        yield {"by": told.override_by}


def _not_accepted(told: Certificate) -> Iterator[dict[str, str]]:
    if not _to_be_fitted(told):
        yield {}


def _first_start(told: Certificate) -> Iterator[dict[str, str]]:
    # Of a part without a lever nobody waits for a start that it must not allow.
    if _to_be_fitted(told) and told.chart.lever:
        yield {}


def _start_permit(told: Certificate) -> Iterator[dict[str, str]]:
    if _to_be_fitted(told) and told.hazards.start_permit:
        road = f"{STARTER_RULE}; 49 USC 30122"
        rule = LOCAL_RULE if told.machine == "farm" else road
        yield {"pairs": ", ".join(told.hazards.start_permit), "rule": rule}


def _reverse_lamp(told: Certificate) -> Iterator[dict[str, str]]:
    if _to_be_fitted(told) and told.hazards.reverse_lamp:
        yield {"pairs": ", ".join(told.hazards.reverse_lamp)}


def _overdue(told: Certificate) -> Iterator[dict[str, str]]:
    if told.overdue:
        yield {"meter": told.meter.name, "due": told.meter.due_on}


def _window(told: Certificate) -> Iterator[dict[str, str]]:
    if _to_be_fitted(told) and told.alignment.nearly_all:
        yield {"window": told.alignment.nearly_all}


def _not_open(told: Certificate) -> Iterator[dict[str, str]]:
    if told.hazards.not_open:
        yield {"cells": ", ".join(told.hazards.not_open)}


def _notes(told: Certificate) -> Iterator[dict[str, str]]:
    # They tell of rules for vehicles of the road.
    for note in notes_on(told.dangers) if told.machine != "farm" else ():
        yield {"note": note}


def _always(_: Certificate) -> Iterator[dict[str, str]]:
    yield {}


# Brakes, chocks, a clear path: common practice, no source.
_CAUTIONS = (
    Sentence("This part was not accepted: do not install it.", _not_accepted),
    Sentence(
        "The start permit is not proved open in gear: {cells}. Do not install this part as it is.",
        _not_open,
    ),
    Sentence("{note}", _notes),
    Sentence(
        "This part was not proved: {by} answers for it. Ask before installing it.",
        _overridden,
    ),
    Sentence(
        "Calibration of {meter} was overdue (due {due}): its readings are not vouched for.",
        _overdue,
    ),
    # From here on in the order of the acts.
    Sentence("Unplug and de-energize the part before any meter is put on its pins.", _always),
    Sentence(
        "A part that is good on the bench can be installed out of line. This one stays right in "
        "nearly all parts {window}; set the linkage or cable as the maker says.",
        _window,
    ),
    Sentence(
        "Before the key is turned: set the parking brake and hold the foot brake; chock the "
        "wheels; nobody in the vehicle's path.",
        _first_start,
    ),
    Sentence(
        "Engine stopped, so secured, try the starter ({pairs}) with the lever in reverse and in "
        "each forward position: it must stay still ({rule}).",
        _start_permit,
    ),
    Sentence("Only then start the engine, in park.", _first_start),
    Sentence(
        "See that the reverse lamps ({pairs}) light in reverse and only there.", _reverse_lamp
    ),
    Sentence(
        "The maker's service information, local rules and licensed practice come before this "
        "paper.",
        _always,
    ),
)


def installer_cautions(told: Certificate) -> list[str]:
    """Return the cautions of a certificate in its language; dangers stand before all else."""
    words = language(told.letterhead.language)
    return [words.tell(caution) for caution in said(_CAUTIONS, told)]
