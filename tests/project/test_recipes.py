"""The table of CONTRIBUTING that says which files change names what is there, and all of it."""

import re
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[2]
SOURCE = PROJECT / "src" / "benchproof"

# What came with the coil of copper wire, the first kind of branch that was added.
OF_THE_COIL = {
    "CHANGELOG.md",
    "docs/diagnosis.md",
    "docs/family.md",
    "src/benchproof/diagnose/priors.toml",
    "src/benchproof/network/branches/coil.py",
    "src/benchproof/network/branches/kinds.py",
    "tests/family/test_family_file.py",
    "tests/family/test_schema.py",
    "tests/network/branches/test_coil.py",
}
# One of each kind, by the names that the code has for it.
EXAMPLES = {
    "a branch kind": r"\bCoil\b",
    "an evidence kind": r"\b(MeasuredOffset|OffsetMeasured)\b",
    "a view": r"\bWindowView\b",
}


def recipes() -> dict[str, set[str]]:
    """Return what can be added, and the files that then change."""
    text = (PROJECT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    table = text.partition("## Which files change\n")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (an? [\w ]+) \| (.+) \|$", table, flags=re.MULTILINE)
    return {what: set(re.findall(r"`([\w./-]+\.\w+)`", files)) for what, files in rows}


def test_it_says_what_to_add() -> None:
    told = ["a branch kind", "a part kind", "an assembly", "an evidence kind", "a view"]
    assert list(recipes()) == told


@pytest.mark.parametrize("what", recipes())
def test_every_file_named_is_there(what: str) -> None:
    files = recipes()[what]
    assert files
    assert [file for file in sorted(files) if not (PROJECT / file).is_file()] == []


def test_what_came_with_the_coil_is_named() -> None:
    assert recipes()["a branch kind"] >= OF_THE_COIL


@pytest.mark.parametrize("what", EXAMPLES)
def test_every_module_that_names_the_example_is_named(what: str) -> None:
    named = {
        path.relative_to(PROJECT).as_posix()
        for path in SOURCE.rglob("*.py")
        if re.search(EXAMPLES[what], path.read_text(encoding="utf-8"))
    }
    assert named
    assert named - recipes()[what] == set()


@pytest.mark.parametrize("what", ["a part kind", "an assembly"])
def test_a_kind_of_part_is_a_family_file_and_no_code(what: str) -> None:
    (file,) = recipes()[what]
    assert (PROJECT / file).parent == SOURCE / "families"
    assert file.endswith(".toml")
