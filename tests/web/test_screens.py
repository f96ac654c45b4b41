"""What the screens do, without a browser: every form works without script."""

import html
import re
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from benchproof import __version__
from benchproof.conduct.work import now
from benchproof.proof.closing import closing
from benchproof.proof.events import ProofOutcome
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.meterfile import read_meter
from benchproof.reading.sheet import write_readings
from benchproof.record.rows import PartRow, PersonRow
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import lever_families
from benchproof.web.desk import Drafts
from benchproof.web.site import Site

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.record.store import Store


def wrong_field(page: str, name: str) -> str:
    """Return what stands beside a field that is wrong."""
    found = re.search(rf'id="e-{name}"[^>]*>([^<]*)<', page)
    assert found, f"nothing is said at {name}"
    return found[1]


def test_a_first_proof_needs_a_tag_and_a_start(screen: "Screen", site: Site) -> None:
    site.store.people.add(PersonRow("MK", "invented"))
    page = screen.get("/")
    assert "Your first proof" in page.text
    assert 'value="S-1"' in page.text
    begun = screen.post("/", part="S-1", family="valley-coded-7", mode="prove",
                        meter="ordinary-handheld", bench="selector-box", by="MK")  # fmt: skip
    assert (begun.status, begun.to) == (303, "/proof/S-1.1")
    standing = site.works.standing("S-1.1")
    assert standing.state.meter_chosen is not None
    assert standing.state.opened.by == "MK"
    again = screen.get("/")
    assert 'value="S-2"' in again.text
    assert "S-1.1" in again.text


def test_an_open_proof_tells_how_many_cells_are_read(screen: "Screen", filled: "Store") -> None:
    assert "42 of 42 cells read, all pass" in screen.get("/").text
    assert screen.post("/proof/S-1.1/turn", note="on again").status == 303
    begun = screen.get("/").text
    assert "0 of 42 cells read" in begun
    assert "events" not in begun


VERDICT = re.compile(r"accept.{0,60}[0-9] %", re.DOTALL)


def test_what_the_eye_saw_is_told_before_a_reading_but_no_prior(
    screen: "Screen", site: Site
) -> None:
    chosen = {"family": "valley-coded-7", "meter": "ordinary-handheld"}
    site.store.people.add(PersonRow("MK", "invented"))
    file = site.store.files.put(shipped_bytes("families", "valley-coded-7"))
    site.store.parts.add(PartRow("S-1", "valley-coded-7", file, site.store.now()))
    site.store.conditions.note(part="S-1", item="bent pins", grade="bad", by="MK")
    assert screen.post("/", part="S-1", **chosen).status == 303
    for page in ("/proof/S-1.1", "/proof/S-1.1/belief"):
        shown = screen.get(page).text
        assert "othing is read yet" in shown
        assert "Seen by eye, and counted" in shown
        assert not VERDICT.search(shown)
    screen.post("/proof/S-1.1/other", position="P", pins="A-E", value="0.2 ohm")
    for page in ("/proof/S-1.1", "/proof/S-1.1/belief"):
        assert VERDICT.search(screen.get(page).text)


def test_a_kept_chart_can_be_chosen_before_any_part_has_it(screen: "Screen", site: Site) -> None:
    kept = screen.post(
        "/chart",
        do="save",
        name="own-3",
        chart="pins\tP\tR\tN\tD\trole\nA-B\tclosed\topen\tclosed\topen\tstart permit\n",
    )
    assert kept.status == 303
    page = screen.get("/").text
    assert page.index(">own-3<") < page.index(">ferry-two-of-four-6 (comes along, invented)<")
    # What only looks like one is offered to nobody.
    site.store.files.put(b"[[chart]]\nnonsense")
    assert screen.get("/").text.count("<option") == page.count("<option")


def test_the_last_choice_of_this_screen_is_offered_and_no_other(screen: "Screen") -> None:
    chosen = {"family": "orchard-single-7", "mode": "find",
              "meter": "workshop-dial", "bench": "needle-probes"}  # fmt: skip
    assert screen.post("/", part="S-1", **chosen).status == 303
    page = screen.get("/").text
    for name in ("orchard-single-7", "workshop-dial", "needle-probes"):
        assert f'value="{name}" selected' in page
    assert "to find the fault, with workshop-dial and needle-probes" in page
    # Gear that was there and is there no more is not offered.
    screen.client.cookies.delete("benchproof-last")
    screen.client.cookies.set("benchproof-last", "meter=gone&family=none")
    page = screen.get("/").text
    assert 'value="ordinary-handheld" selected' in page
    assert 'value="orchard-single-7" selected' in page


def test_mistakes_stand_at_their_field_and_nothing_typed_is_lost(screen: "Screen") -> None:
    missing = screen.post("/", part="", family="valley-coded-7", by="MK")
    assert missing.status == 422
    assert "nobody in this archive has these initials" in wrong_field(missing.text, "by")
    assert "Give the part a tag" in wrong_field(missing.text, "part")
    assert 'value="MK"' in missing.text
    bad = screen.post("/", part="S 1", family="valley-coded-7")
    assert bad.status == 400
    assert "is no tag for a part" in wrong_field(bad.text, "part").replace("&#39;", "'")
    screen.post("/cores", tag="C-1")
    twice = screen.post("/cores", tag="C-1", missing="lever & bolts")
    assert twice.status == 409
    assert "there is a core of this name already" in wrong_field(twice.text, "tag")
    assert "lever &amp; bolts" in twice.text
    unit = screen.post("/units", tag="U-1", mileage_km="far")
    assert unit.status == 422
    assert "whole kilometres" in wrong_field(unit.text, "mileage_km")
    gear = screen.post("/gear", tag="M-1", kind="meter", due_on="soon")
    assert "Type a day" in wrong_field(gear.text, "due_on")
    person = screen.post("/people", do="person", initials="M K")
    assert "is no tag for a person" in wrong_field(person.text, "initials")


def test_a_part_is_graded_with_a_photograph_without_its_place(screen: "Screen", site: Site) -> None:
    screen.post("/parts", tag="S-1", family="harvest-ladder-8")
    picture = BytesIO()
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (48.0, 0.0, 0.0)}
    Image.new("RGB", (64, 48), "red").save(picture, "JPEG", exif=exif)
    form = {"token": screen.token, "do": "grade", "item": "bent pins", "grade": "slight"}
    files = {"photograph": ("pins.jpg", picture.getvalue(), "image/jpeg")}
    assert screen.client.post("/parts/S-1", data=form, files=files).status_code == 303
    (note,) = site.store.conditions.list(part="S-1")
    assert note.photograph is not None
    sent = screen.client.get(f"/photographs/{note.photograph}")
    assert sent.headers["content-type"] == "image/jpeg"
    assert 0x8825 not in Image.open(BytesIO(sent.content)).getexif()
    assert "clean first" in screen.get("/parts/S-1").text
    bare = screen.post("/parts/S-1", do="grade", item="bent pins")
    assert "Pick how it looks" in bare.text


def test_only_a_proven_part_goes_to_stock(screen: "Screen") -> None:
    screen.post("/parts", tag="S-1", family="harvest-ladder-8")
    refused = screen.post("/parts/S-1", do="move", to="stock")
    assert refused.status == 409
    assert "only a proven part goes on the shelf" in wrong_field(refused.text, "to")


def test_papers_come_of_closed_proofs_only(screen: "Screen") -> None:
    screen.post("/", part="S-1", family="valley-coded-7")
    assert screen.get("/proofs/S-1.1/certificate.pdf").status == 409
    assert "still open" in screen.get("/proofs/S-1.1/certificate.pdf").text
    for path, begins in (
        ("/parts/S-1/tag.pdf", b"%PDF"),
        ("/proofs/S-1.1/worksheet.pdf", b"%PDF"),
        ("/proofs/S-1.1/worksheet.csv", b"# valley-coded-7"),
        ("/parts/S-1/family", b"#"),
    ):
        answer = screen.client.get(path)
        assert answer.status_code == 200, path
        assert answer.content.lstrip().startswith(begins), path
        assert "attachment" in answer.headers["content-disposition"] or begins == b"%PDF"


def test_a_closed_proof_has_its_certificate(filled: "Store", screen: "Screen", site: Site) -> None:
    with site.works.opened("S-1.1") as work:
        work.append(lambda state: closing(state, now(), "MK", __version__, ProofOutcome.REALIGN))
    for ending, begins in (("pdf", b"%PDF"), ("html", b"<!"), ("txt", b"")):
        answer = screen.client.get(f"/proofs/S-1.1/certificate.{ending}")
        assert answer.status_code == 200
        assert answer.content.lower().startswith(begins.lower())
    # The hash that it bears is the record's own.
    assert site.works.standing("S-1.1").hash[:12] in answer.text
    assert "realign" in screen.get("/proofs/S-1.1").text
    both = screen.get("/proofs/S-1.1/foretell").text
    assert both.index("As found") < both.index("DANGER") < both.index("As left")


def test_proofs_are_found_by_tag_page_by_page(screen: "Screen", site: Site) -> None:
    screen.post("/parts", tag="S-1", family="valley-coded-7")
    for _ in range(53):
        site.store.proofs.open("S-1", b"{}", mode="find")
    first = screen.get("/proofs?q=S-1")
    shown = set(re.findall(r'href="/proofs/(S-1\.\d+)"', first.text))
    assert len(shown) == 50
    after = re.search(r'href="(/proofs\?[^"]*after=[^"]*)"', first.text)
    assert after
    rest = set(
        re.findall(r'href="/proofs/(S-1\.\d+)"', screen.get(after[1].replace("&amp;", "&")).text)
    )
    assert len(rest) == 3
    assert not rest & shown
    assert "No proof has a tag" in screen.get("/proofs?q=T").text


def test_a_chart_is_kept_as_a_family_and_a_part_made_of_it(screen: "Screen", site: Site) -> None:
    chart = (
        "pins\tP\tR\tN\trole\n"
        "A-B\tclosed\topen\tclosed\tstart permit\n"
        "C-D\topen\tclosed\topen\treverse lamp\n"
    )
    kept = screen.post("/chart", do="save", name="own-3", chart=chart)
    assert kept.status == 303
    key = kept.to.removeprefix("/parts?family=")
    text = site.store.files.get(key).decode()
    assert 'name = "own-3"' in text
    assert "own-3" in screen.get(kept.to).text
    assert screen.post("/parts", tag="S-1", family=key).to == "/parts/S-1"
    assert site.store.parts.get("S-1").family == "own-3"
    assert "own-3" in screen.get("/").text
    sent = screen.client.post(
        "/chart", data={"token": screen.token, "do": "send", "name": "own-3", "chart": chart}
    )
    assert sent.content.decode() == text
    nameless = screen.post("/chart", do="save", name="", chart=chart)
    assert "is empty" in wrong_field(nameless.text, "name")
    assert "A-B\tclosed" in nameless.text
    broken = screen.post("/chart", do="save", name="own-4", chart="pins\tP\nA-B\n")
    assert broken.status == 422
    assert "cannot be used" in wrong_field(broken.text, "chart")


def typed_chart(screen: "Screen") -> str:
    """Return the chart that stands in the workshop."""
    found = re.search(r'placeholder="[^"]*">(.*?)</textarea>', screen.get("/chart").text, re.S)
    assert found is not None
    return html.unescape(found[1])


UNTOLD = "pins\tPk\tRv\tNt\tDr\nA-B\tclosed\topen\tclosed\topen\n"


def test_a_chart_is_kept_only_once_what_it_does_not_tell_is_said(screen: "Screen") -> None:
    asked = screen.post("/chart", do="save", name="untold", chart=UNTOLD)
    assert asked.status == 422
    assert "Say first what is asked" in wrong_field(asked.text, "chart")
    assert "Which pair is the start permit" in asked.text
    screen.post("/chart", do="proposed", name="untold", chart=UNTOLD)
    text = typed_chart(screen)
    assert "lever\tpark\treverse\tneutral\tdrive" in text
    assert "A-B\tclosed\topen\tclosed\topen\tstart permit" in text
    assert screen.post("/chart", do="save", name="untold", chart=text).status == 303


def test_what_a_chart_does_not_tell_can_be_said_one_by_one(screen: "Screen") -> None:
    said = {"position-0": "park", "position-2": "neutral", "pair-0": "start permit"}
    screen.post("/chart", do="say", name="untold", chart=UNTOLD, **said)
    text = typed_chart(screen)
    assert "lever\tpark\tdrive\tneutral\tdrive" in text


def test_a_start_permit_charted_closed_in_gear_is_mended_or_answered_for(screen: "Screen") -> None:
    chart = "pins\tP\tR\tN\tD\trole\nA-B\tclosed\tclosed\tclosed\topen\tstart permit\n"
    refused = screen.post("/chart", do="save", name="shut", chart=chart)
    assert refused.status == 422
    assert "could be cranked in gear" in wrong_field(refused.text, "chart")
    answered = screen.post("/chart", do="say", name="shut", chart=chart, reason="clutch lock, JB")
    assert answered.status == 303
    assert "clutch lock, JB" in screen.get("/chart").text


def test_a_chart_is_taken_from_a_file(screen: "Screen") -> None:
    form = {"token": screen.token, "do": "file"}
    good = {"file": ("mine.csv", b"pins,P,R\nA-B,closed,open\n", "text/csv")}
    assert screen.client.post("/chart", data=form, files=good).status_code == 303
    assert "A-B,closed,open" in screen.get("/chart").text
    bad = {"file": ("mine.csv", b"\xff\xfe\x00\x01\x02", "text/csv")}
    answer = screen.client.post("/chart", data=form, files=bad)
    assert answer.status_code == 422
    assert "mine.csv" in wrong_field(answer.text, "file")


def test_an_assembly_is_taken_from_a_file_and_opens_as_any_other(screen: "Screen") -> None:
    content = shipped_bytes("families", "meadow-unit-6").replace(b"meadow-unit-6", b"my-unit")
    form = {"token": screen.token, "do": "file"}
    files = {"file": ("my-unit.toml", content, "application/toml")}
    assert screen.client.post("/chart", data=form, files=files).status_code == 303
    shown = screen.get("/chart")
    assert "6-7" in shown.text
    assert "start permit" in shown.text
    kept = screen.client.post(
        "/chart",
        data={"token": screen.token, "do": "save", "name": "my-unit", "chart": content.decode()},
    )
    assert kept.status_code == 303
    key = kept.headers["location"].partition("family=")[2]
    assert screen.post("/", part="S-1", family=key).status == 303
    # The file is kept as it was typed, its members with it.
    assert screen.client.get("/parts/S-1/family").content == content
    stage = screen.get("/proof/S-1.1")
    assert stage.status == 200
    assert "1-5" in stage.text


ODD_CHARTS = {
    "one-position": "pins,P\nA-B,closed\n",
    "no-roles": "pins,P,R,N\nA-B,closed,open,closed\nB-C,open,closed,open\n",
    "ohms": "pins,P,R,N,D,role\nA-B,270 ohm,680 ohm,1k2,2k2,range level\n",
    "any": "pins,P,R\nA-B,any,any\n",
    "wide": "pins," + ",".join(f"p{n}" for n in range(29)) + "\nA-B" + ",closed" * 29 + "\n",
}


@pytest.mark.parametrize("key", [*lever_families(), *ODD_CHARTS])
def test_every_family_has_its_screens(screen: "Screen", site: Site, key: str) -> None:
    if key in ODD_CHARTS:
        key = site.store.files.put(ODD_CHARTS[key].encode())
    assert screen.get(f"/align/{key}").status == 200
    assert screen.get(f"/chart?like={key}").status == 200
    foretold = screen.get(f"/foretell/{key}?offset=0.4")
    assert foretold.status == 200
    assert "Cautions" in foretold.text
    assert screen.client.get(f"/api/families/{key}/window").status_code == 200
    said = {}
    if key not in lever_families():
        asked = screen.post("/", part="S-1", family=key)
        assert asked.status == 422
        assert "Say first" in asked.text
        said = {"do": "proposed", "no-permit": "yes"}
    begun = screen.post("/", part="S-1", family=key, **said)
    assert begun.to == "/proof/S-1.1"
    for path in ("/proofs/S-1.1", "/proofs/S-1.1/foretell", f"/align/{key}?part=S-1"):
        assert screen.get(path).status == 200, path


def test_foretelling_puts_hazards_first(screen: "Screen") -> None:
    page = screen.get("/foretell/valley-coded-7?offset=8&fault1=contact open at A-E").text
    # The hazard stands before what the controller reads, and cautions before both.
    assert page.index("Cautions") < page.index("DANGER") < page.index("What the controller reads")
    wrong = screen.get("/foretell/valley-coded-7?offset=far&fault1=rust at Z")
    assert wrong.status == 422
    assert "Type a number" in wrong_field(wrong.text, "offset")
    assert "kind of fault" in wrong_field(wrong.text, "fault1")


def test_the_caution_stands_before_the_turning(screen: "Screen") -> None:
    page = screen.get("/align/valley-coded-7").text
    assert page.index("A vehicle whose linkage is off can roll") < page.index('class="huge"')
    assert "must be open in every position but park and neutral" in page


def test_an_edge_that_cannot_be_is_told_at_once(screen: "Screen") -> None:
    page = "/align/valley-coded-7"
    wrong = screen.post(page, do="edge", edge="wide")
    assert wrong.status == 422
    assert re.search(r'id="e-edge"[^>]*>[^<]*is no number', wrong.text)
    odd = screen.post(page, do="edge", edge="-3.9 sideways")
    assert "is not understood; after the number type up or down" in odd.text
    # The decimal comma is a number too.
    good = screen.post(page, do="edge", edge="-3,9 up closed")
    assert good.status == 303
    assert "-3.9" in screen.get(page).text
    screen.post("/align/valley-coded-7", do="undo")
    assert "-3.9" not in screen.get("/align/valley-coded-7").text


def sheets(family: str, many: int) -> list[tuple[str, tuple[str, bytes, str]]]:
    from benchproof.conduct.families import read

    meter = read_meter(shipped_bytes("meters", "ordinary-handheld"), "m")
    chart = read(shipped_bytes("families", family), family)
    good = write_readings(ideal_readings(chart, meter)).encode()
    return [
        ("sheets", (f"part-{n}.csv", good if n else b"no sheet", "text/csv")) for n in range(many)
    ]


def job_ended(screen: "Screen", path: str) -> str:
    import time

    for _ in range(200):
        page = screen.get(path).text
        if "Running" not in page:
            return page
        time.sleep(0.05)
    raise AssertionError("the work does not end")


def test_many_sheets_are_judged_and_told(screen: "Screen") -> None:
    form = {"token": screen.token, "do": "judge", "family": "valley-coded-7"}
    begun = screen.client.post("/jobs", data=form, files=sheets("valley-coded-7", 5))
    path = begun.headers["location"]
    page = job_ended(screen, path)
    assert "Done: 5 of 5" in page
    assert "4 pass" in page
    rows = screen.client.get(f"{path}/file").text.splitlines()
    assert rows[0] == "sheet,danger,verdict,decided,reasons"
    assert rows[1].startswith("part-0.csv,,unread,")
    assert [row.split(",")[2] for row in rows[2:]] == ["pass"] * 4
    none = screen.post("/jobs", do="judge", family="valley-coded-7")
    assert "Choose the sheets" in wrong_field(none.text, "sheets")


def test_work_is_stopped(screen: "Screen") -> None:
    form = {"token": screen.token, "do": "judge", "family": "terrace-transit-9"}
    begun = screen.client.post("/jobs", data=form, files=sheets("terrace-transit-9", 190))
    path = begun.headers["location"]
    assert screen.post(path).status == 303
    page = job_ended(screen, path)
    assert "Stopped" in page
    assert "190 of 190" not in page


def test_the_archive_is_written_out(screen: "Screen", tmp_path: Path) -> None:
    import zipfile

    screen.post("/cores", tag="C-1")
    path = screen.post("/jobs", do="export").to
    assert "Done" in job_ended(screen, path)
    packed = zipfile.ZipFile(BytesIO(screen.client.get(f"{path}/file").content))
    assert '"C-1"' in packed.read("benchproof-export/cores.jsonl").decode()
    assert packed.testzip() is None


def test_the_look_and_the_pedal_are_kept_on_the_device(screen: "Screen") -> None:
    screen.post("/settings", do="look", look="sunlight")
    assert 'data-look="sunlight"' in screen.get("/").text
    screen.post("/settings", do="look", look='"><script>')
    assert 'data-look="usual"' in screen.get("/").text
    screen.post("/settings", do="pedal", pedal="F9")
    assert 'data-pedal="F9"' in screen.get("/").text


@pytest.mark.parametrize("name", ["", "a/b", "../../x", "ü" * 300, "\x00"])
def test_a_draft_is_kept_whatever_it_is_called(tmp_path: Path, name: str) -> None:
    drafts = Drafts(tmp_path / "drafts")
    assert drafts.get(name) == ""
    drafts.put(name, "half a row\n")
    assert Drafts(tmp_path / "drafts").get(name) == "half a row\n"
    assert [path.parent for path in tmp_path.rglob("*.txt")] == [tmp_path / "drafts"]
