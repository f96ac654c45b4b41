"""The page for what stands on the shop's papers, and the record's readings as they were read."""

from typing import TYPE_CHECKING

from benchproof.conduct.shopsettings import letterhead
from benchproof.proof.codec import decode, encode
from benchproof.proof.events import Opened, ReadingTaken

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store


def test_the_shop_is_set_on_its_page(screen: "Screen", store: "Store") -> None:
    assert "papers" in screen.get("/shop").text
    done = screen.post(
        "/shop", name="Invented Depot", address="7 Nowhere Lane\nInvented Falls", signer="",
        paper="letter", label="small", distance="miles", temperature="F", language="es",
    )  # fmt: skip
    assert (done.status, done.to) == (303, "/shop")
    head = letterhead(store)
    assert (head.name, head.lines) == ("Invented Depot", ("7 Nowhere Lane", "Invented Falls"))
    assert (head.paper, head.label, head.distance) == ("letter", "small", "miles")
    shown = screen.get("/shop").text
    assert 'value="Invented Depot"' in shown
    assert '<option value="letter" selected>' in shown


def test_a_mistake_stands_at_its_field_and_nothing_is_lost(
    screen: "Screen", store: "Store"
) -> None:
    refused = screen.post("/shop", name="N" * 81, address="7 Nowhere Lane", paper="letter")
    assert refused.status == 422
    assert 'id="e-name"' in refused.text
    assert "longer than 80 letters" in refused.text
    assert "7 Nowhere Lane" in refused.text
    assert letterhead(store).address == ""


def test_the_record_shows_a_reading_as_the_meter_shows_it(
    screen: "Screen", filled: "Store"
) -> None:
    events = filled.proofs.events("S-1.1")
    opened = decode(events[0].payload)
    assert isinstance(opened, Opened)
    tag = filled.proofs.open("S-1", encode(opened), mode="prove")
    sent = ReadingTaken(opened.at, opened.by, "P", ("A", "E"), "0.100000000 ohm")
    filled.proofs.append(tag, encode(sent), 1)
    shown = screen.get(f"/proofs/{tag}").text
    assert "<strong>0.1 ohm</strong>" in shown
    assert "0.100000000" not in shown
