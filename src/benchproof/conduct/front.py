"""The library's front door: a family, readings and a ground by name, file or content."""

from collections.abc import Sequence
from pathlib import Path

from benchproof.diagnose.priors import Priors
from benchproof.examine.ground import Basis, Ground
from benchproof.family import limits
from benchproof.family.model import Family
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.actions import BenchPlace, Mode
from benchproof.plan.bench import Bench
from benchproof.reading.meter import Meter
from benchproof.reading.sheet import read_readings
from benchproof.reading.value import Reading
from benchproof.record.regularfile import read_regular
from benchproof.shipped.contents import shipped
from benchproof.shipped.read import shipped_bench, shipped_family, shipped_meter, shipped_priors


def load_family(name: str | Path) -> Family:
    """Return a family that comes along, or one from a family file or a chart (CSV, XLSX).

    Raises
    ------
    BadFile
        With every mistake in it.
    OSError
        If it cannot be read.
    """
    if name in shipped("families"):
        return shipped_family(f"{name}")
    return completed(read_family(_content(name), f"{name}"))


def load_readings(
    source: str | Path | bytes, family: Family, meter: Meter | None = None
) -> tuple[Reading, ...]:
    """Return the readings of a sheet: the name of a file (CSV, XLSX), or its content.

    Raises
    ------
    BadFile
        With every mistake in it.
    OSError
        If it cannot be read.
    """
    if isinstance(source, bytes):
        return read_readings(source, "readings.csv", family, meter or shipped_meter())
    return read_readings(_content(source), f"{source}", family, meter or shipped_meter())


def _content(name: str | Path) -> bytes:
    """Return a file's content, or so much of it that it is refused as too large."""
    return read_regular(Path(name), limits.FILE_BYTES.most + 1)


def ground_for(
    family: Family,
    meter: Meter | None = None,
    bench: Bench | None = None,
    *,
    priors: Priors | None = None,
    library: Sequence[Family] | None = None,
    ambient_c: float | None = None,
    mode: Mode = Mode.FIND,
    start: BenchPlace | None = None,
) -> Ground:
    """Return what an examination of a part stands on.

    Parameters
    ----------
    family : Family
        The kind of part.
    meter : Meter or None
        What it is read with; None for an ordinary handheld (invented).
    bench : Bench or None
        How long moves take; None for a selector box (invented).
    priors : Priors or None
        What the diagnosis takes for granted; None for what comes along.
    library : sequence of Family or None
        Other families with which it might be confused; None for those that come along.
    ambient_c : float or None
        Temperature at the meter, degrees Celsius; None for within its calm span.
    mode : Mode
        What the readings are for.
    start : BenchPlace or None
        Where lever and meter stood before the first reading.

    Raises
    ------
    BadFile
        If the chart has a mistake with which nothing can be judged against it.
    """
    others = tuple(map(load_family, shipped("families"))) if library is None else tuple(library)
    known = priors or shipped_priors(family.name)
    return Ground(
        Basis(f"{id(family)} {id(known)}", family, known, others),
        meter or shipped_meter(),
        bench or shipped_bench(),
        ambient_c,
        mode,
        start,
    )
