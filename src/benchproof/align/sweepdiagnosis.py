"""What is wrong, by a sweep: an offset, or an offset and a fault or two; Bayes' rule over edges.

Detents alone often cannot tell an offset from a faulty contact: a sweep can. An offset moves every
edge alike; a stuck contact has none; a worn one has its own in the wrong place. Each pair's edges
are compared with those of each hypothesis at each offset (`sweepmatch.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, log

import numpy as np

from benchproof.align.edgematch import ShownEdges, log_agreement, log_unexplained
from benchproof.diagnose.grid import OFFSET_REACH_SD, edge_sd_of, offset_sds_of
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.verdict import Claim, OffsetEstimate
from benchproof.family.model import Pair, pair_text
from benchproof.family.remembered import once_each
from benchproof.network.faults import Fault, PartFault, faulty
from benchproof.network.resistance import Floats
from benchproof.trace.bands import OhmBands
from benchproof.trace.expected import ExpectedEdges, expected_of
from benchproof.trace.scale import TraceScale

NOT_OF_A_SWEEP = frozenset({PartFault.LEVER_OFF, PartFault.DETENT_PLAY, PartFault.OTHER_FAMILY})
"""Kinds of fault that a sweep is no evidence of: no detent matters to it, and no other chart."""
STEPS_PER_EDGE_SD = 12.0
CHATTER_SEEN = 0.95
"""How often a chattering contact is caught at it by a sweep."""
CHATTER_FALSE = 0.01
"""How often a sound pair drops out in a sweep, as where a probe slips."""
WITH_EVIDENCE = 0.005
"""Faults less likely than this come without evidence."""
MOST_EVIDENCE = 3
WORTH_TELLING = 2.0
"""Evidence is told from this log ratio on."""


@dataclass(frozen=True)
class SweepDiagnosis:
    """What a sweep says is wrong.

    Attributes
    ----------
    no_fault : float
        Probability that no fault shows in the swept pairs, whatever the offset.
    faults : tuple of Claim
        Each fault's probability, likeliest first.
    not_explained : float
        Probability of none of these.
    offset : OffsetEstimate or None
        Where the moving part stands; None if the scale has no zero.
    untested : int
        How many of the faults thought of would not show in this sweep.
    """

    no_fault: float
    faults: tuple[Claim, ...]
    not_explained: float
    offset: OffsetEstimate | None
    untested: int


def sweep_diagnosis(
    tables: Tables, bands: Sequence[OhmBands], shown: Sequence[ShownEdges], scale: TraceScale
) -> SweepDiagnosis:
    """Return what is wrong.

    Parameters
    ----------
    tables : Tables
        The hypotheses and their prior probabilities.
    bands : sequence of OhmBands
        The bands of each swept pair.
    shown : sequence of ShownEdges
        What the sweep shows of each; on the family's own scale if the trace's is tied to it.
    scale : TraceScale
        How the trace's scale stands.
    """
    offsets, log_offset = _offsets(tables, shown, scale)
    made = _hypotheses(tables, bands)
    rows, healthy = [*made.expected], made.healthy
    sd = edge_sd_of(tables.shape, tables.priors)
    log_ratio = np.zeros((len(rows) + 1, len(offsets)))
    log_healthy = np.zeros(len(offsets))
    differs = np.zeros((len(rows) + 1, len(bands)))
    log_strange = np.full(len(offsets), tables.log_unexplained)
    for k, one in enumerate(shown):
        remembered: dict[ExpectedEdges, Floats] = {}
        base = log_agreement(one, healthy[k], sd, offsets)
        quiet = _log_chatter(one.chatters, can=False)
        log_healthy += base + quiet
        # If something else is wrong, each pair is sound or shows no matter what, even chances.
        strange_pair = log_unexplained(one, len(bands[k].names)) + log(0.5)
        log_strange += np.logaddexp(base + quiet, strange_pair) + log(0.5)
        for row, number in enumerate(rows, 1):
            here = made.expected[number][k]
            chatter = 0.0
            if k in made.chattering[number]:
                differs[row, k] = 1.0
                chatter = _log_chatter(one.chatters, can=True) - quiet
            if here != healthy[k]:
                if here not in remembered:
                    remembered[here] = log_agreement(one, here, sd, offsets) - base
                log_ratio[row] += remembered[here]
                differs[row, k] = 1.0
            log_ratio[row] += chatter
    causes = [tables.causes[number] for number in rows]
    log_odds = np.concatenate([[0.0], tables.log_cause[rows] - tables.log_cause[0]])
    odds = np.exp(np.minimum(log_odds[:, None] + log_ratio, 280.0))
    top = float((log_healthy + log_offset + np.log(odds)).max())
    none = np.exp(log_healthy + log_offset + tables.log_cause[0] - top)
    twofold = np.zeros((len(rows) + 1, len(rows) + 1))
    twofold[1:, 1:] = tables.twofold.of(np.array(rows))
    twofold *= differs @ differs.T == 0.0
    pairs = none * odds * (twofold @ odds)
    single = none * odds
    # Sound in every pair is no fault, not something else.
    sound = log_healthy + tables.log_unexplained - len(bands) * log(2.0)
    strange = _strange(log_strange, sound, log_offset - top)
    total = float(single.sum() + 0.5 * pairs.sum()) + strange
    by_fault = (single + pairs).sum(axis=1)[1:] / total
    by_offset = (single.sum(axis=0) + 0.5 * pairs.sum(axis=0)) / total
    best = int(by_offset.argmax())
    claims = _claims(causes, by_fault, log_ratio[1:], best)
    offset = None if scale.shift_deg is None else _estimate(offsets, by_offset, scale, tables)
    at = float(offsets[best])
    told = tuple(
        replace(claim, evidence=_evidence(claim.fault, tables, made, bands, shown, at))
        if claim.probability >= WITH_EVIDENCE
        else claim
        for claim in claims
    )
    return SweepDiagnosis(
        float(single[0].sum()) / total, told, strange / total, offset, made.untested
    )


def _strange(log_strange: Floats, log_sound: Floats, log_scale: Floats) -> float:
    """Return the probability that something else is wrong in at least one pair."""
    rest = np.exp(np.minimum(log_strange + log_scale, 280.0))
    return float((rest * -np.expm1(np.minimum(log_sound - log_strange, 0.0))).sum())


def _offsets(
    tables: Tables, shown: Sequence[ShownEdges], scale: TraceScale
) -> tuple[Floats, Floats]:
    """Return the offsets thought of, and the log prior probability of each."""
    sd = edge_sd_of(tables.shape, tables.priors)
    step = sd / STEPS_PER_EDGE_SD
    if scale.shift_deg is None:
        # With a zero unknown, the scale may lie anywhere over the family's.
        detents = np.asarray(tables.family.detents_deg)
        low = float(detents[0]) - max(one.high_deg for one in shown)
        high = float(detents[-1]) - min(one.low_deg for one in shown)
        anywhere = np.arange(low, high, 4.0 * step)
        return anywhere, np.full(len(anywhere), -log(len(anywhere)))
    sds = offset_sds_of(tables.shape, tables.priors)
    half = ceil(OFFSET_REACH_SD * sds[1] / step)
    offsets: Floats = np.arange(-half, half + 1, dtype=np.float64) * step
    rate = tables.priors.misaligned_rate
    mass = (1.0 - rate) / sds[0] * np.exp(-0.5 * (offsets / sds[0]) ** 2)
    mass += rate / sds[1] * np.exp(-0.5 * (offsets / sds[1]) ** 2)
    log_offset: Floats = np.log(mass / mass.sum())
    return offsets, log_offset


@dataclass(frozen=True)
class _Hypotheses:
    """What each cause makes of the swept pairs.

    Attributes
    ----------
    healthy : tuple of ExpectedEdges
        The edges of each pair without fault.
    expected : mapping of int to tuple of ExpectedEdges
        The same with each cause that shows, by its number.
    chattering : mapping of int to frozenset of int
        The pairs that it makes chatter.
    untested : int
        How many causes do not show in these pairs.
    """

    healthy: tuple[ExpectedEdges, ...]
    expected: dict[int, tuple[ExpectedEdges, ...]]
    chattering: dict[int, frozenset[int]]
    untested: int


def _hypotheses(tables: Tables, bands: Sequence[OhmBands]) -> _Hypotheses:
    """Return what each cause makes of the swept pairs, remembered for the next trace of them."""
    known, key = _known(tables), tuple(one.pair for one in bands)
    if key not in known:
        known[key] = _made_by_causes(tables, bands)
    return known[key]


@once_each
def _known(tables: Tables) -> dict[tuple[Pair, ...], _Hypotheses]:
    """Return what was worked out before, by the pairs that were swept."""
    assert tables is not None, "each tables have their own"
    return {}


def _made_by_causes(tables: Tables, bands: Sequence[OhmBands]) -> _Hypotheses:
    family = tables.family
    healthy = expected_of(family, bands)
    known = {one: one for one in healthy}
    expected: dict[int, tuple[ExpectedEdges, ...]] = {}
    chattering: dict[int, frozenset[int]] = {}
    untested = 0
    for number, cause in enumerate(tables.causes):
        if cause is None or cause.kind in NOT_OF_A_SWEEP:
            continue
        # Alike ones are made one, which makes them quick to compare.
        made = expected_of(faulty(family, cause), bands)
        there = tuple(known.setdefault(one, one) for one in made)
        touched: frozenset[int] = frozenset()
        if (opened := cause.by_turns) is not None:
            without = expected_of(faulty(family, opened), bands)
            touched = frozenset(k for k in range(len(bands)) if without[k] != healthy[k])
        if touched or there != healthy:
            expected[number], chattering[number] = there, touched
        else:
            untested += 1
    return _Hypotheses(healthy, expected, chattering, untested)


def _log_chatter(seen: bool, *, can: bool) -> float:
    """Return the log probability that a pair is seen to chatter, or not."""
    rate = CHATTER_SEEN if can else CHATTER_FALSE
    return log(rate if seen else 1.0 - rate)


def _claims(
    causes: Sequence[Fault | None], by_fault: Floats, log_ratio: Floats, best: int
) -> list[Claim]:
    """Return a claim for each place and kind of fault, its sizes put together."""
    groups: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for row, cause in enumerate(causes):
        assert cause is not None, "no fault is no cause that shows"
        groups.setdefault((cause.kind, cause.at), []).append(row)
    claims = []
    for rows in groups.values():
        likeliest = max(rows, key=lambda row: by_fault[row])
        near = np.abs(log_ratio - log_ratio[likeliest])[:, max(best - 1, 0) : best + 2].max(axis=1)
        alike = [r for r in np.flatnonzero(near < 1e-9).tolist() if r not in rows]
        fault = causes[likeliest]
        assert fault is not None, "no fault is no cause that shows"
        tied = tuple(f for f in (causes[r] for r in alike) if f is not None)
        claims.append(Claim(fault, float(by_fault[rows].sum()), tied, ()))
    return sorted(claims, key=lambda c: -c.probability)


def _evidence(
    fault: Fault,
    tables: Tables,
    made: _Hypotheses,
    bands: Sequence[OhmBands],
    shown: Sequence[ShownEdges],
    offset_deg: float,
) -> tuple[str, ...]:
    """Return sentences on the pairs that speak for a fault, weightiest first."""
    number = tables.causes.index(fault)
    sd, at = edge_sd_of(tables.shape, tables.priors), np.array([offset_deg])
    weights = []
    for k, one in enumerate(shown):
        here, sound = made.expected[number][k], made.healthy[k]
        if here != sound:
            ratio = log_agreement(one, here, sd, at) - log_agreement(one, sound, sd, at)
            weights.append((float(ratio[0]), k))
        elif k in made.chattering[number] and one.chatters:
            weights.append((WORTH_TELLING, k))
    return tuple(
        f"for: {pair_text(bands[k].pair)} {_course(bands[k], shown[k])}; without this fault it "
        f"would be {_bands_text(bands[k], made.healthy[k])}."
        for weight, k in sorted(weights, reverse=True)[:MOST_EVIDENCE]
        if weight >= WORTH_TELLING
    )


def _course(bands: OhmBands, shown: ShownEdges) -> str:
    """Return what a sweep shows of a pair, as a person would say it."""
    names = [bands.names[shown.first], *(bands.names[edge.above] for edge in shown.edges)]
    if len(names) == 1:
        return f"is {names[0]} over the whole sweep{' but drops out' if shown.chatters else ''}"
    places = [f" to {edge.at_deg:.1f} deg" for edge in shown.edges]
    told = ", ".join(n + p for n, p in zip(names, [*places, ""], strict=True))
    return f"is {told}{' and drops out' if shown.chatters else ''}"


def _bands_text(bands: OhmBands, expected: ExpectedEdges) -> str:
    names = [bands.names[band] for band in expected.bands()]
    places = [f" to {edge:.1f} deg" for edge, _ in expected.edges]
    return ", ".join(n + p for n, p in zip(names, [*places, ""], strict=True))


def _estimate(
    offsets: Floats, by_offset: Floats, scale: TraceScale, tables: Tables
) -> OffsetEstimate:
    """Return the offset with its central 95 %."""
    total = by_offset.sum()
    if not total > 0.0:
        by_offset, total = np.ones_like(by_offset), float(len(by_offset))
    below = np.cumsum(by_offset) / total
    step = float(offsets[1] - offsets[0])
    low, high = (float(np.interp(q, below, offsets + 0.5 * step)) for q in (0.025, 0.975))
    mean = float(by_offset @ offsets / total)
    # How well the zero is known widens the interval, half-widths in squares.
    more = 1.96 * scale.u_deg
    low, high = mean - float(np.hypot(mean - low, more)), mean + float(np.hypot(high - mean, more))
    positive = float(by_offset[offsets > 0.0].sum() / total)
    return OffsetEstimate(mean, ((low, high),), max(positive, 1.0 - positive) >= 0.95,
                          tables.shape.unit)  # fmt: skip
