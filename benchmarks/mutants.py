"""Mutation testing: whether tests notice small mistakes put into what keeps people from harm.

Each mutant is run by the tests that reach its line, up to the first that notices: those that
noticed most mutants before, then the fastest. It is run in a process of its own that reads the
mutated module; one that these miss is run by all tests of its group. Counts and every
survivor go into docs/mutation.md. What became of each is kept, so that a run that was stopped goes
on where it was.

    python benchmarks/mutants.py [--only GROUP] [--most N] [--seconds S] [--write]
"""

import argparse
import ast
import hashlib
import importlib
import json
import os
import random
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
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
KEPT = Path(".mutants.jsonl")
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
            Target(f"{_PROOF}/otherproofs.py"),
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
            Target("src/benchproof/diagnose/unknowable.py"),
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


@dataclass(frozen=True)
class Kept:
    """What became of mutants in earlier runs, a line each, so that a stopped run goes on.

    A mutant that was noticed stays so while the test that noticed it stands as it was; any other
    is tried anew once a test of its group changes; and all are once the package does.

    Attributes
    ----------
    path : Path
        Where it is kept.
    package : str
        Text of the package.
    tests : tuple of str
        Files and folders of the group's tests.
    """

    path: Path
    package: str
    tests: tuple[str, ...]

    @cached_property
    def fates(self) -> dict[str, Fate]:
        """What became of each, by key, if the tests that say so are the same."""
        if not self.path.exists():
            return {}
        lines = [*map(json.loads, self.path.read_text(encoding="utf-8").splitlines())]
        now = {tuple(where): _digest(_texts(where)) for _, _, where, _ in lines}
        return {key: Fate(fate) for key, fate, where, by in lines if now[tuple(where)] == by}

    def key(self, target: Target, mutant: Mutant) -> str:
        """Return what a mutant's fate is kept under."""
        return _digest("\0".join((self.package, target.module, ast.unparse(mutant.tree))))

    def keep(self, key: str, fate: Fate, test: str = "") -> None:
        """Keep what became of one, and which test noticed."""
        file = Path(test.split("::")[0])
        where = ["tests/conftest.py", str(file.parent / "conftest.py"), str(file)]
        if not test:
            where = ["tests/conftest.py", *self.tests]
        self.fates[key] = fate
        with self.path.open("a", encoding="utf-8") as lines:
            lines.write(json.dumps([key, fate, where, _digest(_texts(where))]) + "\n")


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _texts(places: Iterable[str]) -> str:
    """Return all that stands in the modules and tables of files and folders."""
    paths = [path for at in places for path in sorted([Path(at), *Path(at).rglob("*")])]
    read = [path for path in paths if path.suffix in (".py", ".toml", ".csv") and path.is_file()]
    return "\0".join(f"{path}\n{path.read_text(encoding='utf-8')}" for path in read)


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

    def load(self, modules: Iterable[str]) -> None:
        """Load modules anew, and note which of their lines that reaches."""
        for module in modules:
            sys.modules.pop(module, None)
            sys.settrace(self._call)
            with suppress(ModuleNotFoundError):
                importlib.import_module(module)
            sys.settrace(None)

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
_LOADING = "while the modules are loaded"
_NO_FUNCTION = 77
"""Exit code of a child that was to change a function, where no function differs."""
_HANDED = Path(f".mutants-{os.getpid()}")
"""What a child hands to the one that started it."""
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
    """What was found without a mutant.

    Attributes
    ----------
    lines : dict of (str, int) to list of str
        The tests that reach each line.
    took_s : dict of str to float
        How long each takes.
    loading : set of (str, int)
        The lines that are reached while the modules are loaded.
    """

    lines: dict[tuple[str, int], list[str]]
    took_s: dict[str, float]
    loading: set[tuple[str, int]]


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


class _Telling:
    """Hands over which test failed."""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note one test."""
        if report.failed:
            _HANDED.write_text(report.nodeid, encoding="utf-8")


@dataclass(eq=False)
class _Bench:
    """Runs mutants where a group's tests are collected, each in a child."""

    group: Group
    every: Sequence[tuple[Target, Mutant]]
    until: float
    tell: Callable[[Found], None]
    kept: Kept
    found: list[Found] = field(default_factory=list)
    failed: bool = False
    items: dict[str, pytest.Item] = field(default_factory=dict)
    changing: dict[str, set[str]] = field(default_factory=dict)
    session: pytest.Session = field(init=False)
    noticed: Counter[str] = field(default_factory=Counter)
    """How many mutants each test was the first to notice."""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a failure, and hand over which test failed."""
        self.failed |= report.failed
        _Telling().pytest_runtest_logreport(report)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run every mutant instead of the tests by themselves."""
        self.session = session
        same = equivalents()

        def is_same(one: tuple[Target, Mutant]) -> bool:
            return one[1].name in same.get(one[0].module, {})

        # Those of which a reason says that nothing notices them come last: each takes all tests.
        for target, mutant in sorted(self.every, key=is_same):
            key = self.kept.key(target, mutant)
            fate = self.kept.fates.get(key, Fate.NOT_RUN)
            if fate is Fate.NOT_RUN and time.monotonic() < self.until:
                fate, test = self._fate(target, mutant, self.known)
                self.kept.keep(key, fate, test)
            if fate in (Fate.SURVIVED, Fate.NOT_RUN) and is_same((target, mutant)):
                fate = Fate.EQUIVALENT
            self.found.append((target, mutant, fate))
            self.tell(self.found[-1])
        return True

    @cached_property
    def known(self) -> "_Known":
        """What the tests reach, found once some mutant is to be run."""
        self.items = {item.nodeid: item for item in self.session.items}
        known = _reached(self, self.session)
        self.items = {name: self.items[name] for name in known.took_s}
        modules = {target.module for target in self.group.targets if Path(target.path).exists()}
        self.changing = {module: _importing({module}) for module in modules}
        # Nothing is killed by what runs it: the module as it is survives.
        for target in self.group.targets[:1]:
            tree = ast.parse(Path(target.path).read_text(encoding="utf-8"))
            same = Mutant("", 0, "", tree, tree, tree)
            key = self.kept.key(target, same)
            if self.kept.fates.get(key) is Fate.SURVIVED:
                continue
            if self._fate(target, same, known)[0] is not Fate.SURVIVED:
                raise SystemExit(f"The tests fail on {target.path} as it is when loaded anew.")
            self.kept.keep(key, Fate.SURVIVED)
        return known

    def run(self, tests: Iterable[str]) -> int:
        """Run tests up to the first that fails; return 1 if one does."""
        names = [*tests]
        for name, after in zip(names, [*names[1:], ""], strict=True):
            item = self.items[name]
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=self.items.get(after))
            if self.failed:
                return 1
        return 0

    def _fate(self, target: Target, mutant: Mutant, known: _Known) -> tuple[Fate, str]:
        """Return what becomes of a mutant, and which test notices."""
        path = str(Path(target.path).resolve())
        near = set(known.lines.get((path, mutant.line), ()))
        ordered = sorted(
            known.took_s, key=lambda t: (t not in near, -self.noticed[t], known.took_s[t])
        )
        seconds = LEAST_S + 4.0 * sum(known.took_s.values())

        def in_place() -> int:
            return self.run(ordered) if _taken_over(target, mutant) else _NO_FUNCTION

        def anew() -> int:
            # A table, or what is called while one is made: all that was made of it is made anew.
            for name in [*sys.modules]:
                if name in self.changing[target.module] or name.split(".")[0] == "tests":
                    del sys.modules[name]
            sys.meta_path.insert(0, _Finder(target.module, path, mutant.tree))
            options = ["--maxfail=1", *_OPTIONS, *_QUIET, *ordered]
            return int(pytest.main(options, plugins=[_Telling()]))

        code = _child(in_place, seconds)
        if code == _NO_FUNCTION or (code == 0 and (path, mutant.line) in known.loading):
            code = _child(anew, seconds)
        test = ""
        if _HANDED.exists():
            test = _HANDED.read_text(encoding="utf-8")
            self.noticed[test] += 1
            _HANDED.unlink()
        if code == 0:
            return Fate.SURVIVED, ""
        return (Fate.LATE if code is None else Fate.KILLED), test


def _reached(bench: _Bench, session: pytest.Session) -> _Known:
    """Run a group's tests once without a mutant, in a child."""
    files = frozenset(str(Path(target.path).resolve()) for target in bench.group.targets)

    def work() -> int:
        reach = _Reach(files)
        session.config.pluginmanager.register(reach)
        for item in session.items:
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
        reach.now = _LOADING
        reach.load([target.module for target in bench.group.targets])
        told = {
            "lines": [[*at, sorted(tests)] for at, tests in reach.lines.items()],
            "took": reach.took_s,
            "failed": reach.failed,
        }
        _HANDED.write_text(json.dumps(told), encoding="utf-8")
        return 0

    if _child(work, 1800.0) != 0:
        raise SystemExit("The tests could not be run; run them by themselves to see why.")
    told = json.loads(_HANDED.read_text(encoding="utf-8"))
    _HANDED.unlink()
    failed = set(told["failed"])
    lines = {(file, n): [t for t in tests if t not in failed] for file, n, tests in told["lines"]}
    took_s = {test: s for test, s in told["took"].items() if test not in failed}
    return _Known(lines, took_s, {at for at, tests in lines.items() if _LOADING in tests})


def equivalents() -> dict[str, dict[str, str]]:
    """Return the mutants that change nothing that can be seen: by module, each with its reason."""
    import tomllib

    return tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")) if EQUIVALENT.exists() else {}


def drawn(group: Group, most: int | None) -> list[tuple[Target, Mutant]]:
    """Return the mutants of a group.

    Parameters
    ----------
    group : Group
        Which.
    most : int or None
        Draw so many by seed, a larger number with all of a smaller one; None for all.
    """
    every = [
        (target, mutant)
        for target in group.targets
        if Path(target.path).exists()
        for mutant in mutants_of(Path(target.path).read_text(encoding="utf-8"), target.within)
    ]
    if most is not None and most < len(every):
        random.Random(SEED).shuffle(every)
        every = every[:most]
    return every


def tried(
    group: Group, most: int | None, seconds: float, tell: Callable[[Found], None]
) -> list[Found]:
    """Run the mutants of a group.

    Parameters
    ----------
    group : Group
        Which.
    most : int or None
        See `drawn`.
    seconds : float
        After so many, the rest is not run.
    tell : callable
        Is told of each.
    """
    until = time.monotonic() + seconds
    tests = [test for test in group.tests if Path(test).exists()]
    kept = Kept(KEPT, _texts(["src/benchproof"]), tuple(tests))
    bench = _Bench(group, drawn(group, most), until, tell, kept)
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
