"""The screens, one module each."""

from typing import TYPE_CHECKING

from benchproof.web.pages import (
    align,
    archive,
    chart,
    cores,
    deciding,
    families,
    foretell,
    gear,
    grading,
    jobs,
    parts,
    people,
    proof,
    proofcell,
    proofclose,
    prooffound,
    proofmeter,
    proofrun,
    proofs,
    proofsheet,
    search,
    settings,
    shelf,
    shop,
    start,
    units,
)

if TYPE_CHECKING:
    from starlette.routing import Route

ALL: "tuple[Route, ...]" = (
    *start.ROUTES,
    *proof.ROUTES,
    *proofcell.ROUTES,
    *proofclose.ROUTES,
    *prooffound.ROUTES,
    *proofmeter.ROUTES,
    *proofrun.ROUTES,
    *proofsheet.ROUTES,
    *proofs.ROUTES,
    *search.ROUTES,
    *parts.ROUTES,
    *grading.ROUTES,
    *align.ROUTES,
    *foretell.ROUTES,
    *deciding.ROUTES,
    *families.ROUTES,
    *chart.ROUTES,
    *shelf.ROUTES,
    *cores.ROUTES,
    *units.ROUTES,
    *gear.ROUTES,
    *people.ROUTES,
    *jobs.ROUTES,
    *archive.ROUTES,
    *settings.ROUTES,
    *shop.ROUTES,
)
"""The routes of every screen."""
