"""Whose initials an act bears: somebody of the archive's people, or nobody named."""

from shlex import quote
from typing import TYPE_CHECKING

from benchproof.family.sentence import one_line, quoted
from benchproof.record.problems import NoSuch, RecordProblem

if TYPE_CHECKING:
    from benchproof.record.store import Store

_ADD = "add them with benchproof person add {what}, or on the page under People"


def check_somebody(store: "Store", initials: str | None) -> None:
    """Check that initials are of somebody whom the archive knows; none at all are nobody's.

    Raises
    ------
    RecordProblem
        If they are nobody's; it says how to add that person.
    """
    if not initials:
        return
    try:
        store.people.get(initials)
    except NoSuch:
        how = _ADD.format(what=quote(one_line(initials)))
        raise RecordProblem(
            f"{quoted(initials)}: nobody in this archive has these initials; {how}."
        ) from None


def check_answering(store: "Store", who: str) -> None:
    """Check that who answers for an override is one of the people, by initials or whole name.

    Raises
    ------
    RecordProblem
        If it is none of them.
    """
    known = store.people.list()
    if who and not any(who in (one.initials, one.name) for one in known):
        how = _ADD.format(what=f"INITIALS --name {quote(one_line(who))}")
        raise RecordProblem(
            f"{quoted(who)}: nobody in this archive has this name or these initials, and an "
            f"override is somebody's; {how}."
        )
