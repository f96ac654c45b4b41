"""The certificate has what a laboratory's report must have, in words that a customer can take.

The items are those of ISO/IEC 17025:2017, 7.8.2.1 a to p and 7.8.6.2.
"""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

from benchproof.align.band import band_of
from benchproof.align.window import shape_of, window_of
from benchproof.report.against import against_lines
from benchproof.report.certificate import Certificate
from benchproof.report.installer import installer_cautions
from benchproof.report.language import ENGLISH
from benchproof.report.letterhead import KM_A_MILE, Letterhead
from benchproof.report.paper import paper_of
from benchproof.report.pdf import certificate_pdf
from benchproof.report.text import certificate_text
from benchproof.shipped.contents import shipped_bytes
from example_certificate import LETTERHEAD, example_certificate, example_state, shipped_state


@pytest.fixture(scope="module")
def told() -> Certificate:
    return replace(example_certificate(shipped_state(left=None)), issued_on="2026-03-03")


@pytest.fixture(scope="module")
def rejected() -> Certificate:
    against = {("A-E", position) for position in "PRND321"}
    state = shipped_state("valley-coded-7", left=against)
    return example_certificate(state, outcome="repair")


def flat(told: Certificate) -> str:
    return " ".join(certificate_text(told).split())


# ISO/IEC 17025:2017, 7.8.2.1 and 7.8.6.2.
@pytest.mark.parametrize(
    ("item", "words"),
    [
        ("a title", ("Certificate of electrical proof S-104.1",)),
        ("b laboratory", ("Invented Depot Gearbox Works", "7 Nowhere Lane")),
        ("c where", ("Tested by, and where Invented Depot Gearbox Works, 7 Nowhere Lane",)),
        ("d end", ("End of certificate no. S-104.1",)),
        ("e customer", ("Customer Invented Bus Company, yard 3, ask for Jo",)),
        ("f method", ("Method Resistance between two pins", "benchproof 0.1.0")),
        ("g item", ("Part S-104", "Serial number of the unit INV-000417", "Condition none noted")),
        ("h received", ("Received 2026-02-27",)),
        ("i done", ("Tested 2026-03-02",)),
        ("j issued", ("Issued 2026-03-03",)),
        ("k sampling", ("every cell of the chart (63); nothing was sampled",)),
        ("l items only", ("hold for this part alone",)),
        ("m results with units", ("Ω",)),
        ("n departures", ("Departures none",)),
        ("o authorized", ("Authorized by: Mara Invented", "Signature: ____")),
        ("p outside", ("no result of another shop or laboratory",)),
        ("7.8.6.2 a results", ("All 63 cells of the chart pass.",)),
        ("7.8.6.2 b specification", ("Specification the chart of family terrace-transit-9, file",)),
        ("7.8.6.2 c rule", ("guarded acceptance (JCGM 106:2012; ILAC-G8:09/2019, 4.2.2)",)),
    ],
)
def test_it_has_what_a_report_must_have(
    item: str, words: tuple[str, ...], told: Certificate
) -> None:
    for one in words:
        assert one in flat(told), item


def test_it_says_that_it_is_no_such_report(told: Certificate) -> None:
    assert "This is not the test report of an accredited laboratory (ISO/IEC 17025)" in flat(told)


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_every_page_says_which_it_is_and_of_which_certificate(size: str, told: Certificate) -> None:
    pages = PdfReader(io.BytesIO(certificate_pdf(told, size))).pages
    for number, page in enumerate(pages, 1):
        foot = " ".join(page.extract_text().split())
        assert "Certificate no. S-104.1 · part S-104" in foot
        assert f"page {number} of {len(pages)}" in foot
    assert "End of certificate no. S-104.1" in pages[-1].extract_text()


def test_what_departed_from_the_method_is_said() -> None:
    state = shipped_state(left=None, named_meter=False)
    state = replace(state, settings=(replace(state.as_left, taken=state.as_left.taken[1:]),))
    told = example_certificate(state, outcome="abandoned")
    assert "1 cells not read; no meter was named" in flat(told)


def test_no_words_of_the_workshop_on_a_customers_paper(
    told: Certificate, rejected: Certificate
) -> None:
    for one in (told, rejected):
        assert "from memory" not in flat(one)
        assert "new, bought" not in flat(one)
        assert "withdraw it" not in flat(one)
        # A plus before a value reads as a plus.
        assert "+ 0." not in flat(one)
        assert "✓ 0." in flat(one)


def test_a_rejected_part_has_its_likely_fault_and_what_would_settle_it(
    rejected: Certificate,
) -> None:
    assert rejected.reasons
    against = against_lines(rejected.reasons, ENGLISH)
    # Seven cells fail; those that fail alike stand together, and each is named once.
    assert len(against) < 7
    for position in "PRND321":
        assert sum(line.count(f"A-E in {position}") for line in against) == 1
    likely = next(it for it in paper_of(rejected).before if it.heading == "Likely fault")
    assert any("A-E" in line for line in likely.lines)
    assert likely.lines[-1].startswith(
        "What would settle it: the cells named above, read once more"
    )
    assert not any(it.heading == "Likely fault" for it in paper_of(example_good()).before)


def example_good() -> Certificate:
    return example_certificate(shipped_state(left=None))


def test_the_offsets_told_are_those_that_nearly_all_parts_bear(told: Certificate) -> None:
    state = shipped_state(left=None)
    window = window_of(shape_of(state.ground.family, state.ground.priors), state.ground.priors)
    band = band_of(window)
    assert told.alignment.nearly_all.startswith("within ±2.7° (±")
    assert window.high > 2.7 < band.high[0]
    assert told.strip is not None
    assert told.strip.window == (-2.7, 2.7)
    assert "holds for offsets" not in flat(told)
    assert "stays right in nearly all parts within ±2.7°" in flat(told)


def test_the_installers_acts_stand_in_their_order(told: Certificate) -> None:
    # The order of the acts: common practice, no source.
    acts = " ".join(installer_cautions(told))
    order = [
        "parking brake",
        "foot brake",
        "chock the wheels",
        "Engine stopped",
        "try the starter",
        "Only then start the engine, in park",
        "reverse lamps",
    ]
    places = [acts.index(act) for act in order]
    assert places == sorted(places)
    # 49 CFR 571.102 S3.1.3 and 49 USC 30122.
    assert "49 CFR 571.102 S3.1.3" in acts
    assert "49 USC 30122" in acts


@pytest.mark.parametrize("code", ["en", "es"])
def test_no_rule_of_road_vehicles_is_cited_for_a_farm_machine(code: str) -> None:
    # 49 CFR 571.102 S2: passenger cars, multipurpose vehicles, trucks, buses.
    road = shipped_bytes("families", "valley-coded-7")
    farm = road.replace(b"[limits]", b'machine = "farm"\n[limits]', 1)
    assert farm != road
    head = replace(LETTERHEAD, language=code)
    for family, cites in ((road, True), (farm, False)):
        good = example_state(family, "valley-coded-7", left=None)
        bad = example_state(family, "valley-coded-7", left=None, found={("G-H", "D")})
        accepted = flat(example_certificate(good, head))
        rejected = flat(example_certificate(bad, head, outcome="repair"))
        for text in (accepted, rejected):
            assert ("49 USC 30122" in text) is cites
            assert ("571.102" in text) is cites
        # What a start in gear does is said all the same.
        assert ("DANGER" if code == "en" else "PELIGRO") in rejected


def test_units_are_the_shops_own() -> None:
    head = replace(LETTERHEAD, temperature="F", distance="miles")
    text = flat(example_certificate(shipped_state(left=None), head))
    assert "Temperature 69.8 °F" in text
    # The international mile is 1.609344 km (from memory): 412,300 km.
    assert "Odometer 256,191 miles" in text
    assert pytest.approx(5280 * 0.3048 / 1000) == KM_A_MILE
    assert Letterhead(temperature="F").degrees(100.0) == "212 °F"


def test_a_paper_without_settings_still_says_what_it_lacks() -> None:
    told = example_certificate(shipped_state(left=None), Letterhead())
    assert "Tested by, and where not named" in flat(told)
    assert "Authorized by: Jo Invented" in flat(told)
