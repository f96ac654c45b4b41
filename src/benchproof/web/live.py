"""Changes pushed to the open screens, so that two screens on one thing stay in step."""

from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING

from anyio import move_on_after
from sse_starlette import EventSourceResponse, ServerSentEvent
from sse_starlette.sse import AppStatus
from starlette.concurrency import run_in_threadpool

from benchproof.web.security import may_enter

if TYPE_CHECKING:
    from starlette.requests import Request

    from benchproof.web.site import Site

PING_S = 15
LOOK_S = 1.0
"""How often a screen looks whether somebody else, a command say, changed the archive."""
TAKE_UP_MS = 500
"""How soon a browser connects again."""

# The library would cut the streams when the server is told to end; `Hub.end` ends them whole.
AppStatus.enable_automatic_graceful_drain = False


def stream(
    request: "Request",
    topic: str,
    render: Callable[[], str],
    stamp: Callable[[], object] | None = None,
) -> EventSourceResponse:
    """Return a stream of HTML: now, and whenever the topic changes.

    Parameters
    ----------
    request : Request
        Who asked: the stream ends when he may come in no more. Its query may tell what he has
        seen: the stamp, as text, of what the screen shows already; it is not sent that again.
    topic : str
    render : callable
        Makes the HTML; called in a thread of its own, so it may read the archive.
    stamp : callable, optional
        Returns something that differs once the archive was changed from elsewhere; looked at every
        `LOOK_S` seconds, in a thread.

    Notes
    -----
    Several changes at once are one message: a screen shows how things are, not how they came.
    """
    site: Site = request.app.state.site
    hub, seen = site.hub, request.query_params.get("seen", "")

    def goes_on() -> bool:
        return not hub.is_over and may_enter(request.scope, site.devices)

    async def told() -> AsyncIterator[ServerSentEvent]:
        with hub.opened(topic) as changed:
            known = await run_in_threadpool(stamp) if stamp else None
            sent = ""
            if stamp is None or str(known) != seen:
                sent = await run_in_threadpool(render)
                yield ServerSentEvent(data=sent, retry=TAKE_UP_MS)
            while goes_on():
                with move_on_after(LOOK_S if stamp else None):
                    await changed.wait()
                if not changed.is_set() and stamp:
                    found = await run_in_threadpool(stamp)
                    if found == known:
                        continue
                    known = found
                changed.clear()
                if not goes_on():
                    return
                now = await run_in_threadpool(render)
                # Whoever made the change has it on the screen already.
                if now != sent:
                    sent = now
                    yield ServerSentEvent(data=sent)

    return EventSourceResponse(told(), ping=PING_S)
