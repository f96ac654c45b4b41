"""The audit: every rule finds what is planted and is silent where nothing is."""

from pathlib import Path

import pytest
from eseries import E24, series

from benchproof.family.audit.contradiction import contradictions_among
from benchproof.family.audit.finding import Finding, Severity
from benchproof.family.audit.misprint import misprints
from benchproof.family.audit.preferred import is_preferred, nearest_preferred
from benchproof.family.audit.rules import RULES
from benchproof.family.audit.whole import audit
from benchproof.family.model import Family
from benchproof.network.files import read_family

FAMILIES = sorted((Path(__file__).parents[2] / "src" / "benchproof" / "families").glob("*.toml"))

CODED = """pins,P,R,N,D,3,2,1,role
A-E,closed,open,open,closed,closed,closed,open,range bit
B-E,closed,closed,open,open,open,closed,closed,range bit
C-E,open,closed,closed,open,closed,closed,open,range bit
F-E,open,open,closed,closed,open,closed,closed,range bit
G-H,closed,open,closed,open,open,open,open,start permit
J-K,open,closed,open,open,open,open,open,reverse lamp
"""


def chart(text: str) -> Family:
    return read_family(text.encode(), "chart.csv")


def toml(extra: str, *, code: str = "") -> Family:
    text = f"""
name = "invented"
positions = ["P", "R", "N", "D"]
pins = ["A", "B", "C", "E"]
{extra}
[[chart]]
pair = "A-E"
role = "range bit"
expect = ["closed", "open", "open", "closed"]
[[chart]]
pair = "B-E"
role = "range bit"
expect = ["closed", "closed", "open", "open"]
{code}
"""
    return read_family(text.encode(), "invented.toml")


def found(family: Family, rule: str) -> list[str]:
    return [finding.sentence for finding in audit(family) if finding.rule == rule]


def test_a_consistent_chart_has_notes_only() -> None:
    assert {finding.severity for finding in audit(chart(CODED))} == {Severity.NOTE}


@pytest.mark.parametrize("path", FAMILIES, ids=lambda path: path.stem)
def test_every_shipped_family_has_notes_only(path: Path) -> None:
    found = audit(read_family(path.read_bytes(), path.name))
    assert {f.severity for f in found} <= {Severity.NOTE}


def test_the_same_pair_twice_is_found_in_either_order() -> None:
    (sentence,) = found(
        chart(CODED + "E-A,closed,open,open,closed,closed,closed,open,\n"), "same-pair-twice"
    )
    assert sentence.startswith("A-E stands in more than one row")
    assert "line 2" in sentence
    assert "line 8" in sentence


def test_transitivity_a_b_closed_and_b_c_closed_forbid_a_c_open() -> None:
    family = chart("pins,P,R\nA-B,closed,open\nB-C,closed,open\nA-C,open,open\n")
    (sentence,) = found(family, "contradiction")
    assert sentence == (
        "A-C in P is charted open, but A-B closed and B-C closed in P leave it at most 4 ohm; "
        "one of them is wrong."
    )


def test_a_resistance_bridged_by_closed_contacts_is_a_contradiction() -> None:
    family = chart("pins,P,R\nA-B,closed,open\nB-C,closed,open\nA-C,390 ohm,open\n")
    assert len(found(family, "contradiction")) == 1


def test_resistances_that_do_not_add_up_are_a_contradiction() -> None:
    # 100 and 120 in a row leave at most 242 with their tolerances.
    family = chart("pins,P,R\nA-B,100 ohm,open\nB-C,120 ohm,open\nA-C,330 ohm,open\n")
    assert len(found(family, "contradiction")) == 1


def test_resistances_that_add_up_are_none() -> None:
    family = chart("pins,P,R\nA-B,100 ohm,open\nB-C,120 ohm,open\nA-C,220 ohm,open\n")
    assert found(family, "contradiction") == []


def test_the_least_way_is_found_over_many_pins() -> None:
    pairs = (*((str(n), str(n + 1)) for n in range(6)), ("0", "6"))
    bounds = ((0.0, 1.0),) * 6 + ((7.0, 9.0),)
    (contradiction,) = contradictions_among(pairs, bounds)
    assert contradiction.way == (0, 1, 2, 3, 4, 5)
    assert contradiction.most_ohm == 6.0


def test_the_one_value_that_is_not_preferred_is_found() -> None:
    family = chart("pins,P,R,N\nA-B,270 ohm,390 ohm,385 ohm\n")
    (sentence,) = found(family, "not-preferred")
    assert "385 ohm" in sentence
    assert "nearest is 390 ohm" in sentence


def test_several_values_that_are_not_preferred_are_a_maker_s_choice() -> None:
    assert found(chart("pins,P,R,N\nA-B,277 ohm,390 ohm,385 ohm\n"), "not-preferred") == []


def test_e24_is_the_series_of_iec_60063() -> None:
    # IEC 60063, as shipped in the package eseries.
    for mantissa in series(E24):
        for power in range(-2, 7):
            ohm = float(f"{mantissa}e{power}")
            assert is_preferred(ohm)
            assert nearest_preferred(ohm * 1.004) == pytest.approx(ohm)


def test_270_ohm_is_a_preferred_value() -> None:
    # Common practice, no source: inner resistors are of preferred values.
    assert is_preferred(270.0)


def test_a_value_a_thousand_times_another_is_found() -> None:
    family = chart("pins,P,R,N\nA-B,390 ohm,390 kohm,open\n")
    assert len(found(family, "thousandfold")) == 1


def test_a_value_a_thousand_times_off_all_others_is_found() -> None:
    family = chart("pins,P,R,N,D\nA-B,390 ohm,470 ohm,560 kohm,680 ohm\n")
    (sentence,) = found(family, "thousandfold")
    assert "560 kohm" in sentence
    assert "560 ohm" in sentence


def test_values_of_one_decade_are_no_thousandfold() -> None:
    assert found(chart("pins,P,R,N\nA-B,100 ohm,470 ohm,910 ohm\n"), "thousandfold") == []


def test_low_above_high_is_found() -> None:
    family = chart("pins,P,R\nA-B,3.3 kohm 3.5..3.1,open\n")
    assert len(found(family, "low-above-high")) == 1


def test_a_value_outside_its_own_limits_is_found() -> None:
    family = chart("pins,P,R\nA-B,3.3 kohm 3.5..3.9,open\n")
    assert len(found(family, "nominal-outside")) == 1


def test_closed_reaching_into_open_is_found() -> None:
    limits = '[limits]\nclosed_at_most = "20 kohm"\n'
    assert len(found(toml("", code=limits), "limits-crossed")) == 1


def test_positions_with_identical_rows_are_found() -> None:
    family = chart("pins,P,R,N\nA-B,closed,open,closed\nB-C,open,open,open\n")
    (sentence,) = found(family, "positions-alike")
    assert sentence.startswith("P and N read alike")


def test_a_pair_that_never_changes_is_found() -> None:
    family = chart("pins,P,R\nA-B,closed,open\nB-C,open,open\n")
    (sentence,) = found(family, "never-changes")
    assert sentence.startswith("B-C is charted open in every position")


def test_words_alike_are_found() -> None:
    family = chart(
        "pins,P,R,N,role\nA-E,closed,open,closed,range bit\nB-E,open,open,open,range bit\n"
    )
    assert len(found(family, "words-alike")) == 1


def test_a_gray_code_alone_has_positions_that_one_stuck_bit_confuses() -> None:
    # A Gray code alone has distance 1: a single stuck bit can read as a valid neighbour
    # (course notes on codes).
    family = chart(
        "pins,P,R,N,D,role\nA-E,open,open,closed,closed,range bit\n"
        "B-E,open,closed,closed,open,range bit\n"
    )
    assert len(found(family, "one-fault-apart")) == 4
    assert found(family, "single-faults-revealed") == []
    assert found(family, "several-changes") == []


def test_even_parity_words_reveal_every_single_wrong_bit() -> None:
    # Four-bit even-parity words have minimum distance 2 (course notes on codes).
    family = chart(CODED)
    assert found(family, "parity-same") == [
        "all range words have even parity, so a single wrong bit is always revealed."
    ]
    (sentence,) = found(family, "single-faults-revealed")
    assert "at least 2 bits" in sentence


def test_the_only_word_of_other_parity_is_found() -> None:
    family = chart(CODED.replace("A-E,closed,open", "A-E,closed,closed"))
    (sentence,) = found(family, "parity-odd-one")
    assert sentence.startswith("the word of R (1110)")


def test_neighbours_with_several_changes_are_told() -> None:
    (sentence,) = found(chart(CODED), "several-changes")
    assert "P and R (A-E and C-E, in transit 0100 or 1110)" in sentence


def test_a_transit_word_that_is_another_range_is_found_in_each_order() -> None:
    family = chart(
        "pins,P,R,N,D,role\nA-E,open,closed,open,closed,range bit\n"
        "B-E,open,closed,closed,open,range bit\n"
    )
    # P 00, R 11, N 01, D 10: on the way from P to R either of N and D can be seen.
    sentences = found(family, "transit-is-range")
    assert "between P and R the controller sees N (01) with B-E ahead of A-E." in sentences
    assert "between P and R the controller sees D (10) with A-E ahead of B-E." in sentences
    # And from N to D either of P and R.
    assert len(sentences) == 4


CODE = '[range_code]\nwords = { P = "11", R = "01", N = "00", D = "10" }\n'


def test_a_code_that_agrees_with_the_chart_is_silent() -> None:
    assert found(toml("", code=CODE), "code-against-chart") == []


def test_a_cell_that_the_code_contradicts_is_found() -> None:
    (sentence,) = found(toml("", code=CODE.replace('N = "00"', 'N = "10"')), "code-against-chart")
    assert sentence.startswith("A-E in N is charted open")


def test_a_transit_word_that_is_a_position_s_is_found() -> None:
    family = toml("", code=CODE + 'transit = ["01"]\n')
    (sentence,) = found(family, "transit-declared-as-range")
    assert "01 to R" in sentence


def test_words_in_transit_that_the_code_does_not_know_are_told() -> None:
    family = toml("", code=CODE.replace('D = "10"', 'D = "11"') + 'transit = ["10"]\n')
    assert found(family, "transit-unknown") == []
    coded = (Path(FAMILIES[-2])).read_bytes()
    terrace = read_family(coded, "terrace-transit-9.toml")
    (sentence,) = found(terrace, "transit-unknown")
    assert "P and R (00011)" in sentence


def test_start_permit_closed_in_drive_is_the_first_finding() -> None:
    family = chart(CODED.replace("G-H,closed,open,closed,open", "G-H,closed,open,closed,closed"))
    first = audit(family)[0]
    assert first.rule == "start-outside"
    assert first.severity is Severity.ERROR
    assert "49 CFR 571.102" in first.sentence


def test_start_permit_open_in_neutral_is_found() -> None:
    family = chart(CODED.replace("G-H,closed,open,closed", "G-H,closed,open,open"))
    assert len(found(family, "start-missing")) == 1


def test_reverse_lamp_outside_reverse_and_missing_in_reverse_are_found() -> None:
    family = chart(CODED.replace("J-K,open,closed,open", "J-K,open,open,closed"))
    assert len(found(family, "reverse-outside")) == 1
    assert len(found(family, "reverse-missing")) == 1


def test_positions_that_nobody_named_are_asked_for() -> None:
    family = chart("pins,1,2,3,role\nG-H,closed,open,closed,start permit\n")
    (sentence,) = found(family, "not-told")
    assert "not known where the starter must not turn" in sentence
    assert "1 is park; 3 is neutral; 2 is reverse" in sentence


def test_positions_can_be_named_in_the_family_file() -> None:
    text = """
name = "invented"
positions = ["away", "back", "rest", "go"]
park = ["away"]
reverse = ["back"]
neutral = ["rest"]
pins = ["A", "E"]
[[chart]]
pair = "A-E"
role = "start permit"
expect = ["closed", "open", "closed", "closed"]
"""
    (sentence,) = found(read_family(text.encode(), "invented.toml"), "start-outside")
    assert "in go" in sentence


def test_neutral_not_between_reverse_and_forward_is_found() -> None:
    # 49 CFR 571.102: neutral lies between forward and reverse.
    assert found(chart("pins,P,N,R,D\nA-E,closed,open,closed,open\n"), "neutral-not-between")
    assert not found(chart("pins,P,R,N,D\nA-E,closed,open,closed,open\n"), "neutral-not-between")


def test_overlapping_range_levels_are_found() -> None:
    family = chart("pins,P,R,N,role\nA-W,100 ohm,115 ohm,220 ohm,range level\n")
    (sentence,) = found(family, "levels-overlap")
    assert "in P and 115 ohm in R" in sentence


def flipped(text: str, pair: str, position: int) -> str:
    lines = text.splitlines()
    number = next(i for i, line in enumerate(lines) if line.startswith(pair))
    cells = lines[number].split(",")
    cells[position] = {"closed": "open", "open": "closed"}[cells[position]]
    lines[number] = ",".join(cells)
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("pair", ["A-E", "B-E", "C-E", "F-E", "G-H", "J-K"])
@pytest.mark.parametrize("position", range(1, 8))
def test_a_planted_misprint_is_among_the_suggestions(pair: str, position: int) -> None:
    family = chart(flipped(CODED, pair, position))
    name = f"{pair} in {family.positions[position - 1]} may be a misprint"
    suggestions = [finding.sentence for finding in misprints(family)]
    assert any(sentence.startswith(name) for sentence in suggestions)


def test_a_planted_misprint_in_the_start_permit_is_the_only_suggestion() -> None:
    (finding,) = misprints(chart(flipped(CODED, "G-H", 4)))
    assert "the only single change that does" in finding.sentence


def test_a_consistent_chart_has_no_misprints() -> None:
    assert misprints(chart(CODED)) == []


def test_every_rule_is_documented_and_none_that_is_not() -> None:
    text = (Path(__file__).parents[2] / "docs" / "audit.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1].strip(" `") for line in text.splitlines() if line.startswith("| `")]
    assert rows == [*(rule.name for rule in RULES), "misprint", "chart-against-branches"]
    assert all(rule.sentence in text for rule in RULES)


def test_findings_are_worst_first() -> None:
    order = list(Severity)
    severities = [order.index(f.severity) for f in audit(chart(flipped(CODED, "G-H", 4)))]
    assert severities == sorted(severities)


def test_a_finding_tells_its_line() -> None:
    family = chart(flipped(CODED, "G-H", 4))
    finding = next(f for f in audit(family) if f.rule == "start-outside")
    assert finding == Finding("start-outside", Severity.ERROR, "line 6 column 1", finding.sentence)


@pytest.mark.parametrize(
    ("told", "taken"),
    [
        ("park, reverse, drive, neutral", "a forward position, for nobody called it otherwise"),
        ("park, neutral, reverse, drive", "reverse"),
    ],
)
def test_a_position_whose_name_misleads_is_told_with_what_it_is_taken_as(
    told: str, taken: str
) -> None:
    """NEUT is neutral nearly everywhere (common practice, no source); not here."""
    text = (
        f"pins,PK,REV,NEUT,DR,role\nlever,{told.replace(' ', '')}\n"
        "A-B,closed,open,closed,open,start permit\nC-D,open,closed,open,open,reverse lamp\n"
    )
    (sentence,) = found(read_family(text.encode(), "invented.csv"), "start-outside")
    assert f"charted closed in NEUT, which is taken as {taken}, neither park nor" in sentence
