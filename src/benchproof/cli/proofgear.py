"""What a proof is taken with, from the archive and from files: meter and bench."""

from typing import TYPE_CHECKING

from benchproof.cli.files import Refused, named_bytes, shown_name
from benchproof.conduct.work import now

if TYPE_CHECKING:
    from benchproof.proof.events import BenchChosen, MeterChosen
    from benchproof.record.store import Store


def _gear(archive: "Store", name: str, kind: str) -> "tuple[bytes, str, str, str] | None":
    """Return a piece of gear's file, when it was calibrated, when it is due, and its tag.

    None if the archive has none of this name.
    """
    from benchproof.record.problems import NoSuch

    try:
        row = archive.gear.get(name)
    except NoSuch:
        return None
    if row.kind != kind or row.file is None:
        raise Refused(
            f"{name}: this piece of gear is no {kind} with a file; give it one, or "
            f"name a file of a {kind}."
        )
    dates = [day.isoformat() if day else "" for day in (row.calibrated_on, row.due_on)]
    return archive.files.get(row.file), dates[0], dates[1], row.tag


def chosen_meter(
    archive: "Store", name: str, by: str, lead_ohm: float | None, ambient_c: float | None
) -> "MeterChosen":
    """Return the event that chooses a meter: a tag of the gear, a file, or one that comes along.

    Raises
    ------
    Refused
        If it is none of these.
    BadFile
        With every mistake in its file.
    """
    from benchproof.proof.events import MeterChosen
    from benchproof.reading.meterfile import read_meter

    gear = _gear(archive, name, "meter")
    data, calibrated_on, due_on, tag = gear or (named_bytes("meters", name), "", "", "")
    meter = read_meter(data, shown_name(name))
    return MeterChosen(
        at=now(),
        by=by,
        file=archive.files.put(data),
        name=meter.name,
        tag=tag,
        lead_ohm=lead_ohm,
        ambient_c=ambient_c,
        calibrated_on=calibrated_on,
        due_on=due_on,
    )


def chosen_bench(archive: "Store", name: str, by: str) -> "BenchChosen":
    """Return the event that chooses a bench: a tag of the gear, a file, or one that comes along.

    Raises
    ------
    Refused
        If it is none of these.
    BadFile
        With every mistake in its file.
    """
    from benchproof.plan.bench import read_bench
    from benchproof.proof.events import BenchChosen

    gear = _gear(archive, name, "selector")
    data = gear[0] if gear else named_bytes("benches", name)
    return BenchChosen(now(), by, archive.files.put(data), read_bench(data, shown_name(name)).name)
