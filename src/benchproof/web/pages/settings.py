"""Settings: the look, the pedal, the devices of the network, and what this program is."""

from starlette.responses import RedirectResponse, Response

from benchproof.conduct.people import check_somebody
from benchproof.record.problems import RecordProblem
from benchproof.web.devices import Devices
from benchproof.web.forms import PageRequest, screen, with_cookie
from benchproof.web.pages.start import BY, MOST_PEOPLE
from benchproof.web.problems import status_of
from benchproof.web.rendering import LOOK, LOOKS, PEDAL, page
from benchproof.web.security import DEVICE, YEAR_S, is_at_bench

_TOLD = {
    "usual": "as this device is set",
    "light": "black on white",
    "dark": "white on black",
    "sunlight": "for glare: nothing but black and white, heavy strokes",
}
PEDAL_KEYS = 20


def _show(asked: PageRequest) -> Response:
    return _shown(asked, "")


def _shown(
    asked: PageRequest, code: str, wrong: dict[str, str] | None = None, status: int = 200
) -> Response:
    devices = asked.site.devices
    at_bench = is_at_bench(asked.request.scope)
    return page(
        asked,
        "settings.html",
        status=status,
        people=asked.site.store.people.list(limit=MOST_PEOPLE),
        typed={"who": asked.request.cookies.get(BY, "")},
        wrong=wrong or {},
        looks=[(name, _TOLD[name]) for name in LOOKS],
        place=asked.site.store.database.place if at_bench else "",
        lan=devices is not None,
        reach=asked.site.reach,
        devices=devices.list() if devices is not None and at_bench else [],
        code=code,
    )


def _change(asked: PageRequest) -> Response:
    match asked.text("do"):
        case "look":
            look = asked.text("look", 20)
            return _kept(asked, LOOK, look if look in LOOKS else LOOKS[0])
        case "pedal":
            key = asked.typed.get("pedal", "")[:PEDAL_KEYS]
            return _kept(asked, PEDAL, key if key.isascii() and key.isalnum() else "")
        case "who":
            who = asked.text("who", 20)
            try:
                check_somebody(asked.site.store, who)
            except RecordProblem as nobody:
                return _shown(asked, "", {"who": str(nobody)}, status_of(nobody))
            return _kept(asked, BY, who)
        case "code":
            return _shown(asked, _devices(asked).new_code())
        case "forget":
            _devices(asked).forget(asked.text("device", 80))
            asked.site.hub.look_again()
    return RedirectResponse("/settings", 303)


def _devices(asked: PageRequest) -> Devices:
    """Return the devices, which only the bench's own computer may change."""
    from starlette.exceptions import HTTPException

    if asked.site.devices is None or not is_at_bench(asked.request.scope):
        raise HTTPException(403, "Devices are paired at the bench's own computer, with --lan.")
    return asked.site.devices


def _kept(asked: PageRequest, name: str, value: str) -> Response:
    return with_cookie(asked.request, RedirectResponse("/settings", 303), name, value)


def _pair_page(asked: PageRequest) -> Response:
    return page(asked, "pair.html", wrong={}, typed={})


def _pair(asked: PageRequest) -> Response:
    devices = asked.site.devices
    held = None if devices is None else devices.pair(asked.text("code", 40), asked.text("name", 40))
    if held is None:
        wrong = {
            "code": "That is not the code, or it has run out. After a few mistakes it is void: "
            "make a new one at the bench, under Settings."
        }
        return page(asked, "pair.html", status=403, wrong=wrong, typed={"name": asked.text("name")})
    # The oldest device may have made room for this one.
    asked.site.hub.look_again()
    answer = RedirectResponse("/", 303)
    answer.set_cookie(DEVICE, held, max_age=YEAR_S, httponly=True, samesite="strict", secure=True)
    return answer


ROUTES = (
    screen("/settings", get=_show, post=_change),
    screen("/pair", get=_pair_page, post=_pair),
)
