"""Families, meters, benches and priors that a person names."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from benchproof.cli.refusals import Refused
from benchproof.conduct.familyanswers import understood
from benchproof.diagnose.priors import Priors, read_priors
from benchproof.family.roles import answered
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.bench import Bench, read_bench
from benchproof.reading.meterfile import read_meter
from benchproof.shipped.read import shipped_priors

if TYPE_CHECKING:
    from benchproof.family.model import Family
    from benchproof.reading.meter import Meter
from benchproof.cli.files import named_bytes, read_bytes, shown_name


def load_family(name: str, say: Sequence[str] = ()) -> "Family":
    """Return a family from a file, standard input or the shipped ones, its chart completed.

    Parameters
    ----------
    name : str
        The file.
    say : sequence of str
        What somebody said of it (`conduct.familyanswers`).

    Raises
    ------
    Refused
        If there is no such file, or what was said is not understood.
    BadFile
        With every mistake in it.
    """
    family = completed(read_family(named_bytes("families", name), shown_name(name)))
    return said_of(family, say)


def said_of(family: "Family", say: Sequence[str]) -> "Family":
    """Return a family with what somebody said of it.

    Raises
    ------
    Refused
        If it is not understood.
    """
    if not say:
        return family

    try:
        return answered(family, understood(family, say))
    except ValueError as error:
        raise Refused(f"--say: {error}.") from None


def load_meter(name: str) -> "Meter":
    """Return a meter from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    return read_meter(named_bytes("meters", name), shown_name(name))


def load_bench(name: str) -> Bench:
    """Return a bench profile from a file or the shipped ones.

    Raises
    ------
    Refused
        If there is no such file.
    BadFile
        With every mistake in it.
    """
    return read_bench(named_bytes("benches", name), shown_name(name))


def load_priors(name: str | None, family: str) -> Priors:
    """Return priors from a file, which may leave out keys, or those that come along.

    Raises
    ------
    BadFile
        With every mistake in it.
    """
    usual = shipped_priors(family)
    return usual if name is None else read_priors(read_bytes(name), shown_name(name), family, usual)
