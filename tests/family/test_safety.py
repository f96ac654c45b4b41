"""Where a pair must not conduct, whatever chart, roles or names say, and what is asked about it."""

import pytest

from benchproof.family.audit.whole import audit
from benchproof.family.expectation import ANY, CLOSED, OPEN, parse_expectation
from benchproof.family.model import Family, Role, pair_text
from benchproof.family.roles import Answers, answered
from benchproof.family.safety import Safety, assumed, safety_of
from benchproof.network.files import read_family

USUAL = "pins,P,R,N,D,role\n"
PERMIT = "G-H,closed,open,closed,open,start permit\n"
BITS = "A-E,closed,closed,open,open,range bit\nB-E,closed,open,open,closed,range bit\n"
LAMP = "J-K,open,closed,open,open,reverse lamp\n"


def chart(text: str) -> Family:
    return read_family(text.encode(), "chart.csv")


def safety(text: str) -> Safety:
    return safety_of(chart(text))


def cells(found: frozenset[tuple[str, frozenset[str]]]) -> set[str]:
    """Return cells as "GH R", for a test to be read."""
    return {f"{''.join(sorted(pair))} {position}" for position, pair in found}


def asked(found: Safety) -> dict[str, tuple[str, ...]]:
    return {question.name: question.proposal for question in found.questions}


def texts(pairs: tuple[tuple[str, str], ...]) -> list[str]:
    return [pair_text(pair) for pair in pairs]


def test_told_in_full_nothing_is_asked() -> None:
    """The start permit is open in every gear (49 CFR 571.102 S3.1.3, road vehicles)."""
    found = safety(USUAL + BITS + PERMIT + LAMP)
    assert found.free == ("P", "N")
    assert found.permits == found.told == (("G", "H"),)
    assert found.lamps == (("J", "K"),)
    assert cells(found.must_be_open) == {"GH R", "GH D"}
    assert cells(found.lamp_must_be_open) == {"JK D"}
    assert found.questions == ()
    assert found.guards("R", ("H", "G"))
    assert not found.guards("P", ("G", "H"))
    assert not found.guards("R", ("A", "E"))


@pytest.mark.parametrize("charted", ["closed", "any", "270 ohm", "< 5 ohm", "open"])
def test_a_told_permit_is_guarded_whatever_is_charted(charted: str) -> None:
    family = chart(f"{USUAL}{BITS}G-H,closed,{charted},closed,open,start permit\n")
    found = safety_of(family)
    assert cells(found.must_be_open) == {"GH R", "GH D"}
    row = family.chart[-1]
    wanted = found.expectation("R", row, row.expect[1])
    assert wanted == OPEN
    assert str(wanted) == "open"
    assert found.expectation("P", row, row.expect[0]) == CLOSED
    rules = {one.rule for one in audit(family)}
    assert ("start-outside" in rules) is (charted != "open")


def test_what_a_chart_asks_of_an_open_cell_stays() -> None:
    family = chart(f"{USUAL}G-H,closed,> 50 kohm,closed,open,start permit\n")
    row = family.chart[0]
    own = parse_expectation("> 50 kohm")
    assert safety_of(family).expectation("R", row, row.expect[1]) == own
    assert safety_of(family).expectation("P", row, ANY) == ANY


def test_without_roles_the_pair_that_fits_is_guarded_and_asked_about() -> None:
    """Issue: 0.1 ohm in reverse, twice, and no word of it."""
    found = safety(
        "pins,P,R,N,D\nA-E,closed,closed,open,open\nB-E,closed,open,open,closed\n"
        "G-H,closed,open,closed,open\nJ-K,open,closed,open,open\n"
    )
    assert found.free == ("P", "N")
    assert found.told == ()
    assert texts(found.permits) == ["G-H"]
    assert texts(found.lamps) == ["J-K"]
    assert cells(found.must_be_open) == {"GH R", "GH D"}
    assert cells(found.lamp_must_be_open) == {"JK D"}
    assert asked(found) == {
        "start permit": ("G-H is a start permit",),
        "reverse": ("J-K is a reverse lamp",),
    }
    said = found.questions[0].sentence
    assert said.startswith("Which pair is the start permit, or is there none in this chart?")
    assert "G-H must not conduct in gear and nothing is accepted" in said


@pytest.mark.parametrize(
    ("names", "proposal"),
    [
        ("PK,Rv,Nt,Dr", ("PK is park", "Nt is neutral", "Rv is reverse")),
        ("Pk,Rv,Nt,Dr", ("Pk is park", "Nt is neutral", "Rv is reverse")),
        ("1,2,3,4", ("1 is park", "3 is neutral", "2 is reverse")),
        ("X,Y,Z,W", ("X is park", "Z is neutral", "Y is reverse")),
    ],
)
def test_positions_of_other_names_are_asked_about(names: str, proposal: tuple[str, ...]) -> None:
    _, reverse, _, drive = names.split(",")
    found = safety(f"pins,{names}\nG-H,closed,open,closed,open\n")
    assert found.free == ()
    assert texts(found.permits) == ["G-H"]
    assert cells(found.must_be_open) == {f"GH {reverse}", f"GH {drive}"}
    assert asked(found)["positions"] == proposal
    assert asked(found)["start permit"] == ("G-H is a start permit",)


def test_a_told_permit_of_unknown_positions_is_guarded_where_it_is_not_charted_to_conduct() -> None:
    found = safety("pins,1,2,3,4,role\nG-H,closed,any,closed,open,start permit\n")
    assert found.told == (("G", "H"),)
    assert cells(found.must_be_open) == {"GH 2", "GH 4"}
    assert list(asked(found)) == ["positions"]


def test_told_that_nothing_is_park_or_neutral_a_permit_may_conduct_nowhere() -> None:
    """It was guarded nowhere that it was charted to conduct, and nothing was asked."""
    family = chart(
        "pins,1,2,3,role\nlever,reverse,drive,drive\nG-H,open,closed,open,start permit\n"
    )
    found = safety_of(family)
    assert found.questions == ()
    assert cells(found.must_be_open) == {"GH 1", "GH 2", "GH 3"}
    assert "start-outside" in {one.rule for one in audit(family)}


def test_a_permit_told_beside_none_is_still_guarded_and_positions_asked() -> None:
    """They were not: a contradiction must not silence the question."""
    told = "start permit,none\nG-H,closed,open,closed,open,start permit\n"
    found = safety(f"pins,X,Y,Z,W,role\n{told}")
    assert texts(found.permits) == ["G-H"]
    assert list(asked(found)) == ["positions"]
    assert cells(safety(f"pins,P,R,N,D,role\n{told}").must_be_open) == {"GH R", "GH D"}


def test_a_strange_name_matters_only_where_a_permit_conducts() -> None:
    strange = "pins,P,R,N,Quux,role\nG-H,closed,open,closed,{},start permit\n"
    assert safety(strange.format("open")).questions == ()
    found = safety(strange.format("closed"))
    assert list(asked(found)) == ["positions"]
    assert cells(found.must_be_open) == {"GH R", "GH Quux"}
    # Of a name that begins with none of their letters we propose nothing.
    assert asked(found)["positions"] == ()
    assert found.questions[0].sentence.startswith("Which positions are park, neutral and reverse?")
    two = "pins,P,R,N,Quux,Quuz,role\nG-H,closed,open,closed,open,closed,start permit\n"
    assert list(asked(safety(two))) == ["positions"]


def test_roles_but_no_start_permit() -> None:
    found = safety(USUAL + BITS + "G-H,closed,open,closed,open,\n" + LAMP)
    assert texts(found.permits) == ["G-H"]
    assert asked(found) == {"start permit": ("G-H is a start permit",)}
    # One told to be something else is a suspect too, while nobody has said which it is.
    other = safety(USUAL + BITS + "G-H,closed,open,closed,open,other\n" + LAMP)
    assert texts(other.permits) == ["G-H"]
    assert asked(other) == {"start permit": ("G-H is a start permit",)}
    bit = safety(USUAL + "A-E,closed,open,closed,open,range bit\n" + LAMP)
    assert texts(bit.permits) == ["A-E"]
    assert asked(bit) == {"start permit": ()}


def test_a_reverse_lamp_is_no_suspect() -> None:
    lamp = (
        "pins,P,R,N,D,role\nJ-K,closed,open,closed,open,reverse lamp\nA-E,open,open,open,closed,\n"
    )
    assert texts(safety(lamp).permits) == ["A-E"]


def test_where_none_fits_every_pair_without_a_role_is_one() -> None:
    """A misprint may keep the start permit from looking like one."""
    found = safety(
        "pins,P,R,N,D,role\nA-E,closed,closed,open,open,range bit\n"
        "G-H,closed,closed,open,open,\nJ-K,open,closed,open,closed,other\n"
    )
    assert texts(found.permits) == ["G-H", "J-K"]
    # Nobody told: only what the chart does not let conduct is guarded, and nothing is accepted.
    assert cells(found.must_be_open) == {"GH D"}
    # One that conducts in park, neutral and one more is the likelier.
    likely = safety("pins,P,R,N,D\nG-H,closed,closed,closed,open\nJ-K,open,closed,open,closed\n")
    assert texts(likely.permits) == ["G-H"]
    assert asked(likely) == {"start permit": ("G-H is a start permit",)}
    assert list(asked(found)) == ["start permit"]
    assert "G-H, J-K must not conduct" in found.questions[0].sentence
    # Nor does any that is far from it; then every pair without a role is one.
    far = safety(
        "pins,P,R,N,D,role\nG-H,open,closed,closed,closed,\nJ-K,open,closed,open,closed,\n"
    )
    assert texts(far.permits) == ["G-H", "J-K"]


def test_no_more_than_six_are_named() -> None:
    def sentence(count: int) -> str:
        rows = [f"A{n}-B{n},open,closed,open,closed" for n in range(count)]
        return safety("\n".join(["pins,P,R,N,D", *rows]) + "\n").questions[0].sentence

    assert "A5-B5 must not" in sentence(6)
    assert "A5-B5 and 1 more must not" in sentence(7)
    assert "A5-B5 and 2 more must not" in sentence(8)
    bits = safety(USUAL + BITS.replace("closed,open,open,closed", "open,open,closed,closed"))
    assert "no pair must not conduct" in bits.questions[0].sentence


def test_a_second_one_that_nobody_told_is_asked_about() -> None:
    second = "L-M,closed,open,closed,open,{}\n"
    found = safety(USUAL + PERMIT + second.format(""))
    assert texts(found.permits) == ["G-H", "L-M"]
    assert texts(found.told) == ["G-H"]
    assert cells(found.must_be_open) == {"GH R", "GH D", "LM R", "LM D"}
    assert asked(found) == {"roles": ("L-M is a start permit",)}
    assert found.questions[0].sentence.startswith("Is L-M a start permit too?")
    for role in ("other", "range bit"):
        assert safety(USUAL + PERMIT + second.format(role)).permits == (("G", "H"),)
    both = safety(USUAL + PERMIT + second.format("start permit"))
    assert both.questions == ()
    assert cells(both.must_be_open) == cells(found.must_be_open)
    # One that conducts elsewhere too, or nowhere, is none.
    for row in ("closed,closed,closed,closed", "open,open,open,open", "open,closed,open,open"):
        assert safety(f"{USUAL}{PERMIT}{LAMP}L-M,{row},\n").permits == (("G", "H"),)
    misprinted = safety(f"{USUAL}{PERMIT}{LAMP}L-M,closed,closed,closed,open,\n")
    assert asked(misprinted) == {"roles": ("L-M is a start permit",)}


def test_told_that_there_is_none() -> None:
    found = safety("pins,P,R,N,D\nstart permit,none\nG-H,closed,open,closed,open\n")
    assert found.permits == ()
    assert found.must_be_open == frozenset()
    assert found.questions == ()
    assert safety("pins,X,Y,Z,W\nstart permit,none\nG-H,closed,open,closed,open\n").questions == ()


def test_park_neutral_and_reverse_can_be_named_in_a_csv_chart() -> None:
    found = safety(
        "pins,1,2,3,4,role\nlever,park,reverse,neutral,drive\n"
        "G-H,closed,open,closed,open,start permit\nJ-K,open,closed,open,open,reverse lamp\n"
    )
    assert found.free == ("1", "3")
    assert cells(found.must_be_open) == {"GH 2", "GH 4"}
    assert cells(found.lamp_must_be_open) == {"JK 4"}
    assert found.questions == ()
    # Against the names that they usually have.
    turned = safety(
        "pins,P,R,N,D,role\nlever,drive,drive,neutral,park\n"
        "G-H,open,open,closed,closed,start permit\n"
    )
    assert turned.free == ("D", "N")
    assert cells(turned.must_be_open) == {"GH P", "GH R"}


def test_where_nothing_is_known_one_or_two_positions_may_be_park_and_neutral() -> None:
    free = "pins,X,Y,Z,W\n"
    for row in ("open,open,closed,open", "open,closed,closed,open"):
        found = safety(f"{free}A-B,open,closed,closed,closed\nG-H,{row}\n")
        assert texts(found.permits) == ["G-H"]
    # Three, or every one of two, are not; nor none.
    none = safety(f"{free}A-B,open,closed,closed,closed\nC-D,open,open,open,open\n")
    assert texts(none.permits) == ["A-B", "C-D"]
    two = safety("pins,X,Y\nA-B,closed,closed\nG-H,closed,open\n")
    assert texts(two.permits) == ["G-H"]


def test_what_we_propose_of_positions_bears_on_what_may_be_a_permit() -> None:
    """N is known, PK is taken for park: a pair closed in both is the suspect, not every one."""
    found = safety("pins,PK,R,N,D\nA-E,closed,closed,open,open\nG-H,closed,open,closed,open\n")
    assert found.free == ("N",)
    assert texts(found.permits) == ["G-H"]
    assert cells(found.must_be_open) == {"GH R", "GH D"}
    assert asked(found)["positions"] == ("PK is park", "N is neutral", "R is reverse")
    other = safety("pins,P,R,Nt,D\nA-E,closed,closed,open,open\nG-H,closed,open,closed,open\n")
    assert texts(other.permits) == ["G-H"]


def test_a_lamp_of_unknown_positions_is_asked_about() -> None:
    found = safety("pins,P,Rw,N,D,role\n" + PERMIT + LAMP)
    assert asked(found) == {"reverse": ("P is park", "N is neutral", "Rw is reverse")}
    assert found.questions[0].sentence.startswith("Which position is reverse?")
    told = "pins,P,Q,N,D,role\nlever,park,reverse,neutral,drive\n" + PERMIT
    assert asked(safety(told + LAMP)) == {}
    assert asked(safety("pins,P,Q,N,D,role\n" + PERMIT + LAMP)) == {"reverse": ()}
    # A lamp that nobody told is asked about beside none that somebody told.
    second = "L-M,open,closed,open,open,\n"
    assert asked(safety(USUAL + PERMIT + second)) == {"reverse": ("L-M is a reverse lamp",)}
    found = safety(USUAL + PERMIT + LAMP + second)
    assert found.questions == ()
    assert texts(found.lamps) == ["J-K", "L-M"]


def test_a_pair_charted_twice_is_guarded_in_either_spelling() -> None:
    found = safety(USUAL + PERMIT + "H-G,closed,closed,closed,open,other\n")
    assert cells(found.must_be_open) == {"GH R", "GH D"}
    assert found.guards("R", ("H", "G"))


def test_what_we_propose_can_be_taken() -> None:
    family = chart("pins,PK,Rv,Nt,Dr\nG-H,closed,open,closed,open\nJ-K,open,closed,open,open\n")
    taken = assumed(family)
    assert [row.role for row in taken.chart] == [Role.START_PERMIT, Role.REVERSE_LAMP]
    assert (taken.park, taken.neutral, taken.reverse) == (("PK",), ("Nt",), ("Rv",))
    found = safety_of(taken)
    assert found.questions == ()
    assert cells(found.must_be_open) == {"GH Rv", "GH Dr"}
    assert cells(found.lamp_must_be_open) == {"JK Dr"}


def test_equal_families_are_told_apart() -> None:
    """Families hold mappings, so they are remembered by identity."""
    first, second = chart(USUAL + PERMIT), chart(USUAL + PERMIT)
    assert safety_of(first) is safety_of(first)
    assert safety_of(first) is not safety_of(second)


def test_why_a_permit_conducts_in_gear_frees_the_chart_but_no_part() -> None:
    family = chart(f"{USUAL}G-H,closed,closed,closed,open,start permit\n")
    said = answered(family, Answers(permit_reason="bench jig, J. Invented"))
    assert [one.rule for one in audit(said) if one.rule.startswith("start-outside")] == [
        "start-outside-answered-for"
    ]
    (found,) = (one for one in audit(said) if one.rule == "start-outside-answered-for")
    assert "G-H is the start permit and is charted closed in R" in found.sentence
    assert "bench jig, J. Invented" in found.sentence
    assert cells(safety_of(said).must_be_open) == {"GH R", "GH D"}
    (plain,) = (one for one in audit(family) if one.rule.startswith("start-outside"))
    assert plain.rule == "start-outside"
    assert plain.place == "line 2 column 1"
    # A reason without such a cell is none.
    fine = answered(chart(USUAL + PERMIT), Answers(permit_reason="bench jig"))
    assert not [one for one in audit(fine) if one.rule.startswith("start-outside")]


def test_only_a_told_permit_makes_the_chart_wrong() -> None:
    """A suspect is charted open where it is guarded, or asked about."""
    untold = chart("pins,P,R,N,D\nG-H,closed,any,closed,open\n")
    assert cells(safety_of(untold).must_be_open) == {"GH R", "GH D"}
    assert "start-outside" not in {one.rule for one in audit(untold)}


def test_the_audit_tells_what_is_not_known() -> None:
    family = chart("pins,X,Y,Z,W\nA-B,open,closed,closed,closed\n")
    told = [one for one in audit(family) if one.rule == "not-told"]
    assert len(told) == len(safety_of(family).questions) == 2
    assert "Proposed: we cannot tell from the chart" in told[0].sentence
    assert told[0].place == ""
    clear = [
        one
        for one in audit(chart("pins,PK,Rv,Nt,Dr\nG-H,closed,open,closed,open\n"))
        if one.rule == "not-told"
    ]
    assert "Proposed: PK is park; Nt is neutral; Rv is reverse." in clear[0].sentence


@pytest.mark.parametrize(
    ("names", "single", "both"),
    [("PK,R,N,D", "closed,open,open,open", "PK"), ("P,R,Nt,D", "open,open,closed,open", "Nt")],
)
def test_a_bit_closed_where_we_take_it_for_free_is_a_suspect(
    names: str, single: str, both: str
) -> None:
    """Nobody has told that it is a range bit."""
    found = safety(
        f"pins,{names}\nA-E,{single}\nB-E,open,closed,open,closed\n"
        "C-E,closed,closed,open,open\nG-H,closed,open,closed,open\n"
    )
    assert texts(found.permits) == ["A-E", "G-H"]
    assert "positions" in asked(found)
    assert both not in found.free


@pytest.mark.parametrize("names", ["P,R,D", "N,R,D"])
def test_one_known_free_position_is_enough(names: str) -> None:
    found = safety(f"pins,{names},role\nG-H,closed,open,open,start permit\n")
    assert found.questions == ()
    without = names.replace("R", "2")
    assert safety(f"pins,{without},role\nG-H,closed,open,open,start permit\n").questions == ()
    assert cells(found.must_be_open) == {"GH R", "GH D"}
