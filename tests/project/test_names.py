"""A class name means one thing."""

import ast
from pathlib import Path

SOURCE = Path(__file__).parents[2] / "src" / "benchproof"


def classes(module: str) -> list[str]:
    """Return the classes that a module's text defines, private ones left out."""
    nodes = ast.walk(ast.parse(module))
    names = (node.name for node in nodes if isinstance(node, ast.ClassDef))
    return [name for name in names if not name.startswith("_")]


def twice(modules: dict[str, str]) -> dict[str, list[str]]:
    """Return the class names that are defined more than once, and where."""
    at: dict[str, list[str]] = {}
    for module, text in modules.items():
        for name in classes(text):
            at.setdefault(name, []).append(module)
    return {name: homes for name, homes in at.items() if len(homes) > 1}


def test_a_class_name_is_defined_once() -> None:
    modules = {
        str(path.relative_to(SOURCE)): path.read_text(encoding="utf-8")
        for path in sorted(SOURCE.rglob("*.py"))
    }
    assert len(modules) > 200
    assert twice(modules) == {}


def test_a_name_with_two_meanings_would_be_found() -> None:
    text = "class Known: ...\nclass _Own: ..."
    modules = {"a.py": text, "b.py": text, "c.py": "class Other: ..."}
    assert twice(modules) == {"Known": ["a.py", "b.py"]}
