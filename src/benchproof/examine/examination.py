"""The one answer that everybody shows: what was read, what is believed, what is dangerous, next.

Commands, page, prompt, automatic run, bulk, benchmarks and simulations all ask here, so that what
one of them shows no other can lack.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.diagnose.update import Posterior
from benchproof.diagnose.verdict import Diagnosis
from benchproof.examine.belief import Belief, DiagnosisResult
from benchproof.examine.ground import Ground
from benchproof.examine.policy import NextStep, PolicyFacts, next_step
from benchproof.family.danger import Danger
from benchproof.family.model import CellName
from benchproof.family.safety import Question
from benchproof.foretell.outlook import Outlook
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement
from benchproof.plan.actions import BenchPlace
from benchproof.reading.evidence import ConductingStretch, Evidence, Piece
from benchproof.reading.value import Reading

__all__ = ["DiagnosisResult", "Examination"]


@dataclass(frozen=True, eq=False)
class Examination:
    """All that is said of a part, each computed when it is first asked for.

    Attributes
    ----------
    belief : Belief
        What is said wherever lever and meter stand.
    at : BenchPlace
        Where they stand now.
    """

    belief: Belief
    at: BenchPlace

    def telling(self, piece: Piece) -> "Examination":
        """Return the examination with one more piece of evidence.

        A reading leaves lever and meter where it was taken.
        """
        at = BenchPlace(piece.position, piece.pair) if isinstance(piece, Reading) else self.at
        return Examination(self.belief.telling(piece), at)

    def standing_at(self, at: BenchPlace) -> "Examination":
        """Return the examination with lever and meter elsewhere; what is known stays known."""
        return replace(self, at=at)

    @property
    def ground(self) -> Ground:
        """What it stands on."""
        return self.belief.ground

    @property
    def evidence(self) -> Evidence:
        """All that was found."""
        return self.belief.evidence

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What was read, in the order in which it was."""
        return self.belief.readings

    @property
    def judged(self) -> Judgement:
        """The chart judged; it does not depend on the order in which different cells were read."""
        return self.belief.judged

    @property
    def results(self) -> Mapping[CellName, Result]:
        """What became of each cell; no pair stands in two rows of a chart that can be used."""
        return self.belief.results

    @property
    def times(self) -> Mapping[CellName, int]:
        """How often each cell was read in its detent."""
        return self.belief.times

    @property
    def posterior(self) -> Posterior | None:
        """What the evidence says of every hypothesis; None for a chart too large for it."""
        return self.belief.posterior

    @property
    def known(self) -> DiagnosisResult | None:
        """What the diagnosis comes to; None without one."""
        return self.belief.known

    @property
    def believed(self) -> Diagnosis | None:
        """What is believed of the part and why; None for a chart too large for a diagnosis."""
        return self.belief.believed

    @property
    def dangers(self) -> tuple[Danger, ...]:
        """What could hurt somebody, worst first."""
        return self.belief.dangers

    @property
    def seen(self) -> tuple[Danger, ...]:
        """The dangers that the readings show by themselves; a list cannot wait for a diagnosis."""
        return self.belief.seen

    @property
    def beside(self) -> tuple[ConductingStretch, ...]:
        """Where a start permit was found to conduct beside a detent where it must not."""
        return self.belief.beside

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is not known of the family; while there is a question nothing is accepted."""
        return self.belief.questions

    @property
    def foretold(self) -> Outlook:
        """What the vehicle would do with the part."""
        return self.belief.foretold

    @cached_property
    def standing(self) -> PolicyFacts:
        """What the policy looks at."""
        known = self.known
        return PolicyFacts(
            ground=self.ground,
            readings=self.readings,
            at=self.at,
            judged=self.judged,
            results=self.results,
            times=self.times,
            posterior=self.posterior,
            verdicts=None if known is None else known.verdicts,
            decided=None if known is None else known.decided,
        )

    @cached_property
    def next(self) -> NextStep:
        """What to do next."""
        return next_step(self.standing)
