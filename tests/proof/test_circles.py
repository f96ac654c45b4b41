"""The modules of a proof import each other in one direction only, for types too."""

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import benchproof.proof

FOLDER = Path(benchproof.proof.__file__).parent


def imported(module: Path) -> set[str]:
    """Return the modules of the folder that a module imports, wherever in it that stands."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    names = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    return {name.rpartition(".")[2] for name in names if name.startswith("benchproof.proof.")}


def test_no_module_imports_itself_round_about() -> None:
    graph = {module.stem: imported(module) for module in FOLDER.glob("*.py")}
    assert "order" in graph["history"]
    # It raises at a circle, and names it.
    order = list(TopologicalSorter(graph).static_order())
    assert order.index("events") < order.index("history") < order.index("state")
