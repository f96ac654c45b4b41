"""What is known before a reading is taken: rates, spreads, sizes. See priors.toml."""

from collections.abc import Iterator
from typing import Annotated, Any, cast

import msgspec
from msgspec import NODEFAULT, Meta

from benchproof.family.sentence import quoted
from benchproof.family.tomlfile import TomlFile
from benchproof.network.branches.kinds import BRANCH_FAULTS
from benchproof.network.faults import FAULT_KINDS
from benchproof.network.geometry import Margins

Rate = Annotated[float, Meta(ge=0, lt=1)]
Size = Annotated[float, Meta(gt=0, le=1e9)]
Sizes = Annotated[tuple[Size, ...], Meta(min_length=1, max_length=8)]


class SeenRatio(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How many times likelier a kind of fault is where something was seen; see priors.toml."""

    item: str
    grade: str
    fault: str
    times: Annotated[float, Meta(ge=1, le=20)]


class Priors(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Everything the diagnosis takes for granted; each field is explained in priors.toml.

    Rates are probabilities; ``_deg`` are degrees, ``_gaps`` parts of a detent gap. A key that came
    later than the first proofs has a default, so that proofs which keep an older file still replay.
    What the kinds of branch bring is told by them, and is in all that `read_priors` returns.
    """

    misaligned_rate: Rate
    aligned_sd_deg: Size
    misaligned_sd_deg: Size
    aligned_sd_gaps: Size
    misaligned_sd_gaps: Size
    edge_sd_deg: Size
    edge_sd_gaps: Size
    single_margin_gaps: Size
    run_margin_gaps: Size
    lean_gaps: Size
    lean_sd_gaps: Size
    play_gaps: Size
    pin_open_rate: Rate
    leak_rate: Rate
    bridged_rate: Rate = 5e-6
    pins_swapped_rate: Rate
    wires_swapped_rate: Rate = 0.004
    lever_off_rate: Rate
    detent_play_rate: Rate
    other_family_rate: Rate
    local_defect_rate: Rate = 5e-5
    start_permit_bridged_rate: Rate = 5e-5
    wandering_rate: Rate = 2e-5
    start_permit_wandering_rate: Rate = 2e-6
    misread_visit_rate: Rate = 2e-4
    edge_spread_log_mean: Annotated[float, Meta(ge=-1, le=1)] = 0.0
    edge_spread_log_sd: Annotated[float, Meta(ge=0, le=1)] = 0.0
    stray_rate: Annotated[float, Meta(gt=0, lt=0.2)] = 1e-3
    seen: tuple[SeenRatio, ...] = ()
    not_explained_rate: Annotated[float, Meta(gt=0, lt=1)]
    chatter_open: Annotated[float, Meta(gt=0, lt=1)]
    leak_ohm: Sizes
    bridged_ohm: Sizes = (0.05, 100_000.0)
    slip_rate: Annotated[float, Meta(gt=0, lt=0.2)]
    other_cell_rate: Annotated[float, Meta(gt=0, lt=0.2)]
    wrong_key_rate: Annotated[float, Meta(gt=0, lt=0.2)]
    neighbour_bin_rate: Annotated[float, Meta(gt=0, lt=0.2)]

    @property
    def margins(self) -> Margins:
        """How far dwells reach that only a chart implies."""
        return Margins(self.single_margin_gaps, self.run_margin_gaps)


def _of_branches() -> Iterator[tuple[str, Any, Any]]:
    """Yield name, type and default of each key that the faults of branches go by."""
    for kind in BRANCH_FAULTS:
        yield kind.rate, Rate, NODEFAULT if kind.usual_rate is None else kind.usual_rate
        if kind.sizes:
            yield kind.sizes.key, Sizes, kind.sizes.usual or NODEFAULT


WholePriors = msgspec.defstruct(
    "WholePriors",
    _of_branches(),
    bases=(Priors,),
    module=__name__,
    frozen=True,
    forbid_unknown_fields=True,
    kw_only=True,
)
"""The priors with all that the kinds of branch bring."""


def read_priors(data: bytes, file: str, family: str, defaults: Priors | None = None) -> Priors:
    """Read a priors file.

    Parameters
    ----------
    data : bytes
        TOML; may leave out keys if `defaults` are given.
    file : str
        Its name, for messages.
    family : str
        The family whose table, if there is one, is taken over the file's own keys.
    defaults : Priors or None
        What keys that are left out are taken from.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    toml = TomlFile(data, file)
    toml.take_family(family, defaults)
    priors = toml.shaped(cast("type[Priors]", WholePriors))
    kinds = [kind.value for kind in FAULT_KINDS]
    for number, one in enumerate(priors.seen):
        if one.fault not in kinds:
            toml.problems.stop(
                toml.line_of("seen", number, "fault"),
                f"names {quoted(one.fault)}, which is no fault; faults are {', '.join(kinds)}.",
            )
    rates = (*(kind.rate for kind in FAULT_KINDS), "not_explained_rate")
    if not all(getattr(priors, rate) < 0.5 for rate in rates):
        toml.problems.stop("", "has a fault rate of one half or more; faults are the exception.")
    return priors
