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
from types import CodeType, FrameType, FunctionType, ModuleType
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# The plug-ins that are installed take longer to load than most tests take.
os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"

import pytest

from figures import write_between
from mutation import Mutant, mutants_of

DOC = Path("docs") / "mutation.md"
EQUIVALENT = Path(__file__).parent / "equivalent_mutants.toml"
LEAST_S = 180.0
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
            Target("src/benchproof/judge/cell.py"),
            Target("src/benchproof/judge/sheet.py"),
            Target(f"{_PROOF}/accept.py"),
            Target(f"{_PROOF}/closing.py"),
            Target(f"{_FAMILY}/audit/checks.py", ("start_outside", "_conducting_outside")),
        ),
        ("tests/judge", "tests/proof/test_accept.py", "tests/family/test_audit.py"),
    ),
}


_Trace = Callable[[FrameType, str, object], Any]


class Fate(StrEnum):
    """What became of a mutant."""

    KILLED = "killed"
    LATE = "timed out"
    SURVIVED = "survived"
    EQUIVALENT = "equivalent"
    NOT_RUN = "not run"


Found = tuple[Target, Mutant, Fate]


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


_OPTIONS = (
    "-o",
    "addopts=--import-mode=importlib",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:terminal",
    "--assert=plain",
)
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


def _importing(modules: set[str]) -> set[str]:
    """Return modules of ours with all those that import them, directly or not."""
    imports: dict[str, set[str]] = {}
    for path in sorted(Path("src").rglob("*.py")):
        name = ".".join(path.relative_to("src").with_suffix("").parts).removesuffix(".__init__")
        found = imports.setdefault(name, set())
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                found |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
            elif isinstance(node, ast.Import):
                found |= {one.name for one in node.names}
    changing, more = set(modules), set(modules)
    while more:
        more = {name for name, found in imports.items() if found & changing} - changing
        changing |= more
    return changing


def _functions(module: ModuleType) -> Iterator[FunctionType]:
    """Yield the functions that a module defines, its classes' too."""
    spaces = [vars(module)]
    while spaces:
        for value in spaces.pop().values():
            if isinstance(value, type) and value.__module__ == module.__name__:
                spaces.append(dict(vars(value)))
            for name in ("__wrapped__", "fget", "func", "__func__"):
                value = getattr(value, name, value)
            if isinstance(value, FunctionType) and value.__module__ == module.__name__:
                yield value


def _codes(code: CodeType) -> Iterator[CodeType]:
    for one in code.co_consts:
        if isinstance(one, CodeType):
            yield one
            yield from _codes(one)


def _taken_over(target: Target, mutant: Mutant) -> bool:
    """Put a mutant's functions into the module as it is loaded; false if none differs."""
    module = importlib.import_module(target.module)
    code = compile(mutant.tree, str(Path(target.path).resolve()), "exec")
    mutated = {one.co_qualname: one for one in _codes(code)}
    differs = False
    for function in _functions(module):
        other = mutated.get(function.__code__.co_qualname)
        if other is not None and other != function.__code__:
            if other.co_freevars != function.__code__.co_freevars:
                return False
            function.__code__ = other
            differs = True
    return differs


@dataclass(eq=False)
class _Bench:
    """Runs mutants where a group's tests are collected, each in a child."""

    group: Group
    every: Sequence[tuple[Target, Mutant]]
    until: float
    tell: Callable[[Found], None]
    found: list[Found] = field(default_factory=list)
    failed: bool = False
    items: dict[str, pytest.Item] = field(default_factory=dict)
    changing: dict[str, set[str]] = field(default_factory=dict)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a failure."""
        self.failed |= report.failed

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run every mutant instead of the tests by themselves."""
        self.items = {item.nodeid: item for item in session.items}
        known = _reached(self, session)
        self.items = {name: self.items[name] for name in known.took_s}
        same = equivalents()
        modules = {target.module for target in self.group.targets if Path(target.path).exists()}
        self.changing = {module: _importing({module}) for module in modules}
        # Nothing is killed by what runs it: the module as it is survives.
        for target in self.group.targets[:1]:
            tree = ast.parse(Path(target.path).read_text(encoding="utf-8"))
            if self._fate(target, Mutant("", 0, "", tree), known) is not Fate.SURVIVED:
                raise SystemExit(f"The tests fail on {target.path} as it is when loaded anew.")
        for target, mutant in self.every:
            late = time.monotonic() > self.until
            fate = Fate.NOT_RUN if late else self._fate(target, mutant, known)
            if fate is Fate.SURVIVED and mutant.name in same.get(target.module, {}):
                fate = Fate.EQUIVALENT
            self.found.append((target, mutant, fate))
            self.tell(self.found[-1])
        return True

    def run(self, tests: Iterable[str]) -> int:
        """Run tests up to the first that fails; return 1 if one does."""
        names = [*tests]
        for name, after in zip(names, [*names[1:], ""], strict=True):
            item = self.items[name]
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=self.items.get(after))
            if self.failed:
                return 1
        return 0

    def _fate(self, target: Target, mutant: Mutant, known: _Known) -> Fate:
        path = str(Path(target.path).resolve())
        quick = sorted(known.took_s, key=known.took_s.__getitem__)
        near = set(known.lines.get((path, mutant.line), ()))
        ordered = [*(t for t in quick if t in near), *(t for t in quick if t not in near)]
        seconds = LEAST_S + 4.0 * sum(known.took_s.values())

        def in_place() -> int:
            return self.run(ordered) if _taken_over(target, mutant) else 0

        def anew() -> int:
            # A table, or what is called while one is made: all that was made of it is made anew.
            for name in [*sys.modules]:
                if name in self.changing[target.module] or name.split(".")[0] == "tests":
                    del sys.modules[name]
            sys.meta_path.insert(0, _Finder(target.module, path, mutant.tree))
            return int(pytest.main(["--maxfail=1", *_OPTIONS, *_QUIET, *ordered]))

        for work in (in_place, anew):
            code = _child(work, seconds)
            if code != 0:
                return Fate.LATE if code is None else Fate.KILLED
        return Fate.SURVIVED


def _reached(bench: _Bench, session: pytest.Session) -> _Known:
    """Run a group's tests once without a mutant, in a child."""
    files = frozenset(str(Path(target.path).resolve()) for target in bench.group.targets)
    keep = Path(f".mutants-{os.getpid()}.json")

    def work() -> int:
        reach = _Reach(files)
        session.config.pluginmanager.register(reach)
        for item in session.items:
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
        told = {
            "lines": [[*at, sorted(tests)] for at, tests in reach.lines.items()],
            "took": reach.took_s,
            "failed": reach.failed,
        }
        keep.write_text(json.dumps(told), encoding="utf-8")
        return 0

    if _child(work, 1800.0) != 0:
        raise SystemExit("The tests could not be run; run them by themselves to see why.")
    told = json.loads(keep.read_text(encoding="utf-8"))
    keep.unlink()
    failed = set(told["failed"])
    lines = {(file, n): [t for t in tests if t not in failed] for file, n, tests in told["lines"]}
    return _Known(lines, {test: s for test, s in told["took"].items() if test not in failed})


def equivalents() -> dict[str, dict[str, str]]:
    """Return the mutants that change nothing that can be seen: by module, each with its reason."""
    import tomllib

    return tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")) if EQUIVALENT.exists() else {}


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
    bench = _Bench(group, every, until, tell)
    tests = [test for test in group.tests if Path(test).exists()]
    pytest.main([*_OPTIONS, *_QUIET, *tests], plugins=[bench])
    return bench.found


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
