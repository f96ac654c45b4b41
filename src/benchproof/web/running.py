"""A proof that runs by itself, as long work: selector and meter read, a person moves the lever."""

from typing import TYPE_CHECKING

from benchproof.conduct.automatic import (
    GO_ON,
    LOOK_FOR_VOLTAGE,
    MOVED_MEANWHILE,
    LeverWanted,
    ReadingDone,
    Step,
    fits,
    run,
)
from benchproof.conduct.gearchecks import no_voltage
from benchproof.conduct.metering import Instrument, identity_of, name_meter
from benchproof.conduct.work import Work
from benchproof.examine.policy import readings_left
from benchproof.family.model import cell_text
from benchproof.plan.actions import Stop
from benchproof.proof.cellstory import cell_of
from benchproof.proof.events import ReadingTaken
from benchproof.proof.problems import ProofProblem
from benchproof.web.instruments import Gear

if TYPE_CHECKING:
    from benchproof.web.jobs import Job
    from benchproof.web.site import Site


def start_run(site: "Site", tag: str, by: str, *, until_failure: bool) -> "Job":
    """Begin an automatic run of a proof.

    Raises
    ------
    ProofProblem
        If nothing here can run it, or nothing more is asked for.
    RecordProblem
        If there is no such proof, or the initials are nobody's.
    """
    gear = site.plugged
    if not isinstance(gear, Gear) or not gear.has_selector:
        raise ProofProblem(
            "No selector with a meter that reads by itself is plugged in; start the page with "
            "benchproof bench --gear FILE."
        )
    work = Work(site.store, tag)
    work.check_by(by)
    work.state.check(ReadingTaken)
    if isinstance(work.state.next.action, Stop):
        raise ProofProblem(f"{tag}: nothing more is asked for.")
    left = readings_left(work.state.as_left.examination.standing)

    def do(job: "Job") -> None:
        _run(site, gear, work, by, job, until_failure=until_failure)

    return site.jobs.start(f"Automatic run of {tag}", left, do)


def _run(site: "Site", gear: Gear, work: Work, by: str, job: "Job", *, until_failure: bool) -> None:
    tell = site.jobs.tell

    def ask(position: str, lean: str) -> str:
        job.ask(_lever(position, lean), tell)
        return position

    def sleep(seconds: float) -> None:
        job.wait(seconds)

    with gear.run_of(work.tag, work.state, ask) as station:
        fits(work, station)
        name_meter(work, Instrument(gear.which, identity_of(station)), by)
        checked = no_voltage(work, station, by)
        told = LOOK_FOR_VOLTAGE if checked is None else checked.told
        job.lines.insert(0, ("no voltage", "", told))
        steps = run(work, station, by, ask, until_failure=until_failure, sleep=sleep)
        try:
            while True:
                try:
                    step = next(steps)
                except StopIteration as stopped:
                    ended = stopped.value
                    break
                _show(site, work, job, step)
        finally:
            steps.close()
            site.hub.publish(f"proof/{work.tag}")
            site.hub.publish("proofs")
    if ended.problem:
        raise ProofProblem(f"{ended.problem} {GO_ON}")
    why = work.state.next.why
    job.said = f"Stopped at the first failure: {ended.stop.reason}." if ended.failed else why


def _show(site: "Site", work: Work, job: "Job", step: Step) -> None:
    match step:
        case LeverWanted(position, lean, _):
            job.said = _lever(position, lean)
        case ReadingDone(asked, value):
            cell = None if asked.lean else cell_of(work.state.as_left, asked.position, asked.pair)
            result = "" if cell is None else f"{cell.outcome.result}"
            lean = f", held toward {asked.lean}" if asked.lean else ""
            name = f"{cell_text(asked.pair, asked.position)}{lean}"
            job.lines.insert(0, (name, result, value))
            job.dangers = work.state.dangers
            job.done += 1
            # A failure is read once more, so the rest may grow.
            left = readings_left(work.state.as_left.examination.standing)
            job.total = job.done + left if job.total else 0
            site.hub.publish(f"proof/{work.tag}")
        case _:
            job.lines.insert(0, ("lever", "", MOVED_MEANWHILE))
    site.jobs.tell(job)
    job.check()


def _lever(position: str, lean: str) -> str:
    return f"Lever to {position}{f', held toward {lean}' if lean else ''}"
