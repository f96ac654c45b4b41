"""A tag for a part or unit, in the size of a label."""

from dataclasses import dataclass
from datetime import datetime

from benchproof.judge.cell import Result
from benchproof.report.certificate import ACCEPTED, SIGN
from benchproof.report.language import language
from benchproof.report.letterhead import LABELS, NO_LETTERHEAD, Letterhead
from benchproof.report.pdf import typeset
from benchproof.report.recordcode import code_svg, record_text

UNDATED = "2000-01-01"
"""What a tag without a proof is dated: it is not dated by the clock."""


@dataclass(frozen=True)
class LastProof:
    """The last closed proof of a part.

    Attributes
    ----------
    proof : str
        Its tag.
    seq, hash : int and str
        Number and hash of the event that closed it.
    outcome : str
        As what it was closed.
    override_by : str
        Who answers for the part; empty without an override.
    on : str
        The day it was closed, as ``2026-03-02``.
    danger : str
        The signal word of its worst danger; empty if there is none.
    flagged : bool
        Whether an older version accepted it against what nobody can answer for.
    """

    proof: str
    seq: int
    hash: str
    outcome: str
    override_by: str
    on: str
    danger: str = ""
    flagged: bool = False


@dataclass(frozen=True)
class Tag:
    """What a tag says.

    Attributes
    ----------
    tag : str
        Of the part or unit.
    kind : str
        ``part`` or ``unit``.
    family : str
        Name of its family; may be empty.
    lines : tuple of str
        What else it says, a few words each.
    last : LastProof or None
        The part's last closed proof.
    danger : str
        The signal word of the worst danger of what was read of the part since.
    letterhead : Letterhead
        The shop's, with its size of label and its language.
    """

    tag: str
    kind: str
    family: str = ""
    lines: tuple[str, ...] = ()
    last: LastProof | None = None
    danger: str = ""
    letterhead: Letterhead = NO_LETTERHEAD

    @property
    def standing(self) -> str:
        """What stands of the part, with its sign; empty for a unit.

        Examples
        --------
        >>> Tag("S-1", "part").standing
        '– NOT PROVED: do not fit'
        """
        if self.kind != "part":
            return ""
        say = language(self.letterhead.language).say
        bad, last = SIGN[Result.FAIL], self.last
        danger = self.danger or (last.danger if last else "")
        if danger:
            return f"{bad} {say('{signal}: do not fit', signal=say(danger))}"
        if last is None:
            return f"{SIGN[Result.MISSING]} {say('NOT PROVED: do not fit')}"
        if last.flagged:
            return f"{bad} {say('NOT PROVED BY THESE RULES: do not fit')}"
        if last.override_by:
            return f"{bad} {say('OVERRIDE, NOT PROVED: ask before fitting')}"
        if last.outcome == ACCEPTED:
            return f"{SIGN[Result.PASS]} {say('ACCEPTED')}"
        return f"{bad} {say('NOT ACCEPTED: do not fit')}"


def stands(opened_at: datetime, state: str, moved_at: datetime | None) -> bool:
    """Return whether a part's last proof still says what the part is.

    Parameters
    ----------
    opened_at : datetime
        When the proof was opened.
    state : str
        Where the part's last move over the shelf took it; empty if it was never on it.
    moved_at : datetime or None
        When it was moved.

    Notes
    -----
    What came back from a unit is to be proved anew, and what is scrapped is proved no more.
    """
    if state == "scrapped":
        return False
    return state != "returned" or moved_at is None or opened_at > moved_at


def tag_pdf(told: Tag, label: str = "") -> bytes:
    """Return a tag as PDF in the size of a label.

    Its code names the part's last closed proof with its hash, or without one the tag itself.

    Parameters
    ----------
    told : Tag
        What it says.
    label : str
        A size of `letterhead.LABELS`; the shop's own without it.
    """
    last, head = told.last, told.letterhead
    words = language(head.language)
    say = words.say
    width_mm, height_mm = LABELS[label or head.label]
    text = record_text(last.proof, last.seq, last.hash) if last else f"benchproof:{told.tag}"
    by = (say("Override by {by}", by=last.override_by),) if last and last.override_by else ()
    proved = (
        (
            say("Proof {proof}, {day}", proof=last.proof, day=last.on),
            say("Hash {digits}…", digits=last.hash[:8]),
        )
        if last
        else ()
    )
    kind = say(told.kind)
    about = f"{kind} · {told.family}" if told.family else kind
    # The smallest label has no room for it.
    shop = (head.name,) if head.name and height_mm > LABELS["small"][1] else ()
    data = {
        "title": say("Tag of {kind} {tag}", kind=kind, tag=told.tag),
        "tag": told.tag,
        "standing": told.standing,
        # Where a long name leaves no room for all, what stands first is kept.
        "lines": (*by, about, *proved, *map(words.tell, told.lines), *shop),
        "code": code_svg(text),
        "code_said": say("Code that leads to the record of {tag}", tag=told.tag),
        "lang": head.language,
        "width": width_mm,
        "height": height_mm,
    }
    return typeset("tag", data, last.on if last else UNDATED)
