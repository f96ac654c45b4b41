"""Mutation testing: whether tests notice small mistakes put into what keeps people from harm.

Each mutant is run by the tests that reach its line, fastest first, in a process of its own that
reads the mutated module; one that these miss is run by all tests of its group. Counts and every
survivor go into docs/mutation.md.

    python benchmarks/mutants.py [--only GROUP] [--most N] [--seconds S] [--write]
"""

import argparse
import ast
import importlib
import json
import os
import random
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, FrameType

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest

from figures import write_between
from mutation import Mutant, mutants_of

DOC = Path("docs") / "mutation.md"
EQUIVALENT = Path(__file__).parent / "equivalent_mutants.toml"
LEAST_S = 10.0
"""No mutant is given less time than this."""
SEED = 11


@dataclass(frozen=True)
class Target:
    """A module, and the functions of it that are mutated; all if none is named."""

    path: str
    within: tuple[str, ...] = ()

    @property
    def module(self) -> str:
        """Its dotted name."""
        return self.path.removeprefix("src/").removesuffix(".py").replace("/", ".")


@dataclass(frozen=True)
class Group:
    """Modules that are mutated together, and the tests that are to notice.

    `most` mutants are drawn by seed where there are more; None takes all.
    """

    targets: tuple[Target, ...]
    tests: tuple[str, ...]
    most: int | None = None


_FAMILY = "src/benchproof/family"
_PROOF = "src/benchproof/proof"
GROUPS = {
    "safety": Group(
        (
            Target(f"{_FAMILY}/safety.py"),
            Target(f"{_FAMILY}/roles.py"),
            Target(f"{_FAMILY}/danger.py"),
            Target(f"{_FAMILY}/audit/checks.py", ("start_outside", "answered_for", "questions")),
        ),
        ("tests/family/test_safety.py", "tests/family/test_roles.py"),
    ),
    "acceptance": Group(
        (
            Target(f"{_PROOF}/accept.py"),
            Target(f"{_PROOF}/closing.py"),
            Target(f"{_PROOF}/withdrawal.py"),
            Target(f"{_PROOF}/others.py"),
        ),
        ("tests/proof/test_accept.py", "tests/proof/test_evidence.py", "tests/proof/test_rules.py"),
    ),
    "hazards": Group(
        (
            Target("src/benchproof/examine/dangers.py"),
            Target("src/benchproof/examine/examination.py"),
        ),
        ("tests/examine",),
    ),
    "judge": Group(
        (Target("src/benchproof/judge/cell.py"), Target("src/benchproof/judge/sheet.py")),
        ("tests/judge",),
    ),
    "diagnosis": Group(
        (
            Target("src/benchproof/diagnose/diagnosis.py"),
            Target("src/benchproof/diagnose/verdict.py"),
            Target("src/benchproof/diagnose/posterior.py"),
            Target("src/benchproof/diagnose/latent.py"),
            Target("src/benchproof/diagnose/sheets.py"),
        ),
        ("tests/diagnose",),
        60,
    ),
    # At the session's start the rule stood in these.
    "before": Group(
        (
            Target("src/benchproof/judge/cautions.py"),
            Target("src/benchproof/judge/cell.py"),
            Target("src/benchproof/judge/sheet.py"),
            Target(f"{_PROOF}/accept.py"),
            Target(f"{_PROOF}/closing.py"),
            Target(f"{_FAMILY}/audit/checks.py", ("start_outside", "_conducting_outside")),
        ),
        ("tests/judge", "tests/proof/test_accept.py", "tests/family/test_audit.py"),
    ),
}


_Trace = Callable[[FrameType, str, object], object]


class Fate(StrEnum):
    """What became of a mutant."""

    KILLED = "killed"
    LATE = "timed out"
    SURVIVED = "survived"
    EQUIVALENT = "equivalent"
    NOT_RUN = "not run"


class _Mutated(SourceFileLoader):
    """Loads a module as a mutant."""

    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self.tree = tree

    def get_code(self, fullname: str) -> CodeType:
        """Return the mutant's code instead of what stands in the file."""
        code = compile(self.tree, self.path, "exec")
        assert isinstance(code, CodeType), fullname
        return code


@dataclass(frozen=True)
class _Finder:
    name: str
    path: str
    tree: ast.Module

    def find_spec(self, name: str, path: object = None, target: object = None) -> ModuleSpec | None:
        del path, target
        if name != self.name:
            return None
        return spec_from_file_location(name, self.path, loader=_Mutated(name, self.path, self.tree))


@dataclass(eq=False)
class _Reach:
    """Notes which tests reach which lines, and how long each takes."""

    files: frozenset[str]
    lines: dict[tuple[str, int], set[str]] = field(default_factory=lambda: defaultdict(set))
    took_s: dict[str, float] = field(default_factory=dict)
    failed: list[str] = field(default_factory=list)
    now: str = ""

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Note one test."""
        self.now, began = item.nodeid, time.perf_counter()
        sys.settrace(self._call)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            self.took_s[self.now] = time.perf_counter() - began

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note what fails without any mutant: it can notice none."""
        if report.failed:
            self.failed.append(report.nodeid)

    def _call(self, frame: FrameType, event: str, arg: object) -> _Trace | None:
        del event, arg
        return self._line if frame.f_code.co_filename in self.files else None

    def _line(self, frame: FrameType, event: str, arg: object) -> _Trace | None:
        del event, arg
        self.lines[frame.f_code.co_filename, frame.f_lineno].add(self.now)
        return self._line


_OPTIONS = ("-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header", "--tb=no")
_QUIET = ("-W", "ignore::pytest.PytestAssertRewriteWarning")


def _child(work: Callable[[], int], seconds: float) -> int | None:
    """Run work in a child; return its exit code, None if it took too long."""
    sys.stdout.flush()
    pid = os.fork()
    if not pid:
        code = 99
        try:
            os.setsid()
            with Path(os.devnull).open("w") as null:
                os.dup2(null.fileno(), 1)
                os.dup2(null.fileno(), 2)
                code = work()
        finally:
            os._exit(code)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.005)
    with suppress(ProcessLookupError):
        os.killpg(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return None


@dataclass(frozen=True)
class _Known:
    lines: dict[tuple[str, int], list[str]]
    took_s: dict[str, float]


def _reached(group: Group, keep: Path) -> _Known:
    """Run a group's tests once without a mutant."""
    files = frozenset(str(Path(target.path).resolve()) for target in group.targets)

    def work() -> int:
        reach = _Reach(files)
        tests = [test for test in group.tests if Path(test).exists()]
        pytest.main([*_OPTIONS[1:], *_QUIET, *tests], plugins=[reach])
        loaded = [name for name in sys.modules if name.split(".")[0] not in ("benchproof", "tests")]
        told = {
            "lines": [[*at, sorted(tests)] for at, tests in reach.lines.items()],
            "took": reach.took_s,
            "failed": reach.failed,
            "loaded": loaded,
        }
        keep.write_text(json.dumps(told), encoding="utf-8")
        return 0

    _child(work, 1800.0)
    told = json.loads(keep.read_text(encoding="utf-8"))
    keep.unlink()
    if not told["took"]:
        raise SystemExit("No test was run; run them by themselves to see why.")
    failed = set(told["failed"])
    # What the tests need besides ours is loaded once, not once a mutant.
    ours = {path.stem for path in Path(__file__).parent.glob("*.py")}
    for name in told["loaded"]:
        if name.split(".")[0] not in ours and not name.startswith(("_", "conftest")):
            with suppress(Exception):
                importlib.import_module(name)
    lines = {
        (file, line): [t for t in tests if t not in failed] for file, line, tests in told["lines"]
    }
    took = {test: s for test, s in told["took"].items() if test not in failed}
    return _Known(lines, took)


def _is_noticed(target: Target, mutant: Mutant, tests: Sequence[str], seconds: float) -> Fate:
    def work() -> int:
        path = str(Path(target.path).resolve())
        sys.meta_path.insert(0, _Finder(target.module, path, mutant.tree))  # type: ignore[arg-type]
        return int(pytest.main([*_OPTIONS, *_QUIET, *tests]))

    code = _child(work, seconds)
    if code is None:
        return Fate.LATE
    return Fate.SURVIVED if code == 0 else Fate.KILLED


def _lines_of(known: _Known, path: str, mutant: Mutant, last: int) -> list[str]:
    found = {t for n in range(mutant.line, last + 1) for t in known.lines.get((path, n), ())}
    return sorted(found, key=lambda test: known.took_s.get(test, 0.0))


def _fate(target: Target, mutant: Mutant, known: _Known) -> Fate:
    path = str(Path(target.path).resolve())
    near = _lines_of(known, path, mutant, mutant.line)
    every = sorted(known.took_s, key=known.took_s.__getitem__)
    for tests in filter(None, (near[:40], every)):
        seconds = LEAST_S + 4.0 * sum(known.took_s.get(test, 0.0) for test in tests)
        fate = _is_noticed(target, mutant, tests, seconds)
        if fate is not Fate.SURVIVED:
            return fate
    return Fate.SURVIVED


def equivalents() -> dict[str, dict[str, str]]:
    """Return the mutants that change nothing that can be seen: by module, each with its reason."""
    import tomllib

    return tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")) if EQUIVALENT.exists() else {}


Found = tuple[Target, Mutant, Fate]


def tried(
    group: Group, most: int | None, seconds: float, tell: Callable[[Found], None]
) -> list[Found]:
    """Run the mutants of a group.

    Parameters
    ----------
    group : Group
        Which.
    most : int or None
        Draw so many by seed; None for all.
    seconds : float
        After so many, the rest is not run.
    tell : callable
        Is told of each.
    """
    until = time.monotonic() + seconds
    every = [
        (target, mutant)
        for target in group.targets
        if Path(target.path).exists()
        for mutant in mutants_of(Path(target.path).read_text(encoding="utf-8"), target.within)
    ]
    if most is not None and most < len(every):
        every = random.Random(SEED).sample(every, most)
    known = _reached(group, Path(f".mutants-{os.getpid()}.json"))
    same = equivalents()
    found = []
    for target, mutant in every:
        if mutant.name in same.get(target.module, {}):
            fate = Fate.EQUIVALENT
        elif time.monotonic() > until:
            fate = Fate.NOT_RUN
        else:
            fate = _fate(target, mutant, known)
        found.append((target, mutant, fate))
        tell(found[-1])
    return found


def table(found: Iterable[Found]) -> str:
    """Return the counts of each module, and every survivor."""
    counts: dict[str, dict[Fate, int]] = {}
    left = []
    for target, mutant, fate in found:
        counts.setdefault(target.module, dict.fromkeys(Fate, 0))[fate] += 1
        if fate is Fate.SURVIVED:
            left.append(f"- `{target.module}`, `{mutant.name}`")
    rows = [
        f"| `{module}` | {sum(n.values())} | " + " | ".join(str(n[fate]) for fate in Fate) + " |"
        for module, n in counts.items()
    ]
    head = ["| module | mutants | " + " | ".join(Fate) + " |", "|---|" + "--:|" * (len(Fate) + 1)]
    return "\n".join([*head, *rows, *([""] if left else []), *left])


def main() -> None:
    """Run the groups asked for and tell what survived."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--only", choices=sorted(GROUPS), help="one group; all but before if none")
    parser.add_argument("--most", type=int, help="draw so many by seed")
    parser.add_argument("--seconds", type=float, default=3600.0, help="a group may take so long")
    parser.add_argument("--write", action="store_true", help="write into docs/mutation.md")
    asked = parser.parse_args()
    left = False
    for name in [asked.only] if asked.only else [name for name in GROUPS if name != "before"]:
        group, began = GROUPS[name], time.monotonic()

        def tell(one: Found) -> None:
            target, mutant, fate = one
            if fate in (Fate.SURVIVED, Fate.LATE):
                print(f"{fate}: {target.path}:{mutant.line}: {mutant.name}", flush=True)

        found = tried(group, asked.most or group.most, asked.seconds, tell)
        figures = table(found)
        print(f"{name}, {time.monotonic() - began:.0f} s\n{figures}\n", flush=True)
        if asked.write:
            write_between(DOC, name, figures)
        must = name in ("safety", "acceptance")
        left |= must and any(fate is Fate.SURVIVED for _, _, fate in found)
    sys.exit(1 if left else 0)


if __name__ == "__main__":
    main()
