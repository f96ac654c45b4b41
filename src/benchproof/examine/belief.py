"""What is said of a part wherever lever and meter stand: judged, believed, dangerous, foretold."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.diagnose.diagnosis import decision, diagnose, weighed
from benchproof.diagnose.evidence.observed import observe
from benchproof.diagnose.posterior import masses
from benchproof.diagnose.update import Posterior, prior_of, tell
from benchproof.diagnose.verdict import Diagnosis, PartVerdict
from benchproof.examine.dangers import Subject, dangers_of
from benchproof.examine.ground import Ground
from benchproof.family.danger import Danger
from benchproof.family.model import CellName, same_pair
from benchproof.family.safety import Question
from benchproof.foretell.outlook import Outlook, of_readings
from benchproof.judge.cell import Result
from benchproof.judge.overrun import beside_edges
from benchproof.judge.sheet import Judgement, SheetVerdict
from benchproof.reading.evidence import ConductingStretch, Evidence, Piece
from benchproof.reading.value import Reading


@dataclass(frozen=True)
class DiagnosisResult:
    """What the diagnosis comes to.

    Attributes
    ----------
    verdicts : mapping of verdict to float
        Probability of each.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    decided : verdict or None
        The verdict, once it is decided; never *accept* while a cell fails, while a start permit
        was found to conduct beside a detent of gear, while something about it is not known, or
        while the chart has a mistake in it.
    """

    verdicts: Mapping[PartVerdict, float]
    hazard: float
    decided: PartVerdict | None


class Belief:
    """All that is said of a part wherever lever and meter stand, computed when it is asked for.

    Parameters
    ----------
    ground : Ground
        What it stands on.
    evidence : Evidence
        What was found.
    begun : Posterior or None
        What is known of the evidence but for `left`; None if nothing is.
    left : tuple of Piece
        What was not told yet.
    """

    def __init__(
        self,
        ground: Ground,
        evidence: Evidence,
        begun: Posterior | None = None,
        left: tuple[Piece, ...] | None = None,
    ) -> None:
        self.ground, self.evidence = ground, evidence
        self._begun, self._left = begun, evidence.pieces if left is None else left
        self._posterior: Posterior | None = None

    def telling(self, piece: Piece) -> "Belief":
        """Return the belief with one more piece of evidence.

        What is known already is told the new piece only; it comes to the same bits.
        """
        longer = self.evidence.with_more(piece)
        if self._posterior is not None:
            return Belief(self.ground, longer, self._posterior, (piece,))
        return Belief(self.ground, longer, self._begun, (*self._left, piece))

    @property
    def posterior(self) -> Posterior | None:
        """What the evidence says of every hypothesis; None for a chart too large for it."""
        ground = self.ground
        if self._posterior is None and ground.tables is not None:
            begun = prior_of(ground.tables) if self._begun is None else self._begun
            told = observe(ground.tables, self._left, ground.meter, ground.ambient_c)
            self._posterior = tell(begun, told)
            self._begun, self._left = None, ()
        return self._posterior

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What was read, in the order in which it was."""
        return self.evidence.readings

    @cached_property
    def judged(self) -> Judgement:
        """The chart judged; it does not depend on the order in which different cells were read."""
        ground = self.ground
        # Stable, so that the readings of one cell stay in their order.
        ordered = sorted(self.readings, key=lambda one: sorted(one.pair))
        return ground.chart.judged(ordered, ground.meter, ground.ambient_c)

    @cached_property
    def results(self) -> Mapping[CellName, Result]:
        """What became of each cell; no pair stands in two rows of a chart that can be used."""
        return {cell.place: cell.outcome.result for cell in self.judged.cells}

    @cached_property
    def times(self) -> Mapping[CellName, int]:
        """How often each cell was read in its detent."""
        return Counter((r.position, same_pair(r.pair)) for r in self.readings if not r.lean)

    @cached_property
    def known(self) -> DiagnosisResult | None:
        """What the diagnosis comes to; None without one."""
        if self.posterior is None:
            return None
        verdicts, danger = weighed(self.posterior, masses(self.posterior))
        return DiagnosisResult(verdicts, danger, self._decided(decision(verdicts, danger)))

    def _decided(self, verdict: PartVerdict | None) -> PartVerdict | None:
        against = self.judged.verdict in (SheetVerdict.FAIL, SheetVerdict.RECHECK)
        unsafe = self.questions or self.ground.basis.unfit or self.beside
        return None if verdict is PartVerdict.ACCEPT and (against or unsafe) else verdict

    @cached_property
    def believed(self) -> Diagnosis | None:
        """What is believed of the part and why; None for a chart too large for a diagnosis."""
        if self.posterior is None:
            return None
        found = diagnose(self.posterior)
        return replace(found, decided=self._decided(found.decided))

    @cached_property
    def dangers(self) -> tuple[Danger, ...]:
        """What could hurt somebody, worst first."""
        known = self.known
        verdicts, hazard = (None, 0.0) if known is None else (known.verdicts, known.hazard)
        return dangers_of(self._subject(verdicts, hazard))

    def _subject(self, verdicts: Mapping[PartVerdict, float] | None, hazard: float) -> Subject:
        ground = self.ground
        unit = "detent gaps" if ground.family.detents_deg is None else "deg"
        return Subject(ground.safety, self.judged, verdicts, hazard, self.beside, unit)

    @cached_property
    def beside(self) -> tuple[ConductingStretch, ...]:
        """Where a start permit was found to conduct beside a detent where it must not."""
        told = self.evidence
        found = (*told.conducting, *beside_edges(self.ground.family, told.edges))
        return tuple(dict.fromkeys(found))

    @cached_property
    def seen(self) -> tuple[Danger, ...]:
        """The dangers that the readings show by themselves; a list cannot wait for a diagnosis."""
        return dangers_of(self._subject(None, 0.0))

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is not known of the family; while there is a question nothing is accepted."""
        return self.ground.safety.questions

    @cached_property
    def foretold(self) -> Outlook:
        """What the vehicle would do with the part."""
        ground = self.ground
        return of_readings(ground.basis.vehicle, self.readings, ground.meter, self.posterior)
