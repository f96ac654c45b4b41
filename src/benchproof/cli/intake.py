"""What `core` and `part` share: grading by eye, with photographs."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON, STORE
from benchproof.cli.output import echo, styled
from benchproof.cli.store import completing, opened_store
from benchproof.conduct.people import check_somebody
from benchproof.face.done import grades_noted
from benchproof.family.sentence import did_you_mean, quoted
from benchproof.record.photographs import MOST_BYTES
from benchproof.record.regularfile import read_regular
from benchproof.shop.condition import (
    CHECKLIST,
    GRADES,
    SEIZED,
    consequence,
    item_named,
    latest,
)

if TYPE_CHECKING:
    from benchproof.record.rows import ConditionRow


def item_grades(
    _: click.Context, option: click.Parameter, value: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    """Return items and grades from "bent pins=slight", each item once."""
    graded = tuple(_item_grade(one, option) for one in value)
    items = [item for item, _ in graded]
    for item in items:
        if items.count(item) > 1:
            raise click.BadParameter(f"{quoted(item)} is graded twice; say it once.", param=option)
    return graded


def _item_grade(value: str, option: click.Parameter) -> tuple[str, str]:
    item, sign, grade = value.partition("=")
    names = [known.name for known in CHECKLIST]
    if item not in names:
        raise click.BadParameter(
            f"{quoted(item)} is not on the checklist; {did_you_mean(item, names)}", param=option
        )
    if not sign or grade not in GRADES:
        raise click.BadParameter(
            f"type {item}=GRADE, a grade of {', '.join(GRADES)}.", param=option
        )
    return item, grade


def photograph_bytes(name: str) -> bytes:
    """Return the content of a photograph, or so much that the archive refuses it as too large.

    Raises
    ------
    OSError
        If it cannot be read.
    """
    return read_regular(Path(name), MOST_BYTES + 1)


def note_command(what: Literal["core", "part"], example: str) -> click.Command:
    """Return the command that notes how a core or a part looks."""

    @click.command("note", help=f"Note how the {what} TAG looks: {example}")
    @click.argument("tag", shell_complete=completing(f"{what}s"))
    @click.argument(
        "graded", metavar="ITEM=GRADE...", nargs=-1, required=True, callback=item_grades
    )
    @click.option("--remark", default="", help="What was seen, in words.")
    @click.option("--photograph", metavar="FILE", help="A picture of it.")
    @click.option(
        "--by", metavar="INITIALS", shell_complete=completing("people"), help="Who saw it."
    )
    @STORE
    @JSON
    def note(
        tag: str,
        graded: tuple[tuple[str, str], ...],
        remark: str,
        photograph: str | None,
        by: str | None,
        store: str | None,
        as_json: bool,
    ) -> None:
        if len(graded) > 1 and (remark or photograph is not None):
            raise click.UsageError(
                "--remark and --photograph are of one item; note that one by itself."
            )
        content = None if photograph is None else photograph_bytes(photograph)
        with opened_store(store) as archive:
            archive.register(f"{what}s").get(tag)
            check_somebody(archive, by)
            kept = None if content is None else archive.photographs.put(content, photograph or "")
            of = {what: tag}
            for item, grade in graded:
                archive.conditions.note(
                    core=of.get("core"),
                    part=of.get("part"),
                    item=item,
                    grade=grade,
                    remark=remark,
                    photograph=kept,
                    by=by,
                )
        if as_json:
            noted = [(item, item_named(item).graded(grade)) for item, grade in graded]
            print_json(grades_noted(tag, noted))
            return
        for item, grade in graded:
            print_noted(item, grade)

    return note


def print_noted(item: str, grade: str) -> None:
    """Print what follows from a grade, and the caution where it belongs."""
    graded = item_named(item).graded(grade)
    echo(f"{item}, {grade} -> {graded.consequence}. {graded.why}")
    if item == "shaft corrosion" and grade != "sound":
        echo(SEIZED)


def print_conditions(notes: Sequence["ConditionRow"]) -> None:
    """Print what was seen, and what follows from all of it."""
    for note in notes:
        remark = f" ({note.remark})" if note.remark else ""
        seen = f"; photograph {note.photograph[:12]}" if note.photograph else ""
        echo(f"  seen: {note.item}: {note.grade}{remark}{seen}")
    found = consequence(latest(notes))
    if found is not None:
        echo(styled(f"  consequence: {found.value}", bold=True))
