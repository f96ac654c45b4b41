"""What to say of a posterior: verdicts, faults and their evidence, offset, what stays unknown."""

from collections.abc import Mapping, Sequence

import numpy as np

from benchproof.diagnose.cell import LEAST, CellFactor, bad_share, log_safe_of
from benchproof.diagnose.evidence.condition import seen_for, seen_told
from benchproof.diagnose.evidence.edge import ObservedEdge, conducts_by_edges
from benchproof.diagnose.evidence.zero import narrow_zero
from benchproof.diagnose.grid import Grid, blurred
from benchproof.diagnose.posterior import Masses, Posterior, masses
from benchproof.diagnose.sites import together
from benchproof.diagnose.tables import Tables
from benchproof.diagnose.unknowable import DiagnosisFacts, unknowable
from benchproof.diagnose.verdict import (
    MOST_HAZARD,
    SURE,
    Claim,
    Diagnosis,
    OffsetEstimate,
    PartVerdict,
    SheetClaim,
)
from benchproof.family.model import cell_text
from benchproof.network.resistance import Floats


def verdict_masses(posterior: Posterior, found: Masses) -> dict[PartVerdict, float]:
    """Return the probability of each verdict by what the part and its hook-up are.

    A cell that is defective by itself and against the chart asks for repair.
    """
    if found.nodes:
        each = [verdict_masses(node.posterior, node.found) for node in found.nodes]
        summed = {verdict: sum(one[verdict] for one in each) for verdict in PartVerdict}
        return summed | {PartVerdict.HOOK_UP: summed[PartVerdict.HOOK_UP] + found.misread}
    tables = posterior.tables
    verdicts = dict.fromkeys(PartVerdict, 0.0)
    good, sound = good_by_cell(posterior), sound_by_cell(posterior)
    all_good, all_sound = all_cells(posterior, good, sound)
    accept = float(found.single[0] @ all_good)
    without_defect = float(found.single[0] @ all_sound)
    out_of_line = max(without_defect - accept, 0.0)
    wrong_chart = min(
        max(float(found.single[0] @ _as_charted(posterior, good)) - accept, 0.0), out_of_line
    )
    verdicts[PartVerdict.ACCEPT] = accept
    verdicts[PartVerdict.REALIGN] = out_of_line - wrong_chart
    verdicts[PartVerdict.CHART] = wrong_chart
    singles = found.single.sum(axis=1).tolist()
    verdicts[PartVerdict.REPAIR] = max(singles[0] - without_defect, 0.0)
    for verdict, numbers in tables.asking_for.items():
        verdicts[verdict] = sum((singles[number] for number in numbers), verdicts[verdict])
    verdicts[PartVerdict.REPAIR] += 0.5 * float(found.twofold.sum())
    verdicts[PartVerdict.HOOK_UP] += found.misread
    verdicts[PartVerdict.UNEXPLAINED] = float(found.unexplained)
    return verdicts


def _as_charted(posterior: Posterior, good: Floats) -> Floats:
    """Return the probability, no fault, that every cell is as charted, by offset.

    Where the chart lets a start permit conduct in gear no offset makes a part that meets it a good
    one: the chart is wrong, or the family.
    """
    tables = posterior.tables
    if not tables.charted_hazard.any():
        return np.zeros(len(tables.grid.offsets))
    charted = good.copy()
    for k, p in np.argwhere(tables.charted_hazard).tolist():
        charted[k, p] = conducts(posterior, k, p)[0]
    all_charted: Floats = charted.prod(axis=(0, 1))
    return all_charted


def good_by_cell(posterior: Posterior) -> Floats:
    """Return the probability, no fault, that each charted cell meets the chart.

    Shape (charted, positions, offsets).
    """
    tables = posterior.tables
    good = tables.unread_good.copy()
    for (k, p), factor in posterior.factors.items():
        if k < tables.charted:
            good[k, p] = factor.good
    return good


def all_cells(posterior: Posterior, good: Floats, sound: Floats) -> tuple[Floats, Floats]:
    """Return the probability, no fault, that every charted cell is good, and sound, by offset.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    good, sound : array, shape (charted, positions, offsets)
        Of each cell; see `good_by_cell` and `sound_by_cell`.
    """
    all_good, all_sound = good.prod(axis=(0, 1)), sound.prod(axis=(0, 1))
    if posterior.tables.sites:
        more = together(posterior.tables, posterior.factors, good, sound)
        return all_good * more[0], all_sound * more[1]
    return all_good, all_sound


def sound_by_cell(posterior: Posterior) -> Floats:
    """Return the probability, no fault, that no charted cell's own defect is against the chart.

    Shape (charted, positions, offsets).
    """
    tables = posterior.tables
    sound = np.repeat(tables.unread_sound[:, :, None], len(tables.grid.offsets), axis=2)
    for (k, p), factor in posterior.factors.items():
        if k < tables.charted:
            sound[k, p] = factor.sound
    return sound


def unexplained_cells(posterior: Posterior, found: Masses) -> tuple[tuple[int, int], ...]:
    """Return the charted cells whose every reading in the detent is against the chart by mistake.

    By mistake as far as the posterior knows: it is likelier that the cell itself meets the chart,
    or that nothing explains the readings. They are to be read again before anything is concluded.
    """
    each = found.single + found.twofold
    known = found.explained
    doubtful = []
    for (k, p), factor in posterior.factors.items():
        if factor.against:
            bad = bad_share(factor)
            wrong = float((each[factor.rows[1:]] * (bad[1:] - bad[0])).sum() + known @ bad[0])
            if wrong < 0.5:
                doubtful.append((k, p))
    return tuple(doubtful)


def hazard(posterior: Posterior, found: Masses) -> float:
    """Return the probability that a start permit conducts where the starter must not turn.

    If the sheet is mistaken it is that of the part that the readings then belong to.
    """
    if not posterior.tables.hazard.any():
        return 0.0
    of_sheets = 0.0
    for sheet in found.sheets:
        known = max(1.0 - sheet.found.unexplained, LEAST)
        own = max(hazard(sheet.posterior, sheet.found) / known, gate(sheet.posterior))
        of_sheets += sheet.probability * min(own, 1.0)
    if found.nodes:
        return of_sheets + sum(_unsafe(node.posterior, node.found) for node in found.nodes)
    return of_sheets + _unsafe(posterior, found)


def _unsafe(posterior: Posterior, found: Masses) -> float:
    """Return the probability of a hazard and of the sheet being as it should be."""
    safe, less = log_safe(posterior)
    # To a cause that touches none of these cells they are as without fault.
    unsafe = np.tile(-np.expm1(safe), (len(less), 1))
    touched = posterior.tables.touch_hazard
    unsafe[touched] = -np.expm1(safe + less[touched])
    unsafe_single = float((found.single * unsafe).sum())
    # A pair of faults is safe where each is: the product of their ratios, as for the readings.
    safe_twofold = 0.5 * float((np.exp(safe) * found.twofold_with(less)).sum())
    unsafe_twofold = max(0.5 * float(found.twofold.sum()) - safe_twofold, 0.0)
    return unsafe_single + unsafe_twofold


def log_safe(posterior: Posterior) -> tuple[Floats, Floats]:
    """Return the log probability that no start permit conducts where the starter must not turn.

    Returns
    -------
    tuple of arrays
        Without fault, shape (offsets,); and by how much more for each cause, (causes, offsets).
    """
    tables = posterior.tables
    safe = np.zeros(len(tables.grid.offsets))
    less = np.zeros((len(tables.causes), len(safe)))
    for k, p in tables.hazard_cells:
        factor = posterior.factors.get((k, p))
        of_cell = log_safe_of(tables.unread_conducts[k, p]) if factor is None else factor.log_safe
        safe += of_cell[0]
        less[tables.affected[k][p]] += of_cell - of_cell[0]
    return safe, less


def conducts(posterior: Posterior, k: int, p: int) -> Floats:
    """Return the probability that a hazard cell conducts, for the causes that touch it.

    Shape (rows, offsets).
    """
    factor = posterior.factors.get((k, p))
    return posterior.tables.unread_conducts[k, p] if factor is None else factor.conducts


def diagnose(posterior: Posterior, most_faults: int = 8) -> Diagnosis:
    """Return what to say of a posterior.

    Parameters
    ----------
    posterior : Posterior
        What is known.
    most_faults : int
        How many faults to tell.
    """
    found = masses(posterior)
    verdicts, danger = weighed(posterior, found)
    claims = _claims(posterior, found, most_faults)
    lever = posterior.tables.family.lever
    offset = offset_estimate(posterior.tables, found, posterior.besides.edges) if lever else None
    return Diagnosis(
        verdicts=verdicts,
        decided=decision(verdicts, danger),
        hazard=danger,
        faults=claims,
        offset=offset,
        unknowable=unknowable(DiagnosisFacts(posterior, verdicts, danger, claims, offset)),
        sheets=tuple(
            SheetClaim(sheet.mistake.text, sheet.probability)
            for sheet in sorted(found.sheets, key=lambda sheet: -sheet.probability)
            if sheet.probability >= LEAST_TOLD
        ),
        unexplained_cells=tuple(
            (posterior.tables.family.positions[p], posterior.tables.pairs[k])
            for k, p in unexplained_cells(posterior, found)
        ),
        seen=seen_told(posterior.tables, posterior.besides.seen),
        only_prior=posterior.only_prior,
    )


MOST_SLIPS = 0.9
"""Readings that all went wrong make *not explained* no likelier than this: they are read again."""
LEAST_TOLD = 1e-3
"""A fault or a mistake of the sheet is told from this probability on."""


def weighed(posterior: Posterior, found: Masses) -> tuple[dict[PartVerdict, float], float]:
    """Return the probability of each verdict and of a hazard, as it may be stated; see `stated`.

    What was seen by eye makes no hazard less likely, not even by making other faults likelier.
    """
    danger = hazard(posterior, found)
    unseen = posterior.without_seen
    if unseen is not posterior:
        danger = max(danger, hazard(unseen, masses(unseen)))
    return stated(posterior, found, verdict_masses(posterior, found), danger)


def stated(
    posterior: Posterior, found: Masses, verdicts: Mapping[PartVerdict, float], danger: float
) -> tuple[dict[PartVerdict, float], float]:
    """Return verdicts and hazard as they may be stated, from those of the hypotheses.

    A part is not good while every reading of a charted cell says otherwise, likely though it be
    that all of them went wrong: that share of *accept* is a matter of the hook-up, where each visit
    may have been at a wrong place, and else not explained, yet never so much that it is decided.
    And the hazard is never smaller than what the meter says of a cell by itself. A part without a
    lever is not to be realigned.
    """
    changed = dict(verdicts)
    tables = posterior.tables
    misread = {
        cell: factor
        for cell, factor in posterior.factors.items()
        if cell[0] < tables.charted and factor.misread
    }
    if misread:
        good = good_by_cell(posterior)
        accept = found.single[0] * all_cells(posterior, good, sound_by_cell(posterior))[0]
        placed, kept = accept.copy(), accept.copy()
        for cell, factor in misread.items():
            some = np.maximum(good[cell], LEAST)
            kept *= factor.read_good / some
            placed *= np.maximum(good[cell] - factor.misplaced, 0.0) / some
        all_of = max(float(accept.sum()), LEAST)
        left = min(float(kept.sum()) / all_of, 1.0) * verdicts[PartVerdict.ACCEPT]
        hook_up = max(1.0 - float(placed.sum()) / all_of, 0.0) * verdicts[PartVerdict.ACCEPT]
        changed[PartVerdict.ACCEPT] = left
        slips = max(verdicts[PartVerdict.ACCEPT] - left - hook_up, 0.0)
        unexplained = min(slips, max(MOST_SLIPS - verdicts[PartVerdict.UNEXPLAINED], 0.0))
        changed[PartVerdict.HOOK_UP] += hook_up + slips - unexplained
        changed[PartVerdict.UNEXPLAINED] += unexplained
    if not tables.family.lever:
        # There is nothing to turn: a part without fault that is against the chart is not of it.
        changed[PartVerdict.CHART] += changed.pop(PartVerdict.REALIGN)
    return changed, max(danger, gate(posterior))


def gate(posterior: Posterior) -> float:
    """Return the probability that a cell which must not conduct does, by what the meter says alone.

    The greatest of any cell: the product over its readings in the detent that tell, or what the
    edges found beside that detent tell.
    """
    tables = posterior.tables
    read = (
        factor.conducts_alone
        for (k, p), factor in posterior.factors.items()
        if k < tables.charted and tables.hazard[k, p]
    )
    return max(conducts_by_edges(tables, posterior.besides.edges), *read, 0.0)


def decision(verdicts: Mapping[PartVerdict, float], danger: float) -> PartVerdict | None:
    """Return the verdict that is decided, None if none is yet."""
    best = max(verdicts, key=lambda verdict: verdicts[verdict])
    if verdicts[best] < SURE or (best is PartVerdict.ACCEPT and danger > MOST_HAZARD):
        return None
    return best


FINER = 8
"""The offset's probability is interpolated this much finer than its grid."""


NARROW = 0.2
"""Where one offset of the grid holds more than this, linear interpolation would widen the whole."""
FAR_LOG = 40.0
"""An offset this much less likely than the best one, as a log, is as good as impossible."""


def finer(grid: Grid, by_offset: Floats, *, narrow: bool) -> tuple[Floats, Floats]:
    """Return finer offsets and the probability of each.

    Parameters
    ----------
    grid : Grid
        The grid of angles.
    by_offset : array, shape (offsets,)
        Probability of each.
    narrow : bool
        Whether a few offsets hold it all: then their logs are interpolated by cubics, with which a
        normal distribution agrees exactly.
    """
    count = FINER * (len(grid.offsets) - 1) + 1
    fine: Floats = np.linspace(grid.offsets[0], grid.offsets[-1], count)
    if narrow:
        log = np.log(np.maximum(by_offset, float(by_offset.max()) * np.exp(-FAR_LOG)))
        beyond = np.concatenate([[2.0 * log[0] - log[1]], log, [2.0 * log[-1] - log[-2]]])
        at, part = np.divmod(np.arange(count), FINER)
        a, b, c, d = (beyond[np.minimum(at + n, len(beyond) - 1)] for n in range(4))
        t = part / FINER
        bend = t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))
        density = np.exp(b + 0.5 * t * (c - a + bend))
    else:
        density = np.interp(fine, grid.offsets, by_offset)
    density /= density.sum()
    return fine, density


def offset_estimate(
    tables: Tables, found: Masses, edges: Sequence[ObservedEdge] = ()
) -> OffsetEstimate:
    """Return where the moving part stands, with the smallest set that holds 95 %.

    Parameters
    ----------
    tables : Tables
        The hypotheses.
    found : Masses
        How likely they are.
    edges : sequence of ObservedEdge
        The edges that were found: what is not known of their zero is not known of the offset.
    """
    grid = tables.grid
    by_offset = found.by_offset
    by_offset = by_offset / by_offset.sum()
    narrow = found.measured and float(by_offset.max()) > NARROW
    fine, density = finer(grid, by_offset, narrow=narrow)
    if edges:
        density = blurred(density, FINER * narrow_zero(grid, edges) / grid.step)
        density = density / density.sum()
    falling = np.argsort(-density, kind="stable")
    count = int(np.searchsorted(np.cumsum(density[falling]), 0.95)) + 1
    inside = np.zeros(len(fine), dtype=np.bool_)
    inside[falling[:count]] = True
    half = (fine[1] - fine[0]) / 2.0
    ends = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    intervals = tuple(
        (float(fine[a] - half), float(fine[b - 1] + half))
        for a, b in zip(ends[::2], ends[1::2], strict=True)
    )
    positive = float(by_offset[grid.offsets > 0].sum())
    negative = float(by_offset[grid.offsets < 0].sum())
    best = float(fine[density.argmax()] if narrow else grid.offsets[by_offset.argmax()])
    return OffsetEstimate(best, intervals, max(positive, negative) >= 0.95, tables.shape.unit)


def _claims(posterior: Posterior, found: Masses, most: int) -> tuple[Claim, ...]:
    tables = posterior.tables
    each = found.single.sum(axis=1) + found.twofold.sum(axis=1)
    sizes: dict[object, list[int]] = {}
    for number, cause in enumerate(tables.causes):
        if cause is not None:
            key = cause.kind, cause.at, int(cause.size) if not cause.at else cause.branch
            sizes.setdefault(key, []).append(number)
    ranked = sorted(sizes.values(), key=lambda numbers: -float(each[numbers].sum()))
    claims: list[Claim] = []
    told: set[int] = set()
    for numbers in ranked:
        likeliest = max(numbers, key=lambda n: float(each[n]))
        if likeliest in told or len(claims) == most:
            continue
        probability = float(each[numbers].sum())
        if probability < LEAST_TOLD:
            break
        tied = [n for n in _alike(posterior, found, likeliest) if n not in numbers]
        told.update(tied)
        fault = tables.causes[likeliest]
        assert fault is not None, "no fault is no claim"
        claims.append(
            Claim(
                fault,
                probability,
                tuple(f for n in tied if (f := tables.causes[n]) is not None),
                evidence_for(posterior, found, likeliest),
                tables.spans[likeliest],
            )
        )
    return tuple(claims)


MOST_LOG = 600.0
"""More than e to this power is told from nothing else."""
ALIKE = 0.02
"""Readings that two faults make this nearly as likely do not tell them apart."""


def _alike(posterior: Posterior, found: Masses, number: int) -> list[int]:
    """Return the other causes that make every reading just as likely as this one makes it.

    They agree cell by cell, and either touches some cell that was read at all.
    """
    total = np.exp(found.log_none + posterior.log_ratio).sum(axis=1)
    close = np.abs(total / total[number] - 1.0) < ALIKE
    close[[0, number]] = False
    at, touched = _normal(found.single[number]), np.zeros(len(total), dtype=np.bool_)
    for factor in posterior.factors.values():
        row = np.flatnonzero(factor.rows == number)
        own_log = factor.log_all[row[0] if len(row) else 0]
        likely = np.exp(np.minimum(factor.log_all - own_log.max(), MOST_LOG)) @ at
        each = np.full(len(total), likely[0])
        each[factor.rows] = likely
        close &= np.abs(each / max(float(each[number]), LEAST) - 1.0) < ALIKE
        touched[factor.rows[1:]] = True
    return [*np.flatnonzero(close & (touched | touched[number])).tolist()]


def _likelier(one: Floats, log_one: Floats, other: Floats, log_other: Floats) -> float:
    """Return how many times likelier one makes some readings than another, by offset and log."""
    top = max(float(log_one.max()), float(log_other.max()))
    likely = float(one @ np.exp(log_one - top))
    return likely / max(float(other @ np.exp(log_other - top)), LEAST)


EVIDENCE = 3.0
"""A reading counts as evidence if it makes a claim this many times likelier, or less likely."""


def evidence_for(
    posterior: Posterior, found: Masses, number: int, most: int = 4
) -> tuple[str, ...]:
    """Return sentences on what speaks for and against a cause, weightiest first.

    What was read and found of each cell is weighed by how much likelier the cause makes it than all
    that is believed otherwise does, each at its own likely offsets; what was seen by eye by how
    much likelier it makes the cause.
    """
    own = _normal(found.single[number] + found.twofold[number])
    rest = _normal(found.single.sum(axis=0) - found.single[number] + 1e-300)
    weighed: list[tuple[float, str]] = []
    for factor in posterior.factors.values():
        at = np.flatnonzero(factor.rows == number)
        if not len(at):
            continue
        ratio = _likelier(own, factor.log_all[at[0]], rest, factor.log_all[0])
        what = _what_of(posterior, factor)
        if ratio >= EVIDENCE:
            weighed.append((ratio, f"for: {what}, {_times(ratio)} likelier with it."))
        elif ratio <= 1.0 / EVIDENCE:
            told = f"against: {what}, {_times(1.0 / ratio)} less likely with it."
            weighed.append((1.0 / max(ratio, 1e-300), told))
    cause = posterior.tables.causes[number]
    if cause is not None:
        # Told however little it weighs: nobody sees it in the readings.
        weighed += seen_for(posterior.tables, posterior.besides.seen, cause.kind)
    weighed.sort(key=lambda item: -item[0])
    return tuple(sentence for _, sentence in weighed[:most])


def _what_of(posterior: Posterior, factor: CellFactor) -> str:
    """Return what was read and found of a cell, in words, in the order in which it was read."""
    tables = factor.tables
    position = tables.family.positions[factor.position]
    told = []
    if readings := posterior.cells.get((factor.pair, factor.position)):
        read = " and ".join(_read(tables, one.seen) for one in readings)
        told.append(f"reads {read}")
    for edge in factor.edges.edges if factor.edges is not None else ():
        sides = f"{_read(tables, edge.below)} to {_read(tables, edge.above)}"
        told.append(f"goes from {sides} {edge.at:+.2f} {tables.shape.unit} from {position}")
    return f"{cell_text(tables.pairs[factor.pair], position)} {' and '.join(told)}"


def _normal(values: Floats) -> Floats:
    shares: Floats = values / values.sum()
    return shares


def _times(ratio: float) -> str:
    return "over 1000 times" if ratio > 1000.0 else f"{ratio:.0f} times"


def _read(tables: Tables, seen: Floats) -> str:
    """Return a reading in the words of the bins."""
    return tables.bins.word(int(seen.argmax()))
