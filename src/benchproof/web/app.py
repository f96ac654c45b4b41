"""The page as a whole: its routes, and what becomes of mistakes."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from benchproof.web import api
from benchproof.web.gate import Timed
from benchproof.web.largework import Large
from benchproof.web.pages import ALL
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import problem_page
from benchproof.web.security import Doors

if TYPE_CHECKING:
    from starlette.requests import Request

    from benchproof.web.site import Site

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def make_app(site: "Site", names: Iterable[str] = LOOPBACK) -> Timed:
    """Return the application.

    Parameters
    ----------
    site : Site
    names : iterable of str
        Names and addresses that the server goes by; requests for any other are refused.
    """
    static = Mount("/static", StaticFiles(packages=[("benchproof.web", "static")]))
    routes: list[Route | Mount] = [*ALL, *api.ROUTES, static]
    app = Starlette(
        routes=routes,
        exception_handlers={
            HTTPException: _refused,
            Exception: _failed,
            **dict.fromkeys(PROBLEMS, _told),
        },
    )
    app.state.site = site
    app.state.large = Large()
    app.add_middleware(GZipMiddleware, minimum_size=800)
    # Around everything, so that even the answer to a mistake of ours carries its headers.
    return Timed(Doors(app, site, names), site.gate)


async def _told(request: "Request", error: Exception) -> Response:
    return _answer(request, status_of(error), str(error).splitlines())


async def _refused(request: "Request", error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    detail = "There is no such page." if error.status_code == 404 else error.detail
    response = _answer(request, error.status_code, [detail])
    response.headers.update(error.headers or {})
    return response


async def _failed(request: "Request", _: Exception) -> Response:
    sentence = (
        "The program made a mistake here; what was recorded before is safe. What went wrong stands "
        "in the window where benchproof bench runs."
    )
    return _answer(request, 500, [sentence])


def _answer(request: "Request", status: int, sentences: list[str]) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"problem": " ".join(sentences)}, status)
    return problem_page(request, status, sentences)
