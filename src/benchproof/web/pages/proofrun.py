"""An automatic run at the screen of a proof: begun at the bench's own computer only."""

from starlette.responses import RedirectResponse, Response

from benchproof.web.forms import PageRequest, screen
from benchproof.web.pages.proof import by_whom
from benchproof.web.running import start_run
from benchproof.web.security import check_at_bench


def _start(asked: PageRequest) -> Response:
    check_at_bench(asked.request.scope, "A run is started at the bench's own computer, beside it.")
    until_failure = asked.text("until_failure", 5) == "yes"
    job = start_run(asked.site, asked.path("tag"), by_whom(asked), until_failure=until_failure)
    return RedirectResponse(f"/jobs/{job.key}", 303)


ROUTES = (screen("/proof/{tag}/run", post=_start),)
