"""One field finds everything, and says how it stands."""

import re
from typing import TYPE_CHECKING

import pytest
from tests.web.conftest import now

from benchproof.conduct.searching import MOST
from benchproof.record.rows import CoreRow, CustomerRow, UnitRow

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store


def found(page: str) -> set[str]:
    return set(re.findall(r'<td>(?:<strong[^>]*>\w+</strong> )?<a href="([^"]*)">', page))


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [
        ("s-1", {"/parts/S-1", "/proofs/S-1.1"}),
        ("-1", {"/parts/S-1", "/proofs/S-1.1", "/cores/C-1", "/units/U-1"}),
        ("CODED", {"/families/valley-coded-7", "/parts/S-1"}),
        ("valley six", {"/cores/C-1", "/units/U-1"}),
        ("invented 12", {"/units/U-1"}),
        ("lever", {"/cores/C-1"}),
        ("c-1", {"/parts/S-1", "/cores/C-1"}),
        ("mk", {"/people"}),
        ("nothing of it", set()),
        ("", set()),
    ],
)
def test_it_is_found_by_whatever_is_known(
    screen: "Screen", filled: "Store", typed: str, leads_to: set[str]
) -> None:
    assert filled.parts.get("S-1")
    page = screen.client.get("/search", params={"q": typed})
    assert page.status_code == 200
    assert leads_to <= found(page.text)
    assert bool(found(page.text)) == bool(leads_to)
    assert ("Nothing holds" in page.text) == bool(typed and not leads_to)
    told = screen.client.get("/api/search", params={"q": typed}).json()
    assert len(told) == len(re.findall("<tr><td>", page.text))
    for path in leads_to:
        assert screen.get(path).status == 200


def test_it_says_how_each_stands(screen: "Screen", filled: "Store") -> None:
    filled.customers.add(CustomerRow("K-9", "Depot Invented"))
    filled.units.add(UnitRow("U-2", now(), "harvester", "K-9"))
    page = screen.get("/search?q=s-1").text
    assert "S-1.1: open" in page
    assert "<td>open</td>" in page
    # Of a customer who is found, the units are too.
    assert "/units/U-2" in found(screen.get("/search?q=depot").text)


def test_no_more_than_can_be_read_are_shown(screen: "Screen", filled: "Store") -> None:
    for number in range(MOST + 1):
        filled.cores.add(CoreRow(f"X-{number}", now(), note="wet"))
    page = screen.get("/search?q=WET").text
    assert len(found(page)) == MOST
    assert f"The first {MOST}" in page


def test_every_list_leads_to_it(screen: "Screen") -> None:
    for path in ("/all", "/parts", "/proofs", "/cores", "/units"):
        assert 'href="/search' in screen.get(path).text, path
