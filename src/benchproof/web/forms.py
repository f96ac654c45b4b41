"""A request as a screen sees it: read whole, checked, and answered in a thread of its own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, BinaryIO

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from benchproof.web import security

if TYPE_CHECKING:
    from benchproof.web.site import Site

MOST_FIELDS = 400
MOST_FILES = 200
MOST_LETTERS = 2_000_000
"""Of one field; a pasted chart is far shorter."""


@dataclass(frozen=True)
class Upload:
    """A file that was sent; while the request lasts it can be read, and it stands on the disk.

    Attributes
    ----------
    name : str
    file : BinaryIO
    """

    name: str
    file: BinaryIO

    @property
    def content(self) -> bytes:
        """All of it, read anew."""
        self.file.seek(0)
        return self.file.read()


@dataclass(frozen=True)
class PageRequest:
    """A request.

    Attributes
    ----------
    site : Site
    request : Request
        For its path and headers; its body is read already.
    typed : mapping of str to str
        What was typed: the form of a POST, the query of a GET.
    uploads : mapping of str to tuple of Upload
        The files that were sent, by field; empty files are left out.
    session : str
        The session that forms are tied to.
    """

    site: "Site"
    request: Request
    typed: Mapping[str, str]
    uploads: Mapping[str, tuple[Upload, ...]] = field(default_factory=dict)
    session: str = ""

    def text(self, name: str, most: int = 4000) -> str:
        """Return what was typed in a field, without blanks around it; empty if nothing was."""
        return self.typed.get(name, "").strip()[:most]

    def path(self, name: str) -> str:
        """Return a part of the address."""
        return str(self.request.path_params[name])

    @property
    def is_fragment(self) -> bool:
        """Whether the script asked, which takes a piece of a page; else the browser itself did."""
        return self.request.headers.get("hx-request") == "true"


Handler = Callable[[PageRequest], Response]


def screen(path: str, get: Handler | None = None, post: Handler | None = None) -> Route:
    """Return the route of a screen.

    Parameters
    ----------
    path : str
        As Starlette writes it.
    get, post : callable, optional
        Answer in a thread of their own, so they may read the archive and compute.
    """
    methods = [name for name, handler in (("GET", get), ("POST", post)) if handler]

    async def endpoint(request: Request) -> Response:
        held = security.cookie(request.headers, security.SESSION)
        session = held or security.new_session()
        if request.method == "POST":
            assert post is not None, "a method without a handler is refused by the router"
            response = await _posted(request, session, post)
        else:
            assert get is not None, "a method without a handler is refused by the router"
            asked = PageRequest(
                request.app.state.site, request, dict(request.query_params), {}, session
            )
            response = await run_in_threadpool(get, asked)
        if not held:
            with_cookie(request, response, security.SESSION, session)
        return response

    return Route(path, endpoint, methods=methods)


def with_cookie(request: Request, answer: Response, name: str, value: str) -> Response:
    """Return an answer that keeps a value in the browser that asked, out of reach of scripts."""
    answer.set_cookie(
        name,
        value,
        max_age=security.YEAR_S,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


async def _posted(request: Request, session: str, post: Handler) -> Response:
    try:
        async with request.form(
            max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=MOST_LETTERS
        ) as form:
            # Until it is read a file stands on the disk, so that waiting takes no memory.
            files = [one for _, one in form.multi_items() if isinstance(one, UploadFile)]
            async with request.app.state.large.turn(sum(one.size or 0 for one in files)):
                return await run_in_threadpool(post, _asked(request, session, form))
    except ClientDisconnect:
        raise HTTPException(413, "That is too large, or it did not come whole.") from None


def _asked(request: Request, session: str, form: FormData) -> PageRequest:
    site = request.app.state.site
    typed: dict[str, str] = {}
    uploads: dict[str, list[Upload]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if value.size:
                uploads.setdefault(name, []).append(Upload(value.filename or "", value.file))
        else:
            typed[name] = value.replace("\r\n", "\n")
    sent = request.headers.get("x-token") or typed.get("token", "")
    if not security.token_fits(site.secret, session, sent):
        raise HTTPException(
            403, "This form is from another page or too old: go back, load the page anew, repeat."
        )
    listed = {name: tuple(files) for name, files in uploads.items()}
    return PageRequest(site, request, typed, listed, session)


def plain(status: int, sentence: str) -> PlainTextResponse:
    """Return a short answer that is no page."""
    return PlainTextResponse(f"{sentence}\n", status)
