"""Decoding: words, weak bits, levels; against codes whose distances are published."""

from collections.abc import Callable
from itertools import combinations

import pytest

from benchproof.family.audit.words import changed
from benchproof.family.model import Role
from benchproof.foretell.controller import Level, Read, ReadKind
from benchproof.foretell.foretelling import Vehicle, foretell
from benchproof.network.branches.contact import ContactFault
from benchproof.network.faults import single_faults

NONE = Read(ReadKind.NONE)
ROWS = """
name = "{name}"
positions = ["P", "R", "N", "D", "3", "2"]
pins = ["A", "B", "C", "E", "W"]
detents_deg = [0, 20, 40, 60, 80, 100]
{rest}
"""
# The reflected binary code of three bits; common lecture material.
GRAY = ["000", "001", "011", "010", "110", "111"]


def bits(words: list[str], pins: str = "ABC") -> str:
    rows = []
    for n, pin in enumerate(pins):
        cells = ", ".join('"closed"' if word[n] == "1" else '"open"' for word in words)
        rows.append(f'[[chart]]\npair = "{pin}-E"\nrole = "range bit"\nexpect = [{cells}]\n')
    return "".join(rows)


def by_turns(*levels: str) -> list[Level]:
    return [{"1": Level.ON, "0": Level.OFF, "?": Level.WEAK}[level] for level in levels]


def test_a_stuck_bit_of_a_gray_code_reads_as_a_valid_neighbour(
    invented: Callable[[str], Vehicle],
) -> None:
    """A Gray code alone has distance 1 (common lecture material)."""
    made = invented(ROWS.format(name="gray", rest=bits(GRAY)))
    ends = [branch.ends for branch in made.family.branches]
    (stuck,) = (
        fault
        for fault in single_faults(made.family, pairwise=False)
        if fault.kind is ContactFault.STUCK and fault.branch == ends.index(("C", "E"))
    )
    found = foretell(made, 0.0, [stuck])
    # P is 000 and R 001; D is 010 and N 011.
    assert found.detents["P"][0].reads == (Read(ReadKind.RANGE, ("R",)),)
    assert found.detents["D"][0].reads == (Read(ReadKind.RANGE, ("N",)),)
    hazard = found.foretold[0]
    assert hazard.rule.name == "free-shown-in-gear"
    assert [place.position for place in hazard.places if not place.beside] == ["D"]


def test_even_parity_words_of_four_bits_reveal_any_single_wrong_bit(
    vehicle: Callable[[str], Vehicle],
) -> None:
    """Four-bit even-parity words have minimum distance 2 (read in course notes)."""
    words = [f"{n:04b}" for n in range(16) if f"{n:04b}".count("1") % 2 == 0]
    assert min(len(changed(a, b)) for a, b in combinations(words, 2)) == 2
    coded = vehicle("valley-coded-7").controller
    assert set(coded.words) <= set(words)
    for word in coded.words:
        for n in range(4):
            wrong = word[:n] + "10"[int(word[n])] + word[n + 1 :]
            assert coded.decode(wrong) == (NONE,)


@pytest.mark.parametrize("name", ["valley-coded-7", "ferry-two-of-four-6"])
def test_any_single_stuck_or_open_range_contact_reads_no_valid_code(
    name: str, vehicle: Callable[[str], Vehicle]
) -> None:
    """With distance 2 (read in course notes) it never reads as another range in a detent."""
    mine = vehicle(name)
    bit_pins = {pin for row in mine.family.rows(Role.RANGE_BIT) for pin in row.pair}
    faults = [
        fault
        for fault in single_faults(mine.family)
        if fault.kind in (ContactFault.STUCK, ContactFault.OPEN) and bit_pins & set(fault.at)
    ]
    assert len(faults) >= 8
    for fault in faults:
        found = foretell(mine, 0.0, [fault])
        read = {name: seen.reads for name, (seen,) in found.detents.items()}
        assert all(
            reads in ((Read(ReadKind.RANGE, (name,)),), (NONE,)) for name, reads in read.items()
        ), fault
        assert (NONE,) in read.values(), fault
        (told,) = (one for one in found.foretold if one.rule.name == "no-code")
        assert told.certain
        assert {place.position for place in told.places} == {
            name for name, reads in read.items() if reads == (NONE,)
        }


def test_a_weak_bit_may_be_read_either_way(vehicle: Callable[[str], Vehicle]) -> None:
    coded = vehicle("valley-coded-7").controller
    assert coded.decode("?100") == (Read(ReadKind.RANGE, ("P",)), NONE)
    # 1100 is P and 0110 is R: two weak bits could be either, or neither.
    assert set(coded.decode("?1?0")) == {
        Read(ReadKind.RANGE, ("P",)),
        Read(ReadKind.RANGE, ("R",)),
        NONE,
    }


def test_a_weak_bit_between_two_valid_words_is_never_no_code(
    invented: Callable[[str], Vehicle],
) -> None:
    made = invented(ROWS.format(name="gray", rest=bits(GRAY))).controller
    assert made.decode("00?") == (Read(ReadKind.RANGE, ("P",)), Read(ReadKind.RANGE, ("R",)))


def test_positions_that_share_a_word_are_read_together(invented: Callable[[str], Vehicle]) -> None:
    shared = [*GRAY[:4], "010", "111"]
    made = invented(ROWS.format(name="shared", rest=bits(shared)))
    assert made.controller.decode("010") == (Read(ReadKind.RANGE, ("D", "3")),)
    assert "another-range" not in [one.rule.name for one in foretell(made).foretold]


def test_a_transit_word_is_no_range(vehicle: Callable[[str], Vehicle]) -> None:
    coded = vehicle("terrace-transit-9").controller
    assert coded.decode("10111") == (Read(ReadKind.TRANSIT),)
    assert coded.decode("00000") == (NONE,)


@pytest.mark.parametrize(
    ("ohm", "read"),
    [
        (100.0, Read(ReadKind.RANGE, ("P",))),
        (104.1, NONE),
        (3640.0, Read(ReadKind.RANGE, ("1",))),
        (50.0, Read(ReadKind.LOW)),
        (4000.0, Read(ReadKind.HIGH)),
        (float("inf"), Read(ReadKind.HIGH)),
    ],
)
def test_a_range_level_is_the_position_whose_bounds_hold_it(
    ohm: float, read: Read, vehicle: Callable[[str], Vehicle]
) -> None:
    controller = vehicle("harvest-ladder-8").controller
    assert controller.decode_level(controller.family.rows(Role.RANGE_LEVEL)[0], ohm) == read


def test_bits_and_a_level_must_agree(invented: Callable[[str], Vehicle]) -> None:
    level = (
        '[[chart]]\npair = "W-E"\nrole = "range level"\nexpect = '
        '["100 ohm", "200 ohm", "300 ohm", "400 ohm", "500 ohm", "600 ohm"]\n'
    )
    made = invented(ROWS.format(name="both", rest=bits(GRAY) + level)).controller
    word = by_turns("0", "1", "0")
    ohms = [None, None, None, 400.0]
    assert made.seen([*word, Level.ON], ohms).reads == (Read(ReadKind.RANGE, ("D",)),)
    assert made.seen([*word, Level.ON], [None, None, None, 300.0]).reads == (NONE,)
    assert made.seen([*word, Level.ON], [None, None, None, 9e9]).reads == (Read(ReadKind.HIGH),)


def test_what_is_not_read_is_not_known(vehicle: Callable[[str], Vehicle]) -> None:
    controller = vehicle("valley-coded-7").controller
    seen = controller.see([0.1, None, 5e6, 5e6, None, 5e6])
    assert seen.reads == ()
    assert seen.read_text == "not known"
    assert seen.start is None
    assert seen.reverse is Level.OFF


def test_one_closed_start_permit_of_several_lets_the_starter_turn(
    invented: Callable[[str], Vehicle],
) -> None:
    rows = "".join(
        f'[[chart]]\npair = "{pair}"\nrole = "start permit"\n'
        'expect = ["closed", "open", "closed", "open", "open", "open"]\n'
        for pair in ("A-E", "B-E")
    )
    made = invented(ROWS.format(name="two permits", rest=rows)).controller
    assert made.see([0.1, 1e9]).start is Level.ON
    assert made.see([100.0, 1e9]).start is Level.WEAK
    assert made.see([None, 1e9]).start is None
    assert made.see([1e9, 1e9]).start is Level.OFF
