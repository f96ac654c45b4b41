"""What is proposed of pairs and positions, and what becomes of an answer; dangers in order."""

import pytest

from benchproof.family.danger import COVERED, DUTY, Danger, Signal, in_order, notes_on
from benchproof.family.model import Family, Role, pair_text
from benchproof.family.roles import Answers, answered, proposed
from benchproof.network.files import read_family


def chart(text: str) -> Family:
    return read_family(text.encode(), "chart.csv")


def roles(text: str) -> dict[str, str]:
    family = chart(text)
    found = proposed(family).roles
    return {
        pair_text(row.pair): found[frozenset(row.pair)].name
        for row in family.chart
        if frozenset(row.pair) in found
    }


WHOLE = (
    "pins,P,R,N,D,2\n"
    "A-E,closed,closed,open,open,open\nB-E,closed,open,open,closed,closed\n"
    "C-E,open,closed,open,closed,open\n"
    "G-H,closed,open,closed,open,open\nJ-K,open,closed,open,open,open\n"
    "L-M,100 ohm,200 ohm,open,300 ohm,open\nX-Y,open,open,open,closed,open\n"
)


def test_each_kind_of_pair() -> None:
    """What pairs are most likely, by where they conduct (common practice, no source)."""
    found = proposed(chart(WHOLE))
    assert roles(WHOLE) == {
        "A-E": "RANGE_BIT",
        "B-E": "RANGE_BIT",
        "C-E": "RANGE_BIT",
        "G-H": "START_PERMIT",
        "J-K": "REVERSE_LAMP",
        "L-M": "RANGE_LEVEL",
        "X-Y": "OTHER",
    }
    assert not found.tells_positions
    assert found.why == (
        "A-E shares a pin with others",
        "B-E shares a pin with others",
        "C-E shares a pin with others",
        "G-H conducts in park and neutral only",
        "J-K conducts in reverse only",
        "L-M tells the range by its ohms",
    )


def test_what_somebody_told_is_not_proposed_anew() -> None:
    told = WHOLE.replace("2\n", "2,role\n", 1).replace(
        "G-H,closed,open,closed,open,open", "G-H,closed,open,closed,open,open,start permit"
    )
    told = told.replace("X-Y,open,open,open,closed,open", "X-Y,closed,open,closed,open,open,other")
    assert "G-H" not in roles(told)
    assert "X-Y" not in roles(told)
    assert roles(told)["J-K"] == "REVERSE_LAMP"
    # While nothing is the start permit, one told to be nothing may be it; else it stays.
    none = told.replace("start permit", "other")
    assert roles(none)["G-H"] == roles(none)["X-Y"] == "START_PERMIT"
    said = none.replace("role\n", "role\nstart permit,none\n", 1)
    assert "G-H" not in roles(said)
    elsewhere = none.replace("X-Y,closed,open,closed,open", "X-Y,open,open,open,closed")
    assert "X-Y" not in roles(elsewhere)


def test_a_range_bit_closed_in_park_alone_is_no_start_permit() -> None:
    text = (
        "pins,P,R,N,D\nA-E,closed,open,open,open\nB-E,open,closed,open,closed\n"
        "C-E,open,closed,open,open\nG-H,{},open,closed,open\n"
    )
    assert roles(text.format("closed")) == {
        "A-E": "RANGE_BIT",
        "B-E": "RANGE_BIT",
        "C-E": "RANGE_BIT",
        "G-H": "START_PERMIT",
    }
    # One of neutral alone, on no pin of theirs, is.
    assert roles(text.format("open"))["G-H"] == "START_PERMIT"
    # On their pin too, if it is closed in park and neutral.
    assert roles(text.replace("G-H", "D-E").format("closed"))["D-E"] == "START_PERMIT"


def test_pairs_that_never_change_share_no_word() -> None:
    text = (
        "pins,P,R,N,D\nA-E,closed,closed,closed,closed\nB-E,open,closed,open,closed\n"
        "C-F,open,closed,open,closed\nD-F,open,open,closed,closed\nQ-E,open,open,open,open\n"
    )
    assert roles(text) == {
        "A-E": "OTHER",
        "B-E": "OTHER",
        "C-F": "RANGE_BIT",
        "D-F": "RANGE_BIT",
        "Q-E": "OTHER",
    }


def test_one_alone_shares_nothing() -> None:
    text = "pins,P,R,N,D\nA-E,closed,closed,open,open\nG-H,closed,open,closed,open\n"
    assert roles(text) == {"A-E": "OTHER", "G-H": "START_PERMIT"}
    two = text + "B-E,open,open,closed,closed\n"
    assert roles(two) == {"A-E": "RANGE_BIT", "G-H": "START_PERMIT", "B-E": "RANGE_BIT"}


@pytest.mark.parametrize(
    ("rows", "alike"),
    [
        ("A-E,closed,open,closed,open\nB-E,open,closed,open,closed\n", False),
        (
            "A-E,closed,open,open,closed\nB-E,open,closed,closed,open\nG-H,closed,open,closed,open\n",
            True,
        ),
        ("A-E,closed,open,open,closed\nB-E,closed,closed,closed,open\n", False),
    ],
)
def test_one_parity_is_told(rows: str, alike: bool) -> None:
    found = proposed(chart("pins,P,R,N,D\n" + rows))
    assert any("all words have one parity" in why for why in found.why) is alike
    if alike:
        assert "A-E shares a pin with others, and all words have one parity" in found.why


def test_two_positions_have_too_few_words_for_a_parity() -> None:
    found = proposed(chart("pins,D,R\nA-E,closed,open\nB-E,open,closed\n"))
    assert not any("parity" in why for why in found.why)
    three = proposed(
        chart(
            "pins,D,R,S\nlever,drive,drive,drive\nA-E,closed,closed,open\nB-E,closed,open,closed\nC-E,open,closed,closed\n"
        )
    )
    assert any("parity" in why for why in three.why)


@pytest.mark.parametrize(
    ("row", "role"),
    [
        ("100 ohm,200 ohm,open,open", "OTHER"),
        ("100 ohm,200 ohm,open,300 ohm", "RANGE_LEVEL"),
        ("100 ohm,200 ohm,300 ohm,400 ohm", "RANGE_LEVEL"),
        ("closed,closed,closed,100 ohm", "OTHER"),
    ],
)
def test_a_level_has_three_resistances(row: str, role: str) -> None:
    assert roles(f"pins,P,R,N,D\nL-M,{row}\n") == {"L-M": role}


def test_of_two_positions_both_make_a_level() -> None:
    assert roles("pins,D,R\nL-M,100 ohm,200 ohm\n") == {"L-M": "RANGE_LEVEL"}
    assert roles("pins,D,S\nL-M,100 ohm,open\n") == {"L-M": "OTHER"}


def test_positions_by_their_first_letters() -> None:
    family = chart("pins,Pk,Rv,Nt,Dr\nA-B,open,open,open,closed\n")
    found = proposed(family)
    assert (found.park, found.neutral, found.reverse) == (("Pk",), ("Nt",), ("Rv",))
    assert found.why[:3] == (
        "Pk is park by its first letter",
        "Nt is neutral by its first letter",
        "Rv is reverse by its first letter",
    )
    # Two alike, or one beside a known one, are not guessed.
    two = proposed(chart("pins,Pk,Px,Rv,Nt,Dr\nA-B,open,open,open,open,closed\n"))
    assert (two.park, two.neutral, two.reverse) == ((), ("Nt",), ("Rv",))
    beside = proposed(chart("pins,P,Px,Rv,Nt,Dr\nA-B,open,open,open,open,closed\n"))
    assert (beside.park, beside.neutral, beside.reverse) == (("P",), ("Nt",), ("Rv",))


@pytest.mark.parametrize(
    ("text", "park", "neutral", "reverse"),
    [
        ("pins,1,2,3,4\nG-H,closed,open,closed,open\n", ("1",), ("3",), ("2",)),
        ("pins,4,3,2,1\nG-H,open,closed,open,closed\n", ("1",), ("3",), ("2",)),
        ("pins,1,2,3\nG-H,closed,open,closed\n", ("1",), ("3",), ("2",)),
    ],
)
def test_positions_by_the_usual_order(
    text: str, park: tuple[str, ...], neutral: tuple[str, ...], reverse: tuple[str, ...]
) -> None:
    """Park at the end, then reverse, neutral, forward (49 CFR 571.102 S3.1.1, S3.1.1.1)."""
    found = proposed(chart(text))
    assert (found.park, found.neutral, found.reverse) == (park, neutral, reverse)
    assert f"{neutral[0]} is neutral by the usual order of the lever" in found.why
    assert found.tells_positions


@pytest.mark.parametrize(
    "text",
    [
        "pins,1,2\nG-H,closed,open\nJ-K,open,closed\n",
        "pins,1,2,3\nG-H,open,closed,open\nJ-K,closed,open,open\n",
        "pins,3,2,1\nG-H,open,closed,open\nJ-K,open,open,closed\n",
        "pins,1,2,3,4\nG-E,closed,open,closed,open\nJ-E,open,closed,open,open\n",
        "pins,1,2,3,4,role\nG-H,closed,open,closed,open,range bit\n",
        "pins,1,2,3,4,role\nG-H,open,open,closed,open,start permit\nJ-K,closed,open,closed,open,\n",
        "pins,1,2,3\nG-H,open,closed,open\nJ-K,closed,closed,open\n",
        "pins,1,2,3,4\nG-H,open,closed,closed,open\nJ-K,open,closed,open,open\n",
    ],
)
def test_other_orders_tell_nothing(text: str) -> None:
    found = proposed(chart(text))
    assert not found.tells_positions
    assert (found.park, found.neutral, found.reverse) == (None, None, None)


def test_a_told_permit_tells_the_order_though_it_shares_a_pin() -> None:
    text = (
        "pins,1,2,3,4,role\nG-E,closed,open,closed,open,start permit\nA-E,open,open,open,closed,\n"
    )
    assert proposed(chart(text)).park == ("1",)


@pytest.mark.parametrize(
    ("row", "role"),
    [
        ("closed,closed,closed,open", "START_PERMIT"),
        ("closed,open,closed,100 ohm", "START_PERMIT"),
        ("closed,closed,closed,closed", "OTHER"),
        ("closed,closed,open,open", "OTHER"),
    ],
)
def test_a_permit_with_one_misprint_is_proposed_on_the_safe_side(row: str, role: str) -> None:
    assert roles(f"pins,P,R,N,D\nG-H,{row}\n") == {"G-H": role}
    if role == "START_PERMIT":
        more = "R" if row.startswith("closed,closed") else "D"
        found = proposed(chart(f"pins,P,R,N,D\nG-H,{row}\n"))
        assert found.why == (f"G-H conducts in park, neutral and {more} only",)
    bits = roles(f"pins,P,R,N,D\nG-E,{row}\nA-E,open,open,closed,closed\n")
    assert bits["G-E"] != "START_PERMIT"


def test_without_a_known_position_none_conducts_in_park() -> None:
    text = "pins,D,S,T\nlever,drive,drive,drive\nG-H,open,closed,open\n"
    assert roles(text) == {"G-H": "OTHER"}


def test_told_positions_are_not_guessed() -> None:
    found = proposed(
        chart("pins,Pk,Rv,Nt,Dr\nlever,drive,drive,drive,drive\nG-H,closed,open,closed,open\n")
    )
    assert not found.tells_positions
    # By usual names neutral is known; order is not asked then.
    known = proposed(chart("pins,1,2,N,4\nG-H,closed,open,closed,open\n"))
    assert not known.tells_positions


def test_an_answer_is_taken_over_and_nothing_else() -> None:
    family = chart(
        "pins,P,R,N,D,role\nG-H,closed,open,closed,open,\nA-E,open,open,open,closed,other\n"
    )
    same = answered(family, Answers())
    assert same == family
    said = answered(
        family,
        Answers(
            park=("R",),
            roles={frozenset("GH"): Role.START_PERMIT},
            no_start_permit=True,
            permit_reason="jig",
        ),
    )
    assert [row.role for row in said.chart] == [Role.START_PERMIT, Role.OTHER]
    assert (said.park, said.neutral, said.reverse) == (("R",), ("N",), ("R",))
    assert said.positions_told
    assert said.no_start_permit
    assert said.permit_reason == "jig"
    # What was said before stays.
    later = answered(said, Answers(neutral=("D",), reverse=("P",)))
    assert (later.park, later.neutral, later.reverse) == (("R",), ("D",), ("P",))
    assert later.no_start_permit
    assert later.permit_reason == "jig"
    assert answered(said, Answers(permit_reason="other jig")).permit_reason == "other jig"
    assert not answered(family, Answers(permit_reason="jig")).positions_told
    assert not answered(family, Answers(permit_reason="jig")).no_start_permit


@pytest.mark.parametrize("kind", ["park", "neutral", "reverse"])
def test_none_of_a_kind_is_said_too(kind: str) -> None:
    said = Answers(**{kind: ()})  # type: ignore[arg-type]
    assert said.tells_positions
    family = answered(chart("pins,P,R,N,D\nG-H,closed,open,closed,open\n"), said)
    assert getattr(family, kind) == ()
    assert family.positions_told


def danger(signal: Signal, rule: str = "one") -> Danger:
    return Danger(signal, rule, "G-H conducts.")


def test_dangers_come_worst_first_and_once() -> None:
    """Signal words in the order of ANSI Z535.4-2007, 4.14, as quoted in public works."""
    caution, warning, worst = (danger(Signal(s)) for s in ("CAUTION", "WARNING", "DANGER"))
    other = danger(Signal.WARNING, "two")
    found = in_order([caution, warning, other, worst, warning])
    assert found == (worst, warning, other, caution)


def test_a_danger_in_one_line() -> None:
    assert f"{danger(Signal.DANGER)}" == "DANGER: G-H conducts."
    checked = Danger(Signal.WARNING, "one", "J-K is lit.", check_first="Check the plug.")
    assert f"{checked}" == "WARNING: J-K is lit. Check the plug."
    assert (checked.cells, checked.probability, danger(Signal.DANGER).check_first) == ((), None, "")


def test_what_the_rules_cover_stands_beside_a_danger_alone() -> None:
    assert notes_on([danger(Signal.WARNING), danger(Signal.DANGER)]) == (COVERED, DUTY)
    assert notes_on([danger(Signal.WARNING)]) == ()
    assert notes_on([]) == ()


def test_a_pair_that_never_conducts_is_no_lamp_where_no_position_is_reverse() -> None:
    assert roles("pins,P,N,D\nX-Y,open,open,open\n") == {"X-Y": "OTHER"}


def test_the_order_is_not_asked_where_park_has_its_usual_name() -> None:
    assert not proposed(chart("pins,P,X,Y,Z\nG-H,closed,open,closed,open\n")).tells_positions


def test_among_pairs_that_share_no_pin_one_tells_the_order() -> None:
    text = "pins,1,2,3,4\nJ-K,open,closed,open,open\nG-H,closed,open,closed,open\n"
    found = proposed(chart(text))
    assert (found.park, found.reverse, found.neutral) == (("1",), ("2",), ("3",))
