"""The one answer that everybody shows: what was read, what is believed, what is dangerous, next.

Commands, page, prompt, automatic run, bulk, benchmarks and simulations all ask here, so that what
one of them shows no other can lack.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchproof.diagnose.diagnosis import decision, diagnose, weighed
from benchproof.diagnose.posterior import Posterior, masses, observe, prior_of, tell
from benchproof.diagnose.verdict import Diagnosis, Verdict
from benchproof.examine.dangers import Subject, dangers_of
from benchproof.examine.ground import Ground
from benchproof.examine.policy import NextStep, Standing, next_step
from benchproof.family.danger import Danger
from benchproof.family.model import CellName, same_pair
from benchproof.family.safety import Question
from benchproof.foretell.outlook import Outlook, of_readings
from benchproof.judge.cell import Result
from benchproof.judge.sheet import Judgement
from benchproof.judge.sheet import Verdict as SheetVerdict
from benchproof.plan.actions import Place
from benchproof.reading.value import Reading


@dataclass(frozen=True)
class Known:
    """What the diagnosis comes to.

    Attributes
    ----------
    verdicts : mapping of verdict to float
        Probability of each.
    hazard : float
        Probability that a start permit conducts where the starter must not turn.
    decided : verdict or None
        The verdict, once it is decided; never *accept* while a cell fails, while something about
        the start permit is not known, or while the chart has a mistake in it.
    """

    verdicts: Mapping[Verdict, float]
    hazard: float
    decided: Verdict | None


@dataclass(frozen=True)
class Examination:
    """All that is said of a part, each computed when it is first asked for.

    Attributes
    ----------
    ground : Ground
        What it stands on.
    readings : tuple of Reading
        What was read, in the order in which it was.
    at : Place
        Where lever and meter stand now.
    """

    ground: Ground
    readings: tuple[Reading, ...]
    at: Place

    def telling(self, reading: Reading) -> "Examination":
        """Return the examination with one more reading."""
        longer = replace(
            self,
            readings=(*self.readings, reading),
            at=Place(reading.position, reading.pair),
        )
        if (known := self.__dict__.get("posterior")) is not None:
            # What is known already is told the new reading only; it comes to the same bits.
            longer.__dict__["posterior"] = self._told(known, reading)
        return longer

    def standing_at(self, at: Place) -> "Examination":
        """Return the examination with lever and meter elsewhere; what is known stays known."""
        moved = replace(self, at=at)
        for name in ("judged", "results", "times", "posterior", "known", "believed", "dangers"):
            if name in self.__dict__:
                moved.__dict__[name] = self.__dict__[name]
        return moved

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
    def posterior(self) -> Posterior | None:
        """What the readings say of every hypothesis; None for a chart too large for it."""
        if self.ground.tables is None:
            return None
        return self._told(prior_of(self.ground.tables), *self.readings)

    def _told(self, posterior: Posterior, *readings: Reading) -> Posterior:
        ground = self.ground
        return tell(posterior, observe(posterior.tables, readings, ground.meter, ground.ambient_c))

    @cached_property
    def known(self) -> Known | None:
        """What the diagnosis comes to; None without one."""
        if self.posterior is None:
            return None
        verdicts, danger = weighed(self.posterior, masses(self.posterior))
        return Known(verdicts, danger, self._decided(decision(verdicts, danger)))

    def _decided(self, verdict: Verdict | None) -> Verdict | None:
        against = self.judged.verdict in (SheetVerdict.FAIL, SheetVerdict.RECHECK)
        unsafe = self.questions or self.ground.basis.unfit
        return None if verdict is Verdict.ACCEPT and (against or unsafe) else verdict

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
        return dangers_of(Subject(self.ground.safety, self.judged, verdicts, hazard))

    @cached_property
    def seen(self) -> tuple[Danger, ...]:
        """The dangers that the readings show by themselves; a list cannot wait for a diagnosis."""
        return dangers_of(Subject(self.ground.safety, self.judged, None, 0.0))

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is not known of the family; while there is a question nothing is accepted."""
        return self.ground.safety.questions

    @cached_property
    def standing(self) -> Standing:
        """What the policy looks at."""
        known = self.known
        return Standing(
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

    @cached_property
    def foretold(self) -> Outlook:
        """What the vehicle would do with the part."""
        ground = self.ground
        return of_readings(ground.basis.vehicle, self.readings, ground.meter, self.posterior)
