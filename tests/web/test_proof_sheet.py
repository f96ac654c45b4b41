"""A sheet of readings into an open proof: from a file, pasted, by the API, and by keys."""

from base64 import b64encode
from io import BytesIO
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook
from tests.web.test_proof_browser import begin, wait_on, wrong_for_some
from tests.web.test_proof_browser import seq as shown_seq
from tests.web.test_proof_found import FAMILY, off_readings
from tests.web.test_proof_screen import opened as open_one

from benchproof.conduct.proofactions import take_sheet
from benchproof.proof.events import ReadingTaken
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.reading.value import Conditions
from benchproof.shipped.read import shipped_meter

if TYPE_CHECKING:
    from tests.web.conftest import Bench, Opener, Screen

    from benchproof.web.site import Site

GOOD = write_readings(ideal_readings(FAMILY, shipped_meter()))
OFF = write_readings(off_readings())
FAILS = "42 readings are recorded. 3 cells fail: G-H in P, G-H in N, J-K in R."
SHEET, RECORD = "[data-opens=sheet]", "#sheet form > p > button"
GRID = "pins\tP\tR\nA-E\t0.2\tOL\nA-E again\t\tOL\n"


def book(text: str) -> bytes:
    """Return the same as a workbook."""
    made, out = Workbook(), BytesIO()
    for line in text.splitlines():
        made.worksheets[0].append(line.split(","))
    made.save(out)
    return out.getvalue()


@pytest.fixture
def tag(site: "Site") -> str:
    return open_one(site)


def send(screen: "Screen", tag: str, content: bytes, name: str, **typed: str) -> tuple[int, str]:
    """Send a file as the script does."""
    sent = screen.client.post(
        f"/proof/{tag}/sheet",
        data={"token": screen.token, **typed},
        files={"sheet": (name, content)},
        headers={"hx-request": "true"},
    )
    return sent.status_code, sent.text


@pytest.mark.parametrize(("content", "name"), [(OFF.encode(), "off.csv"), (book(OFF), "off.xlsx")])
def test_a_file_is_recorded_and_what_fails_is_told(
    screen: "Screen", site: "Site", tag: str, content: bytes, name: str
) -> None:
    status, said = send(screen, tag, content, name)
    assert status == 200
    assert FAILS in said
    # The same words, from the same readings, as the command's.
    other = open_one(site, "T-2")
    with site.works.opened(other) as work:
        assert take_sheet(work, "MK", content, name).told == FAILS
    one, two = (site.works.standing(each).state.as_left for each in (tag, other))
    assert [each.reading.value for each in one.taken] == [each.reading.value for each in two.taken]
    assert len(one.taken) == 42


def test_pasted_cells_are_recorded_under_what_was_typed(
    screen: "Screen", site: "Site", tag: str
) -> None:
    assert "paste its cells here" in screen.get(f"/proof/{tag}").text
    sent = screen.post(f"/proof/{tag}/sheet", pasted=GRID, part_c="80", part_c_u="2")
    assert sent.status == 303
    taken = [one for one in site.works.standing(tag).state.events if isinstance(one, ReadingTaken)]
    assert [(one.position, one.value) for one in taken] == [
        ("P", "0.2 ohm"), ("R", "OL"), ("R", "OL"),
    ]  # fmt: skip
    assert Conditions(taken[0].part_c, taken[0].part_c_u) == Conditions(80.0, 2.0)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"pins,P,R\nA-E,0.2,far\n", "bad.csv, line 2 column 3: far"),
        (b"pins,P,R\n", "bad.csv: holds no reading"),
        (b"PK\x03\x04 no workbook", "bad.csv"),
        (b"pins,P\nA-Z,0.2\n", "bad.csv, line 2"),
    ],
)
def test_a_bad_file_is_told_in_a_sentence_and_nothing_of_it_is_recorded(
    screen: "Screen", site: "Site", tag: str, content: bytes, why: str
) -> None:
    before = site.works.standing(tag).state.seq
    status, said = send(screen, tag, content, "bad.csv")
    assert status == 200
    assert why.partition(":")[0] in said
    assert said.count('class="mistake"') == 1
    assert site.works.standing(tag).state.seq == before


def test_of_many_mistakes_the_first_are_told(screen: "Screen", tag: str) -> None:
    lines = ["pins,P", *("A-E,far" for _ in range(12))]
    _, said = send(screen, tag, "\n".join(lines).encode(), "bad.csv")
    assert said.count('class="mistake"') == 7
    assert "more." in said


def test_neither_or_both_is_asked_again(screen: "Screen", site: "Site", tag: str) -> None:
    none = screen.post(f"/proof/{tag}/sheet", pasted=" \n")
    assert none.status == 409
    assert "Choose the sheet&#39;s file first, or paste its cells." in none.text
    _, both = send(screen, tag, GOOD.encode(), "good.csv", pasted=GRID)
    assert "not both" in both
    assert not site.works.standing(tag).state.as_left.taken


def test_a_closed_proof_takes_no_sheet(screen: "Screen", tag: str) -> None:
    screen.post(f"/proof/{tag}/close", outcome="abandoned")
    refused = screen.post(f"/proof/{tag}/sheet", pasted=GRID)
    assert refused.status == 409
    assert "closed as abandoned" in refused.text


def test_a_program_does_the_same(screen: "Screen", tag: str) -> None:
    body = {"content": b64encode(GOOD.encode()).decode(), "name": "good.csv", "by": "MK"}
    answer = screen.client.post(f"/api/proofs/{tag}/sheets", json=body)
    assert answer.status_code == 201, answer.text
    assert len(answer.json()["readings"]) == 42
    bad = {"content": b64encode(b"pins,P\nA-E,far\n").decode()}
    refused = screen.client.post(f"/api/proofs/{tag}/sheets", json=bad)
    assert refused.status_code == 422


def test_it_is_pasted_and_sent_by_keys_and_outlives_a_reload(
    opened: "Opener", bench: "Bench"
) -> None:
    page = opened()
    begin(page, bench, "SH-1")
    page.click(SHEET)
    page.focus("#f-pasted")
    page.keyboard.insert_text(GRID.replace("0.2", "far"))
    page.reload()
    page.focus(SHEET)
    page.keyboard.press("Enter")
    page.wait_for_selector("#f-pasted")
    assert "far" in page.input_value("#f-pasted")
    assert wrong_for_some(page) == []
    page.focus(RECORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("#said .mistake")
    assert "line 2 column 2" in page.inner_text("#said")
    # What was typed stays, to be put right.
    page.fill("#f-pasted", OFF)
    was = shown_seq(page)
    page.focus(RECORD)
    page.keyboard.press("Enter")
    wait_on(page, was)
    assert FAILS in page.inner_text("#said")
    assert page.input_value("#f-pasted") == ""
    assert "42 of 42 cells read" in page.inner_text(".chart")
