"""The JSON API: the same actions as on the page."""

from typing import TYPE_CHECKING

from starlette.responses import JSONResponse
from starlette.routing import Route

from benchproof.web import apiproof, apirecords, apiwork
from benchproof.web.openapi import describe, route

if TYPE_CHECKING:
    from starlette.requests import Request

OPERATIONS = (*apirecords.OPERATIONS, *apiwork.OPERATIONS, *apiproof.OPERATIONS)
"""Everything that can be done."""


async def _description(_: "Request") -> JSONResponse:
    return JSONResponse(describe(OPERATIONS))


ROUTES = (
    *(route(one) for one in OPERATIONS),
    Route("/api/openapi.json", _description, methods=["GET"]),
)
