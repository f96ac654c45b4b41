"""What an examination stands on: the kind of part, what is known beforehand, meter and bench."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from benchproof.diagnose.priors import Priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.audit.finding import Finding
from benchproof.family.audit.rules import unfit, unusable
from benchproof.family.model import CellName, Family, Pair
from benchproof.family.names import spellings
from benchproof.family.problems import BadFile, Problem, TooLarge
from benchproof.family.safety import Safety, assumed, safety_of
from benchproof.foretell.foretelling import Vehicle, vehicle_of
from benchproof.judge.sheet import ChartCriteria, chart_of
from benchproof.network.geometry import Margins, geometry
from benchproof.plan.actions import BenchPlace, Mode, TakeReading
from benchproof.plan.bench import Bench, Moves, moves_of
from benchproof.plan.route import route, wanted
from benchproof.reading.meter import Meter


@dataclass(frozen=True)
class Basis:
    """A kind of part and what is known of such parts beforehand, tabulated once.

    Attributes
    ----------
    key : str
        What tells it from others; bases of one key are the same.
    family : Family
        The part's family, its chart completed.
    priors : Priors
        What the diagnosis takes for granted.
    library : tuple of Family
        Other families with which this one might be confused.

    Raises
    ------
    BadFile
        If the chart has a mistake with which nothing can be judged against it.
    """

    key: str
    family: Family = field(compare=False, repr=False)
    priors: Priors = field(compare=False, repr=False)
    library: tuple[Family, ...] = field(default=(), compare=False, repr=False)

    def __post_init__(self) -> None:
        if bad := unusable(self.family):
            raise BadFile(self.family.name, [Problem(one.place, one.sentence) for one in bad])

    @cached_property
    def chart(self) -> ChartCriteria:
        """What its cells ask for."""
        return chart_of(self.family)

    @cached_property
    def safety(self) -> Safety:
        """Where a pair must not conduct, and what is unknown about that."""
        return safety_of(self.family)

    @cached_property
    def unfit(self) -> tuple[Finding, ...]:
        """Mistakes of the chart with which no part can be proved against it."""
        return tuple(unfit(self.family))

    @cached_property
    def _tabulated(self) -> tuple[Tables | None, str]:
        try:
            return tables_of(self.family, self.priors, self.library), ""
        except TooLarge as error:
            return None, f"No diagnosis, only the chart is judged: {error}."

    @cached_property
    def tables(self) -> Tables | None:
        """The hypotheses about the part; None for a chart too large for a diagnosis."""
        return self._tabulated[0]

    @cached_property
    def no_diagnosis(self) -> str:
        """Why there is no diagnosis, a sentence; empty if there is one."""
        return self._tabulated[1]

    @cached_property
    def vehicle(self) -> Vehicle:
        """The vehicle's side of the family; what nobody has said of it is as we propose."""
        margins = Margins(self.priors.single_margin_gaps, self.priors.run_margin_gaps)
        return vehicle_of(geometry(assumed(self.family), margins))


@dataclass(frozen=True)
class Ground:
    """What an examination stands on.

    Attributes
    ----------
    basis : Basis
        The kind of part and what is known beforehand.
    meter : Meter
        What it is read with.
    bench : Bench
        How long moves take.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    mode : Mode
        What the readings are for.
    start : BenchPlace or None
        Where lever and meter stood before the first reading; None for the first position.
    """

    basis: Basis
    meter: Meter
    bench: Bench
    ambient_c: float | None = None
    mode: Mode = Mode.FIND
    start: BenchPlace | None = None

    @cached_property
    def family(self) -> Family:
        """The part's family, its chart completed."""
        return self.basis.family

    @cached_property
    def priors(self) -> Priors:
        """What the diagnosis takes for granted."""
        return self.basis.priors

    @cached_property
    def library(self) -> tuple[Family, ...]:
        """Other families with which this one might be confused."""
        return self.basis.library

    @cached_property
    def tables(self) -> Tables | None:
        """The hypotheses about the part; None for a chart too large for a diagnosis."""
        return self.basis.tables

    @cached_property
    def no_diagnosis(self) -> str:
        """Why there is no diagnosis, a sentence; empty if there is one."""
        return self.basis.no_diagnosis

    @cached_property
    def chart(self) -> ChartCriteria:
        """What the cells ask for."""
        return self.basis.chart

    @cached_property
    def safety(self) -> Safety:
        """Where a pair must not conduct, and what is unknown about that."""
        return self.basis.safety

    @cached_property
    def begins(self) -> BenchPlace:
        """Where lever and meter stood before the first reading."""
        return self.start or BenchPlace(self.family.positions[0])

    @cached_property
    def spellings(self) -> Mapping[str, Pair]:
        """The charted pairs by how the chart writes them."""
        return spellings(self.family)

    @cached_property
    def wanted(self) -> Mapping[CellName, int]:
        """How many readings a proof takes of each cell that the chart asks for."""
        return wanted(self.family)

    @cached_property
    def moves(self) -> Moves:
        """How long each reading of a charted pair takes."""
        known = () if self.tables is None else self.tables.pairs
        return moves_of(self.bench, self.family, self.family.charted_pairs, known)

    @cached_property
    def route(self) -> tuple[TakeReading, ...]:
        """The readings of a whole proof, from where lever and meter stood when it began."""
        return _route(_Asked(self.family, self.bench, self.moves.reachable(self.begins)))


@dataclass(frozen=True)
class _Asked:
    """A route to remember; a family holds mappings, so it is told by identity."""

    family: Family
    bench: Bench
    start: BenchPlace

    def __hash__(self) -> int:
        return hash((id(self.family), self.bench, self.start))

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, _Asked)
            and other.family is self.family
            and (other.bench, other.start) == (self.bench, self.start)
        )


@lru_cache(maxsize=64)
def _route(asked: _Asked) -> tuple[TakeReading, ...]:
    return route(asked.family, asked.bench, asked.start).readings
