"""People: who works at the bench, and whom units belong to."""

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from benchproof.record.rows import CustomerRow, PersonRow
from benchproof.web.forms import PageRequest, screen
from benchproof.web.problems import PROBLEMS, status_of
from benchproof.web.rendering import page

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST = 500


def _list(asked: PageRequest) -> Response:
    return _listed(asked, {}, {})


def _listed(
    asked: PageRequest, typed: "Mapping[str, str]", wrong: dict[str, str], status: int = 200
) -> Response:
    store = asked.site.store
    return page(
        asked,
        "people.html",
        status=status,
        people=store.people.list(limit=MOST),
        customers=store.customers.list(limit=MOST),
        typed=typed,
        wrong=wrong,
    )


def _add(asked: PageRequest) -> Response:
    store = asked.site.store
    is_customer = asked.text("do") == "customer"
    try:
        if is_customer:
            row = CustomerRow(asked.text("tag", 80), asked.text("customer"), asked.text("contact"))
            store.customers.add(row)
        else:
            store.people.add(PersonRow(asked.text("initials", 80), asked.text("name")))
    except PROBLEMS as error:
        field = "tag" if is_customer else "initials"
        return _listed(asked, asked.typed, {field: str(error)}, status_of(error))
    return RedirectResponse("/people", 303)


ROUTES = (screen("/people", get=_list, post=_add),)
