"""Events as bytes and back."""

import contextlib
import json
from collections.abc import Callable
from typing import TYPE_CHECKING

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchproof.proof.codec import decode, encode, files_of
from benchproof.proof.events import (
    BenchChosen,
    BodyTurned,
    Check,
    Closed,
    Concluded,
    Event,
    GearChecked,
    InspectionNoted,
    LeverAt,
    MeterChosen,
    Mistake,
    Mode,
    Opened,
    OtherProof,
    Photographed,
    ProofOutcome,
    ReadingSource,
    ReadingTaken,
    ReadingWithdrawn,
    Remarked,
    TurnTakenBack,
    WorkDone,
)
from benchproof.proof.problems import ProofProblem

if TYPE_CHECKING:
    from tests.proof.conftest import Making

AT = "2026-03-02T14:05:09+01:00"

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
some = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30)
number = st.floats(allow_nan=False, allow_infinity=False)
hash_ = st.text("0123456789abcdef", min_size=64, max_size=64)
day = st.one_of(st.just(""), st.dates().map(lambda d: d.isoformat()))
when = st.builds(
    lambda moment, zone: f"{moment.isoformat()}{zone}",
    st.datetimes(),
    st.sampled_from(["Z", "+01:00", "-08:30"]),
)
cells = st.lists(st.tuples(some, some), max_size=3).map(tuple)
concluded = st.builds(
    Concluded,
    version=some,
    verdict=text,
    cells=cells,
    as_found_verdict=text,
    as_found_cells=cells,
    decided=text,
    verdicts=st.one_of(st.none(), st.dictionaries(text, number, max_size=3)),
    hazard=st.one_of(st.none(), number),
    offset=st.one_of(st.none(), number),
    against=st.lists(text, max_size=3).map(tuple),
)
common = {"at": when, "by": st.text("abcxyz", max_size=20)}
events = st.one_of(
    st.builds(
        Opened,
        **common,
        part=some,
        mode=st.sampled_from(Mode),
        version=some,
        family=some,
        family_file=hash_,
        priors_file=hash_,
        meter_file=hash_,
        bench_file=hash_,
        library=st.lists(st.tuples(some, hash_), max_size=2).map(tuple),
    ),
    st.builds(BenchChosen, **common, file=hash_, name=some),
    st.builds(
        MeterChosen,
        **common,
        file=hash_,
        name=some,
        tag=text,
        lead_ohm=st.one_of(st.none(), st.floats(0, 1e6)),
        ambient_c=st.one_of(st.none(), st.floats(-100, 100)),
        calibrated_on=day,
        due_on=day,
        identity=text,
    ),
    st.builds(LeverAt, **common, position=some, lean=text),
    st.builds(
        ReadingTaken,
        **common,
        position=some,
        pair=st.tuples(some, some),
        value=some,
        lean=text,
        again=st.booleans(),
        source=st.sampled_from(ReadingSource),
        note=text,
    ),
    st.builds(
        ReadingWithdrawn,
        **common,
        seq=st.integers(1, 10**9),
        reason=some,
        kind=st.sampled_from(Mistake),
    ),
    st.builds(WorkDone, at=when, by=st.text("abcxyz", min_size=1, max_size=20), what=some),
    st.builds(
        OtherProof,
        **common,
        proof=some,
        number=st.integers(1, 10**6),
        outcome=some,
        ended_at=when,
        ended_by=st.text("abcxyz", max_size=20),
        override_by=text,
        against=st.lists(text, max_size=3).map(tuple),
        starts_in_gear=st.lists(text, max_size=3).map(tuple),
        work=st.lists(text, max_size=3).map(tuple),
        worked_at=st.one_of(st.just(""), when),
    ),
    st.builds(BodyTurned, **common, note=text, found_offset=st.one_of(st.none(), number)),
    st.builds(
        TurnTakenBack,
        at=when,
        by=st.text("abcxyz", min_size=1, max_size=20),
        seq=st.integers(1, 10**9),
        reason=some,
    ),
    st.builds(Photographed, **common, hash=hash_, what=text),
    st.builds(Remarked, **common, text=some),
    st.builds(InspectionNoted, **common, item=some, grade=some, remark=text),
    st.builds(
        GearChecked,
        **common,
        gear=some,
        what=st.sampled_from(Check),
        value=st.one_of(st.none(), number),
        ok=st.booleans(),
        known_ohm=st.one_of(st.none(), st.floats(0, 1e9)),
        limit_ohm=st.one_of(st.none(), st.floats(0, 1e9)),
        lead_ohm=st.floats(0, 1e3),
        note=text,
    ),
    st.builds(
        Closed,
        **common,
        outcome=st.sampled_from(ProofOutcome),
        reasons=st.lists(text, max_size=3).map(tuple),
        override_by=text,
        override_reason=text,
        concluded=concluded,
        digest=hash_,
    ),
)


@given(events)
def test_any_event_comes_back_the_same(event: Event) -> None:
    payload = encode(event)
    assert decode(payload) == event
    assert encode(decode(payload)) == payload
    assert b"\n" not in payload


@given(events)
def test_the_bytes_are_sorted_json_in_utf_8(event: Event) -> None:
    """An event's hash must not hang on the order in which a program happens to write keys."""
    payload = encode(event)
    # Python's own writer is the second opinion, floats aside: 1e16 may be written two ways.
    plain = json.dumps(
        json.loads(payload), sort_keys=True, ensure_ascii=False, separators=(",", ":")
    )
    assert msgspec.json.decode(plain.encode()) == msgspec.json.decode(payload)
    assert list(json.loads(payload)) == sorted(json.loads(payload))


def test_the_bytes_of_a_reading_stay_what_they_are() -> None:
    """Bytes written today are in archives for ever."""
    event = ReadingTaken(AT, "ab", "R", ("A", "E"), "0,3", again=True)
    assert encode(event) == (
        b'{"again":true,"at":"2026-03-02T14:05:09+01:00","by":"ab","event":"reading","lean":"",'
        b'"note":"","pair":["A","E"],"position":"R","source":"typed","value":"0,3"}'
    )


def test_an_older_event_without_later_fields_is_read() -> None:
    payload = (
        b'{"at":"2026-03-02T14:05:09+01:00","by":"","event":"reading","pair":["A","E"],'
        b'"position":"R","value":"c"}'
    )
    assert decode(payload) == ReadingTaken(AT, "", "R", ("A", "E"), "c")


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        (b'{"event":"weighed","at":"x","by":""}', "'weighed', which this version does not know"),
        (
            b'{"at":"2026-03-02T14:05:09+01:00","by":"","event":"remark","mood":1,"text":"x"}',
            "'mood', which this version does not know",
        ),
        (b'{"at":"yesterday","by":"","event":"remark","text":"x"}', "its at is no date or time"),
        (b'{"by":"","event":"remark","text":"x"}', "its at is missing"),
        (b'{"at":1,"by":"","event":"remark","text":"x"}', "Expected `str`, got `int`"),
        (b'{"text":"x"}', "has no kind"),
        (b"[]", "has no kind"),
        (b"reading", "is not JSON"),
        (b'{"event":"\xff"}', "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
    ],
)
def test_what_is_no_event_is_refused_with_a_sentence(payload: bytes, said: str) -> None:
    with pytest.raises(ProofProblem, match=said) as refused:
        decode(payload)
    assert str(refused.value).count("\n") == 0
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize(
    "event",
    [
        Remarked("2026-03-02", "ab", "no time"),
        Remarked(AT, "ab", ""),
        Remarked(AT, "ab", "x" * 2001),
        Remarked(AT, "ab", "half a \ud800 letter"),
        BodyTurned(AT, "ab", found_offset=float("nan")),
        BodyTurned(AT, "ab", found_offset=float("inf")),
        ReadingWithdrawn(AT, "ab", 0, "none"),
        MeterChosen(AT, "ab", "no hash", "m"),
    ],
)
def test_what_could_not_be_read_back_is_not_written(event: Event) -> None:
    with pytest.raises(ProofProblem):
        encode(event)


Spoil = Callable[[bytes], st.SearchStrategy[bytes]]


@given(data=st.data())
def test_a_spoilt_event_is_an_event_or_a_sentence(data: st.DataObject, spoil: Spoil) -> None:
    good = encode(
        ReadingTaken(AT, "ab", "R", ("A", "E"), "0.3", "N", True, ReadingSource.METER, "ü")
    )
    with contextlib.suppress(ProofProblem):
        found = decode(data.draw(spoil(good)))
        assert decode(encode(found)) == found


def test_an_event_names_the_files_it_needs(making: "Making") -> None:
    opened = making.opened(b"x", library=["valley-coded-7"])
    assert len(files_of(opened)) == 5
    assert files_of(making.bench()) == (making.bench().file,)
    assert files_of(Remarked(AT, "", "x")) == ()
