"""Mutants of a module: each differs from it, runs, and few of the safety rule's are tried here."""

import ast
from pathlib import Path

import pytest

import benchproof
from mutants import GROUPS, Fate, Kept, drawn, equivalents, table
from mutation import mutants_of

PACKAGE = Path(benchproof.__file__).parent
SOURCE = '''"""Doc."""
__all__ = ["least", "most"]
MOST = 3
def least(a: int, *, b: bool = True) -> bool:
    """Doc."""
    if a < MOST and not b:
        return any(x > 0 for x in (a, 1) if x)
    raise ValueError("several words")
'''


def test_what_is_changed() -> None:
    changes = {mutant.name for mutant in mutants_of(SOURCE)}
    assert changes >= {
        "MOST: 3 -> 4",
        "least: True -> False",
        "least: a < MOST -> a <= MOST",
        "least: a < MOST -> a >= MOST",
        "least: a < MOST and (not b) -> a < MOST or not b",
        "least: a < MOST and (not b) -> a < MOST",
        "least: not b -> b",
        "least: any -> all",
        "least: (a, 1) -> (a,)",
        "least: raise ValueError('several words') -> pass",
        "least: for x in (a, 1) if x -> for x in (a, 1)",
    }
    assert not [change for change in changes if "Doc" in change or "__all__" in change]
    lines = {mutant.line for mutant in mutants_of(SOURCE, ("MOST",))}
    assert lines == {3}


def test_no_two_mutants_are_told_alike() -> None:
    source = "def both(a: int) -> int:\n    return min(1.0 - a, 1.0) if a > 1.0 else a\n"
    changes = [mutant.change for mutant in mutants_of(source) if "1.0 -> 2.0" in mutant.change]
    assert changes == ["1.0 -> 2.0", "1.0 -> 2.0 (2)", "1.0 -> 2.0 (3)"]


def test_every_mutant_is_another_module_that_compiles() -> None:
    source = (PACKAGE / "family" / "safety.py").read_text(encoding="utf-8")
    mutants = mutants_of(source)
    assert len(mutants) > 200
    written = ast.unparse(ast.parse(source))
    for mutant in mutants[::7]:
        assert ast.unparse(mutant.tree) != written, mutant.name
        compile(mutant.tree, "mutant", "exec")


def test_a_mutant_of_the_rule_guards_other_cells() -> None:
    """One of them, run by hand: the tests of the rule would see it."""
    source = (PACKAGE / "family" / "danger.py").read_text(encoding="utf-8")
    (mutant,) = (m for m in mutants_of(source, ("notes_on",)) if m.change == "any -> all")
    space: dict[str, object] = {"__name__": "benchproof.family.danger"}
    exec(compile(mutant.tree, "mutant", "exec"), space)
    notes = space["notes_on"]
    assert callable(notes)
    assert notes([]) != ()


def test_equivalent_mutants_exist_and_say_why() -> None:
    targets = {t.module: t for group in GROUPS.values() for t in group.targets}
    for module, told in equivalents().items():
        source = (PACKAGE.parent / (module.replace(".", "/") + ".py")).read_text(encoding="utf-8")
        names = {mutant.name for mutant in mutants_of(source, targets[module].within)}
        assert set(told) <= names
        assert all(len(why.split()) > 4 for why in told.values())


def test_counts_and_survivors_are_told() -> None:
    target = GROUPS["safety"].targets[0]
    first, second, *_ = mutants_of(SOURCE)
    told = table([(target, first, Fate.KILLED), (target, second, Fate.SURVIVED)])
    assert "| `benchproof.family.safety` | 2 | 1 | 0 | 1 | 0 | 0 |" in told
    assert f"`{second.name}`" in told
    assert first.name not in told


def test_more_mutants_are_drawn_with_all_of_fewer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(PACKAGE.parents[1])
    every, most = (drawn(GROUPS["judge"], n) for n in (None, 40))
    few = [mutant.name for _, mutant in drawn(GROUPS["judge"], 12)]
    assert few == [mutant.name for _, mutant in most][:12]
    assert len(few) == 12
    assert {mutant.name for _, mutant in most} < {mutant.name for _, mutant in every}


def test_a_run_goes_on_from_what_was_kept_until_what_it_rests_on_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    one, other = Path("tests/one/test_one.py"), Path("tests/one/test_other.py")
    one.parent.mkdir(parents=True)
    for test in (one, other):
        test.write_text("one", encoding="utf-8")
    target, second_target, *_ = GROUPS["safety"].targets
    first, second, third, *_ = mutants_of(SOURCE)

    def kept(package: str = "the package") -> Kept:
        return Kept(Path("kept"), package, ("tests/one",))

    run = kept()
    run.keep(run.key(target, first), Fate.KILLED, f"{one}::test_it[A-E]")
    run.keep(run.key(target, second), Fate.SURVIVED)
    assert kept().fates[kept().key(target, first)] is Fate.KILLED
    assert kept().fates[kept().key(target, second)] is Fate.SURVIVED
    for key in (
        kept().key(target, third),
        kept().key(second_target, first),
        kept("another package").key(target, first),
    ):
        assert key not in kept().fates
    other.write_text("another", encoding="utf-8")
    assert [*kept().fates.values()] == [Fate.KILLED]
    one.write_text("another", encoding="utf-8")
    assert kept().fates == {}
