"""What a proof stands on: its family, and what the diagnosis knows beforehand.

Tabulating a family's hypotheses takes far longer than anything done with them, so the last few
grounds are kept, by the content of the files that they were made from.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from hashlib import sha256

from benchproof.diagnose.priors import Priors, read_priors
from benchproof.diagnose.tables import Tables, tables_of
from benchproof.family.audit.rules import unusable
from benchproof.family.files import read_family
from benchproof.family.model import Family
from benchproof.family.problems import BadFile, Problem, TooLarge
from benchproof.network.chart import completed
from benchproof.plan.bench import Bench, read_bench
from benchproof.proof.events import Opened
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meter import Meter
from benchproof.reading.meterfile import read_meter

Files = Mapping[str, bytes]
"""Content by its SHA-256 in hexadecimal."""


@dataclass(frozen=True)
class Ground:
    """What a proof stands on.

    Attributes
    ----------
    key : str
        SHA-256 of all the files it was made from; grounds of one key are the same.
    family : Family
        The part's family, its chart completed.
    priors : Priors
        What the diagnosis takes for granted.
    library : tuple of Family
        Other families with which this one might be confused.
    """

    key: str
    family: Family = field(compare=False, repr=False)
    priors: Priors = field(compare=False, repr=False)
    library: tuple[Family, ...] = field(compare=False, repr=False)

    @cached_property
    def _tabulated(self) -> tuple[Tables | None, str]:
        try:
            return tables_of(self.family, self.priors, self.library), ""
        except TooLarge as error:
            return None, f"No diagnosis, only the chart is judged: {error}."

    @property
    def tables(self) -> Tables | None:
        """The hypotheses about the part; None for a chart too large for a diagnosis."""
        return self._tabulated[0]

    @property
    def no_diagnosis(self) -> str:
        """Why there is no diagnosis, a sentence; empty if there is one."""
        return self._tabulated[1]


def ground_of(opened: Opened, files: Files) -> Ground:
    """Return what a proof stands on.

    Raises
    ------
    ProofProblem
        If a file is missing.
    BadFile
        If one cannot be used.
    """
    library = tuple((name, content(files, hash_)) for name, hash_ in opened.library)
    return _ground(
        opened.family,
        content(files, opened.family_file),
        content(files, opened.priors_file),
        library,
    )


@lru_cache(maxsize=4)
def _ground(
    name: str, family: bytes, priors: bytes, library: tuple[tuple[str, bytes], ...]
) -> Ground:
    key = sha256()
    for part in (name.encode(), family, priors, *(x for n, b in library for x in (n.encode(), b))):
        key.update(sha256(part).digest())
    found = _family(name, family)
    if bad := unusable(found):
        raise BadFile(name, [Problem(one.place, one.sentence) for one in bad])
    others = tuple(_family(other, data) for other, data in library)
    return Ground(key.hexdigest(), found, read_priors(priors, "priors.toml", found.name), others)


def _family(name: str, data: bytes) -> Family:
    # With this ending the content tells the form, and a chart keeps the name as it is.
    return completed(read_family(data, f"{name}.chart"))


def content(files: Files, hash_: str) -> bytes:
    """Return the content of a file.

    Raises
    ------
    ProofProblem
        If it is not there.
    """
    if hash_ not in files:
        raise ProofProblem(
            f"The file {hash_[:12]}… that this proof was made with is missing; restore it from a "
            "backup."
        )
    return files[hash_]


@lru_cache(maxsize=16)
def meter_of(data: bytes, name: str) -> Meter:
    """Return the meter of a file's content."""
    return read_meter(data, name)


@lru_cache(maxsize=16)
def bench_of(data: bytes, name: str) -> Bench:
    """Return the bench of a file's content."""
    return read_bench(data, name)
