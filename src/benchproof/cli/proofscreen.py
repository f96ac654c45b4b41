"""How a proof is printed, and its JSON object."""

from typing import TYPE_CHECKING

from benchproof.cli.diagnosis import print_dangers, print_diagnosis, print_judgement, print_next
from benchproof.cli.objects import print_json
from benchproof.cli.output import SIGN, echo, styled
from benchproof.conduct.typed import SLIP_KEY
from benchproof.face.proved import proof_shown
from benchproof.family.model import cell_text
from benchproof.family.sentence import one_line
from benchproof.judge.cell import Result
from benchproof.proof.cellstory import story_of
from benchproof.reading.value import format_value

IF_NOT_TURNED = 'If it was not turned: benchproof proof unturn {tag} "WHY" --by INITIALS.'

if TYPE_CHECKING:
    from benchproof.conduct.work import Work
    from benchproof.proof.replay import Replayed
    from benchproof.proof.state import State
    from benchproof.proof.taking import TakenReading


def print_proof_json(work: "Work") -> None:
    """Print how a proof stands as one JSON object."""
    print_json(proof_shown(work))


def print_proof(work: "Work") -> None:
    """Print everything that a proof says."""
    state = work.state
    opened, left = state.opened, state.as_left
    print_dangers(state.dangers)
    echo(styled(f"{work.tag}: ", bold=True), _heading(state))
    meter = state.meter_chosen
    named = left.meter.name if meter is None else meter.tag or meter.name
    echo(one_line(f"  Opened {opened.at} {opened.by}".rstrip() + f", meter {named}."))
    if state.turns:
        echo(styled("As found", bold=True))
        print_judgement(state.ground.family, state.as_found.judgement)
        print_turns(state)
        echo(styled("As left", bold=True))
    print_judgement(state.ground.family, left.judgement)
    if not state.turns:
        print_turns(state)
    for told in state.noted_told:
        echo(one_line(f"Found: {told}."))
    for told in state.withdrawn_told:
        echo(one_line(f"{told}."))
    for _, done in state.work:
        echo(one_line(f"Work {done.at} {done.by}: {done.what}"))
    for _, other in state.others:
        echo(one_line(f"Other proof {other.told}"))
    for seen in state.inspections:
        remark = f" ({seen.remark})" if seen.remark else ""
        echo(one_line(f"Inspection: {seen.item} {seen.grade}{remark}"))
    for check in state.checks:
        echo(one_line(f"Gear: {check.told}"))
    for one in state.photographs:
        echo(one_line(f"Photograph {one.hash[:12]}: {one.what}"))
    for said in state.remarks:
        echo(one_line(f"Remark {said.at} {said.by}: {said.text}"))
    if left.diagnosis is not None:
        print_diagnosis(left.diagnosis)
    if state.closed is not None:
        print_closed(state)
    else:
        print_next(state.next)
        print_against(state)
    print_proof_cautions(state)


def print_turns(state: "State") -> None:
    """Print how the body was turned, and which turns were taken back."""
    for turn in state.noted_turns:
        echo(one_line(f"Event {turn.seq} {turn.event.at}: {turn.told}"))


def _heading(state: "State") -> str:
    stands = "open" if state.closed is None else f"closed as {state.closed.outcome}"
    return f"{state.mode} {state.opened.part}, family {state.ground.family.name}; {stands}"


def print_closed(state: "State") -> None:
    """Print how a proof ended."""
    closed = state.closed
    assert closed is not None, "only closed proofs are printed so"
    by = one_line(closed.by)
    echo(styled(f"Closed as {closed.outcome}", bold=True), f" {closed.at} {by}")
    if closed.override_by:
        echo(one_line(f"  OVERRIDE by {closed.override_by}: {closed.override_reason}"))
    for reason in closed.reasons:
        echo(one_line(f"  {'overridden: ' if closed.override_by else ''}{reason}"))


def print_against(state: "State") -> None:
    """Print what stands against accepting the part."""
    if not state.objections:
        echo("Nothing stands against accepting it: benchproof proof close.")
        return
    echo("Against accepting it:")
    for one in state.objections:
        echo(one_line(f"  {one.sentence}"))


def print_proof_cautions(state: "State") -> None:
    """Print cautions; what could hurt somebody was printed before."""
    echo("Cautions:")
    for caution in state.cautions:
        echo(f"  {caution}")


def print_last_reading(state: "State", tag: str) -> None:
    """Print the reading that was just recorded, what it is, and what its cell is with others."""
    one = state.as_left.taken[-1]
    story = story_of(state, one.reading.position, one.reading.pair)
    outcome = next(read.outcome for read in story.readings if read.taken == one)
    if outcome is None:
        echo(f"{_told(one)}: recorded; the chart says nothing of it.")
        return
    result = outcome.result.value
    echo(f"{SIGN[result]} {_told(one)}: {result}, {outcome.reason}")
    whole = story.cell.outcome if story.cell is not None else outcome
    if whole.result is not outcome.result:
        decides = next((read.taken for read in story.readings if read.decides), one)
        by = f", by reading {decides.seq} ({format_value(decides.reading.value)})"
        stays = whole.result.value
        still = "still fails" if whole.result is Result.FAIL else f"is {stays}"
        echo(f"{SIGN[stays]} The cell {still}{by if decides != one else ''}.")
    if story.slip is not None:
        slipped = story.slip.taken
        echo(
            f"  If reading {slipped.seq} ({format_value(slipped.reading.value)}) was a slipped "
            f"probe: {SLIP_KEY} at the prompt, or benchproof proof undo {tag} "
            f"--reading {slipped.seq} --kind slip."
        )
    if likeliest := state.as_left.likeliest:
        echo(f"  Likeliest: {likeliest}")


def _told(one: "TakenReading") -> str:
    reading = one.reading
    lean = f" leaned toward {reading.lean}" if reading.lean else ""
    cell = cell_text(reading.pair, reading.position)
    return f"{one.seq}: {cell}{lean} {format_value(reading.value)}"


def tell(work: "Work", *, as_json: bool, reading: bool = False) -> None:
    """Print what follows a change: the object, or dangers, the reading if it was one, and next."""
    if as_json:
        print_proof_json(work)
        return
    print_dangers(work.state.dangers)
    if reading:
        print_last_reading(work.state, work.tag)
    if work.state.closed is None:
        print_next(work.state.next)


def print_replay(tag: str, found: "Replayed") -> None:
    """Print what came of a replay."""
    now_version = found.concluded.version
    echo(f"{tag}: {found.state.seq} events, digest {found.digest}")
    if found.recorded is None:
        echo(f"It is open, so nothing was concluded yet; now {found.concluded.verdict}.")
        return
    then = found.recorded.concluded.version
    if found.identical:
        echo(f"Closed with version {then}, replayed with {now_version}: the same.")
        return
    echo(f"Closed with version {then}, replayed with {now_version}; what differs:")
    for difference in found.differences:
        echo(f"  {difference}")
