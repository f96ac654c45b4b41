"""The route against exact solutions of small proofs, bounds of large ones, and plain sense."""

from dataclasses import replace
from itertools import pairwise, permutations, product
from pathlib import Path

import numpy as np
import pytest

import benchproof
from benchproof.family.model import AT_REST, Family, same_pair
from benchproof.family.safety import safety_of
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.network.resistance import Floats
from benchproof.plan.actions import BenchPlace, TakeReading
from benchproof.plan.bench import Bench, BenchKind, read_bench, seconds_between
from benchproof.plan.route import route
from benchproof.plan.shorten import path_seconds, shorten, shortest_order

PACKAGE = Path(benchproof.__file__).parent
FAMILIES = sorted(path.stem for path in (PACKAGE / "families").glob("*.toml"))
BENCHES = sorted(path.stem for path in (PACKAGE / "benches").glob("*.toml"))


def shipped_family(name: str) -> Family:
    data = (PACKAGE / "families" / f"{name}.toml").read_bytes()
    return completed(read_family(data, name))


def shipped_bench(name: str) -> Bench:
    return read_bench((PACKAGE / "benches" / f"{name}.toml").read_bytes(), name)


def chart(rows: str) -> Family:
    return read_family(f"pins,{rows}".encode(), "invented.csv")


def held_karp(seconds: Floats) -> float:
    """Return the length of the shortest path from the first point through all others."""
    count = len(seconds) - 1
    best = {(1 << i, i): float(seconds[0, i + 1]) for i in range(count)}
    for chosen in range(1, 1 << count):
        for last in range(count):
            if (length := best.get((chosen, last))) is None:
                continue
            for point in range(count):
                if not chosen >> point & 1:
                    key = chosen | 1 << point, point
                    longer = length + float(seconds[last + 1, point + 1])
                    best[key] = min(best.get(key, np.inf), longer)
    return min(best[(1 << count) - 1, last] for last in range(count))


def moves(family: Family, bench: Bench, at: BenchPlace) -> Floats:
    """Return the seconds of the moves between all readings of a proof; the first is the start.

    Cells read twice are two points; between first and second readings the probes are set again.
    """
    again, pairs = safety_of(family).must_be_open, family.charted_pairs
    points = [
        (TakeReading(position, pair), copy)
        for pair, position in product(pairs, family.positions)
        for copy in range(1 + ((position, same_pair(pair)) in again))
    ]
    seconds = np.zeros((len(points) + 1, len(points) + 1))
    for j, (to, copy) in enumerate(points, start=1):
        first = seconds_between(bench, family, pairs, at, to)
        seconds[0, j] = seconds[j, 0] = first - bench.reading_s
        for i, (here, which) in enumerate(points[: j - 1], start=1):
            to = replace(to, again=which != copy)
            both = seconds_between(bench, family, pairs, BenchPlace(here.position, here.pair), to)
            seconds[i, j] = seconds[j, i] = both - bench.reading_s
    return seconds


def exact(family: Family, bench: Bench, at: BenchPlace) -> float:
    """Return the least seconds a proof can take."""
    seconds = moves(family, bench, at)
    return held_karp(seconds) + bench.reading_s * (len(seconds) - 1)


def spanning_bound(seconds: Floats, known: float) -> float:
    """Return a length no path can beat: the lightest tree over weights bent toward a path.

    The known length of some path says how far to bend at a time.

    The end of the path is a point of its own that costs nothing to reach and leads back to the
    beginning, so the path is a cycle (Held and Karp's bound for cycles).
    """
    count = len(seconds)
    bend = np.zeros(count)
    best = 0.0
    for _ in range(150):
        weights = seconds + bend[:, None] + bend
        reached = np.zeros(count, dtype=np.bool_)
        reached[0] = True
        distance, parent = weights[0].copy(), np.zeros(count, dtype=np.intp)
        degree, length = np.zeros(count), 0.0
        for _ in range(count - 1):
            point = int(np.where(reached, np.inf, distance).argmin())
            length += float(distance[point])
            degree[[point, parent[point]]] += 1
            reached[point] = True
            nearer = weights[point] < distance
            distance[nearer], parent[nearer] = weights[point][nearer], point
        end = int(bend[1:].argmin()) + 1
        degree[[0, end]] += 1
        bound = length + float(bend[0] + bend[end] - 2.0 * bend.sum())
        best = max(best, bound)
        off = degree - 2.0
        if not off.any():
            break
        bend += 0.9 * (known - bound + 0.01 * known) / float(off @ off) * off
    return best


@pytest.mark.parametrize("kind", BenchKind)
@pytest.mark.parametrize(
    "rows",
    [
        "P,R,N,D\nA-E,closed,open,closed,open\nB-E,open,closed,open,closed\n",
        "P,R\nA-E,closed,open\nB-E,open,closed\nC-F,open,closed\nC-A,open,open\nB-F,open,open\n",
        "P,R,N\nA-E,closed,open,open\nB-E,open,closed,closed\nC-F,open,closed,open\n",
    ],
    ids=["wide", "tall", "square"],
)
def test_small_routes_are_shortest(rows: str, kind: BenchKind) -> None:
    family = chart(rows)
    rng = np.random.default_rng(7)
    for _ in range(5):
        detent, pair, reading = rng.uniform(0.1, 5.0, 3).tolist()
        bench = Bench("invented", kind, reading, detent, 1.0, pair)
        start = BenchPlace(family.positions[int(rng.integers(len(family.positions)))])
        assert route(family, bench, start).seconds == pytest.approx(exact(family, bench, start))


@pytest.mark.parametrize("kind", BenchKind)
def test_small_routes_with_second_readings_are_shortest(kind: BenchKind) -> None:
    family = start_permit_family()
    rng = np.random.default_rng(8)
    for _ in range(4):
        detent, pair = rng.uniform(0.1, 5.0, 2).tolist()
        bench = Bench("invented", kind, 1.0, detent, 1.0, pair)
        for at in (BenchPlace("P"), BenchPlace("D", ("A", "E"))):
            assert route(family, bench, at).seconds == pytest.approx(exact(family, bench, at))


def start_permit_family() -> Family:
    text = """
name = "invented"
positions = ["P", "R", "D"]
pins = [{ name = "A" }, { name = "E" }, { name = "C" }, { name = "F" }]
[[chart]]
pair = "A-E"
expect = ["closed", "open", "closed"]
[[chart]]
pair = "C-F"
role = "start permit"
expect = ["closed", "open", "open"]
"""
    return read_family(text.encode(), "invented.toml")


@pytest.mark.parametrize("bench", BENCHES)
@pytest.mark.parametrize("name", ["harvest-ladder-8", "ferry-two-of-four-6"])
def test_routes_of_shipped_families_are_near_a_bound_that_none_can_beat(
    name: str, bench: str
) -> None:
    family, profile = shipped_family(name), shipped_bench(bench)
    found = route(family, profile, BenchPlace(family.positions[0]))
    taken = found.seconds - profile.reading_s * len(found.readings)
    bound = spanning_bound(moves(family, profile, BenchPlace(family.positions[0])), taken)
    assert bound - 1e-9 <= taken <= 1.025 * bound


def test_at_a_dial_the_route_goes_back_and_forth_as_a_practised_hand_does() -> None:
    family = chart(
        "P,R,N\nA-E,closed,open,open\nB-E,open,closed,open\nC-E,open,open,closed\n"
        "start permit,none\n"
    )
    bench = Bench("dial", BenchKind.SELECTOR, 1.0, 2.0, 1.0, 0.5)
    found = route(family, bench, BenchPlace("P", ("A", "E")))
    walked = [f"{r.position}{r.pair[0]}" for r in found.readings]
    assert walked == ["PA", "PB", "PC", "RC", "RB", "RA", "NA", "NB", "NC"]
    assert found.seconds == pytest.approx(9 * 1.0 + 2 * 2.0 + 6 * 0.5)


def test_with_probes_the_lever_goes_back_and_forth_instead() -> None:
    family = chart(
        "P,R,N\nA-E,closed,open,open\nB-E,open,closed,open\nC-E,open,open,closed\n"
        "start permit,none\n"
    )
    bench = Bench("probes", BenchKind.PROBES, 1.0, 0.5, 1.0, 2.0)
    found = route(family, bench, BenchPlace("P", ("A", "E")))
    walked = [f"{r.position}{r.pair[0]}" for r in found.readings]
    assert walked == ["PA", "RA", "NA", "NB", "RB", "PB", "PC", "RC", "NC"]


def test_probes_that_share_a_pin_follow_each_other() -> None:
    family = chart("P\nA-E,closed\nB-F,open\nC-E,open\nD-F,open\n")
    bench = Bench("probes", BenchKind.PROBES, 1.0, 1.0, 1.0, 2.0)
    found = route(family, bench, BenchPlace("P", ("A", "E")))
    assert [r.pair[0] for r in found.readings[:2]] == ["A", "C"]
    assert found.seconds == pytest.approx(4 * 1.0 + 2.0 + 4.0 + 2.0)


@pytest.mark.parametrize("bench", BENCHES)
@pytest.mark.parametrize("name", FAMILIES)
def test_a_route_reads_every_cell_and_the_start_permit_in_gear_twice(name: str, bench: str) -> None:
    family, profile = shipped_family(name), shipped_bench(bench)
    start = BenchPlace(family.positions[-1])
    found = route(family, profile, start)
    cells = [(r.position, same_pair(r.pair)) for r in found.readings]
    wanted = {(p, same_pair(pair)) for p in family.positions for pair in family.charted_pairs}
    assert set(cells) == wanted
    again = safety_of(family).must_be_open
    assert {position for position, _ in again} == set(family.positions) - {"P", "N", AT_REST}
    assert all(cells.count(cell) == 1 + (cell in again) for cell in wanted)
    assert all(r.lean == "" for r in found.readings)


@pytest.mark.parametrize("bench", BENCHES)
def test_the_probes_are_set_again_between_both_readings_of_a_cell(bench: str) -> None:
    family = shipped_family("orchard-single-7")
    found = route(family, shipped_bench(bench), BenchPlace("N"))
    last: dict[tuple[str, frozenset[str]], int] = {}
    seated = 0
    for number, reading in enumerate(found.readings):
        before = found.readings[number - 1] if number else None
        moved = before is None or same_pair(before.pair) != same_pair(reading.pair)
        seated = number if moved or reading.again else seated
        cell = reading.position, same_pair(reading.pair)
        assert last.get(cell, -1) < seated
        last[cell] = number


@pytest.mark.parametrize("bench", BENCHES)
def test_a_routes_seconds_are_those_of_its_moves(bench: str) -> None:
    family, profile = shipped_family("valley-coded-7"), shipped_bench(bench)
    at = start = BenchPlace("N", family.charted_pairs[2])
    found = route(family, profile, start)
    total = 0.0
    for reading in found.readings:
        total += seconds_between(profile, family, family.charted_pairs, at, reading)
        at = BenchPlace(reading.position, reading.pair)
    assert found.seconds == pytest.approx(total)


def test_a_route_is_the_same_every_time_and_however_fast_the_clock_runs() -> None:
    """The same bench must give the same route, and so must one told in minutes."""
    family = shipped_family("ferry-two-of-four-6")
    bench = shipped_bench("needle-probes")
    found = route(family, bench, BenchPlace("D"))
    assert found == route(family, bench, BenchPlace("D"))
    scaled = replace(
        bench,
        reading_s=bench.reading_s / 60,
        detent_s=bench.detent_s / 60,
        pair_s=bench.pair_s / 60,
    )
    slow = route(family, scaled, BenchPlace("D"))
    assert slow.readings == found.readings
    assert slow.seconds == pytest.approx(found.seconds / 60)


def test_cells_where_the_chart_allows_anything_are_left_out() -> None:
    family = chart("P,R\nA-E,closed,any\nB-E,any,any\nstart permit,none\n")
    bench = Bench("dial", BenchKind.SELECTOR, 1.0, 2.0, 1.0, 0.5)
    assert route(family, bench, BenchPlace("R")).readings == (TakeReading("P", ("A", "E")),)


def test_a_chart_that_asks_for_nothing_has_an_empty_route() -> None:
    family = chart("P,R\nA-E,any,any\nstart permit,none\n")
    found = route(family, Bench("dial", BenchKind.SELECTOR, 1.0, 2.0, 1.0, 0.5), BenchPlace("P"))
    assert (found.readings, found.seconds) == ((), 0.0)


def test_a_route_from_a_pair_across_two_contacts_counts_the_way_back() -> None:
    family = chart("P,R\nA-E,closed,open\nB-E,open,closed\nstart permit,none\n")
    probes = Bench("probes", BenchKind.PROBES, 1.0, 0.5, 1.0, 2.0)
    found = route(family, probes, BenchPlace("P", ("A", "B")))
    assert found.seconds == pytest.approx(4 * 1.0 + 2 * 2.0 + 2 * 0.5)
    dial = Bench("dial", BenchKind.SELECTOR, 1.0, 0.5, 1.0, 2.0)
    with pytest.raises(ValueError, match="dial cannot stand at A-B"):
        route(family, dial, BenchPlace("P", ("A", "B")))


@pytest.mark.parametrize(
    ("at", "words"),
    [(BenchPlace("X"), "no position X"), (BenchPlace("P", ("A", "Z")), "no pair A-Z")],
)
def test_a_route_from_nowhere_is_refused(at: BenchPlace, words: str) -> None:
    family = chart("P,R\nA-E,closed,open\n")
    with pytest.raises(ValueError, match=words):
        route(family, Bench("dial", BenchKind.SELECTOR, 1.0, 2.0, 1.0, 0.5), at)


@pytest.mark.parametrize("count", [0, 1, 2, 5, 7])
def test_the_shortest_order_is_the_best_of_all_orders(count: int) -> None:
    rng = np.random.default_rng(count)
    places = rng.uniform(size=(count, 2))
    seconds = np.abs(places[:, None] - places).sum(axis=2)
    lengths = [sum(seconds[a, b] for a, b in pairwise(o)) for o in permutations(range(count))]
    order = shortest_order(seconds).tolist()
    assert sorted(order) == list(range(count))
    assert sum(seconds[a, b] for a, b in pairwise(order)) == pytest.approx(min(lengths))


@pytest.mark.parametrize("seed", range(6))
def test_local_search_comes_near_the_shortest_path_of_random_points(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places = rng.uniform(size=(10, 2))
    seconds = np.abs(places[:, None] - places).sum(axis=2)
    order = shorten(seconds, np.arange(9), longest=9)
    assert sorted(order.tolist()) == list(range(9))
    length = path_seconds(seconds, order)
    assert held_karp(seconds) - 1e-12 <= length <= 1.1 * held_karp(seconds)
    assert length <= path_seconds(seconds, np.arange(9))


def test_beyond_the_exact_size_the_order_is_still_near_the_shortest() -> None:
    line = np.random.default_rng(3).permutation(14).astype(float)
    seconds = np.abs(line[:, None] - line)
    order = shortest_order(seconds)
    assert sorted(order.tolist()) == list(range(14))
    assert sum(seconds[a, b] for a, b in pairwise(order.tolist())) <= 1.3 * 13.0
