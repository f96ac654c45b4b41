"""What a proof stands on, from the files that its events name by content.

Tabulating a family's hypotheses takes far longer than anything done with them, so the last few
are kept, by the content of the files that they were made from.
"""

from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256

from benchproof.diagnose.priors import read_priors
from benchproof.examine.ground import Basis, Ground
from benchproof.family.model import Family
from benchproof.network.chart import completed
from benchproof.network.files import read_family
from benchproof.plan.bench import Bench, read_bench
from benchproof.proof.events import Opened
from benchproof.proof.problems import ProofProblem
from benchproof.reading.meter import Meter
from benchproof.reading.meterfile import read_meter

Files = Mapping[str, bytes]
"""Content by its SHA-256 in hexadecimal."""


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
    basis = _basis(
        opened.family,
        content(files, opened.family_file),
        content(files, opened.priors_file),
        library,
    )
    return Ground(
        basis,
        meter_of(content(files, opened.meter_file), "the usual meter"),
        bench_of(content(files, opened.bench_file), "the usual bench"),
        mode=opened.mode,
    )


@lru_cache(maxsize=4)
def _basis(
    name: str, family: bytes, priors: bytes, library: tuple[tuple[str, bytes], ...]
) -> Basis:
    key = sha256()
    for part in (name.encode(), family, priors, *(x for n, b in library for x in (n.encode(), b))):
        key.update(sha256(part).digest())
    found = _family(name, family)
    others = tuple(_family(other, data) for other, data in library)
    return Basis(key.hexdigest(), found, read_priors(priors, "priors.toml", found.name), others)


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
