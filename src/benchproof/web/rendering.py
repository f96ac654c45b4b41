"""Templates, and what every one of them may use."""

from datetime import datetime
from functools import lru_cache
from hashlib import sha256
from importlib import resources
from math import floor, log10
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from benchproof import __version__
from benchproof.conduct.typed import SLIP_KEY, SLIPPED, UNDO_KEY
from benchproof.family.sentence import percent
from benchproof.foretell.consequences import signal_of
from benchproof.judge.cell import Result
from benchproof.web import security
from benchproof.web.navigation import PAGES

if TYPE_CHECKING:
    from starlette.requests import Request

    from benchproof.web.forms import PageRequest

SIGN = {"pass": "+", "fail": "!", "undecided": "?", "missing": "–"}
"""Beside its word and its border a result has a sign; colour only repeats them."""
assert set(SIGN) == {result.value for result in Result}, "every result has a sign"
LOOKS = ("usual", "light", "dark", "sunlight")
LOOK = "benchproof-look"
PEDAL = "benchproof-pedal"


@lru_cache(maxsize=1)
def _templates() -> Environment:
    env = Environment(
        loader=PackageLoader("benchproof.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    env.globals.update(asset=asset, version=__version__, SIGN=SIGN, PAGES=PAGES)
    env.globals.update(UNDO_KEY=UNDO_KEY, SLIP_KEY=SLIP_KEY, SLIPPED=SLIPPED)
    env.filters.update(
        when=when,
        percent=percent,
        upair=_pair,
        level=_level,
        to_sd=to_sd,
        lasting=lasting,
        signal=signal_of,
    )
    return env


@lru_cache(maxsize=64)
def asset(name: str) -> str:
    """Return the address of a static file; it changes with the content, so that none is stale."""
    content = (resources.files("benchproof.web") / "static" / name).read_bytes()
    return f"/static/{name}?{sha256(content).hexdigest()[:12]}"


def when(moment: datetime) -> str:
    """Return a time as lists show it."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


def lasting(seconds: float) -> str:
    """Return how long something takes, as a person says it.

    Examples
    --------
    >>> lasting(3.2), lasting(75.0), lasting(340.0)
    ('3 s', '1 min', '6 min')
    """
    return f"{seconds:.0f} s" if seconds < 60.0 else f"{seconds / 60.0:.0f} min"


def to_sd(value: float, sd: float) -> str:
    """Return a number to as many places as its standard uncertainty is worth telling.

    Examples
    --------
    >>> to_sd(-0.0006834, 0.41), to_sd(1234.5678, 0.012), to_sd(12.0, 30.0)
    ('0.00', '1234.568', '12')
    """
    places = min(max(0, 1 - floor(log10(sd))), 9) if sd > 0.0 else 3
    # Rounded away from minus zero.
    return f"{round(value, places) + 0.0:.{places}f}"


def _pair(value: str) -> tuple[str, str]:
    """Return a value that is shown as it is, for the choices of a form."""
    return value, value


def _level(level: object) -> str:
    """Return what a circuit does, a dash where there is no such circuit."""
    return "–" if level is None else str(level)


def fragment(template: str, **values: Any) -> str:  # noqa: ANN401  (whatever a template takes)
    """Return a piece of HTML."""
    return _templates().get_template(template).render(**values)


def page(
    asked: "PageRequest",
    template: str,
    *,
    status: int = 200,
    **values: Any,  # noqa: ANN401  (whatever a template takes)
) -> HTMLResponse:
    """Return a page.

    Parameters
    ----------
    asked : PageRequest
    template : str
        Extends ``base.html``.
    status : int
    **values
        What it shows; `asked` and the session's token are there already.
    """
    return HTMLResponse(
        fragment(template, **_common(asked.request, asked.session), **values), status
    )


def problem_page(request: "Request", status: int, sentences: list[str]) -> HTMLResponse:
    """Return a page that says what went wrong and where to go on."""
    session = security.cookie(request.headers, security.SESSION)
    values = _common(request, session) | {"sentences": sentences, "title": "That did not work"}
    return HTMLResponse(fragment("problem.html", **values), status)


def _common(request: "Request", session: str) -> dict[str, Any]:
    site = request.app.state.site
    look = request.cookies.get(LOOK, "")
    return {
        "path": request.url.path,
        "token": security.token(site.secret, session) if session else "",
        "look": look if look in LOOKS else "usual",
        "pedal": request.cookies.get(PEDAL, "")[:20],
        "at_bench": security.is_at_bench(request.scope),
    }
