"""docs/imports.md: a picture of the packages and who imports whom, made from the imports."""

import tomllib
from pathlib import Path

import grimp
import networkx as nx

PROJECT = Path(__file__).parents[1]
DOC = PROJECT / "docs" / "imports.md"
HEAD = """# Who imports whom

Made from the imports by `make docs`; do not edit it. An arrow goes from a package to one that it
imports, be it at the top, in a function, or for types alone. The picture leaves out an arrow where
a longer way leads to the same package; the table has them all. Both tell the highest layer first; a
frame holds the packages of one layer. No arrow goes up and none within a layer, and no module
imports itself round about: `tests/project/test_imports.py` holds this.
"""

Imports = nx.DiGraph


def module_imports() -> "Imports[str]":
    """Return every module with the modules of the project that it imports, types included."""
    graph = grimp.build_graph("benchproof", cache_dir=None, exclude_type_checking_imports=False)
    found: Imports[str] = Imports()
    found.add_nodes_from(graph.modules)
    for module in graph.modules:
        found.add_edges_from(
            (module, other) for other in graph.find_modules_directly_imported_by(module)
        )
    return found


def package_imports(modules: "Imports[str]") -> "Imports[str]":
    """Return every package with the packages that it imports; the front door is none of them."""
    found: Imports[str] = Imports()
    for module, other in modules.edges:
        one, two = (name.split(".")[1:2] for name in (module, other))
        if one and two and one != two:
            found.add_edge(one[0], two[0])
    return found


def layers() -> list[list[str]]:
    """Return the packages layer by layer, highest first, as `pyproject.toml` orders them."""
    told = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = told["tool"]["importlinter"]["contracts"]
    rows = next(one["layers"] for one in contracts if one["name"] == "layers")
    return [[name.strip() for name in row.split("|")] for row in rows]


def circles(imports: "Imports[str]") -> list[list[str]]:
    """Return the modules or packages that import themselves round about, circle by circle."""
    parts = nx.strongly_connected_components(imports)
    return sorted(sorted(part) for part in parts if len(part) > 1)


def upward(imports: "Imports[str]", rows: list[list[str]]) -> list[tuple[str, str]]:
    """Return the imports that do not go down: to a higher layer, or within one."""
    at = {name: number for number, row in enumerate(rows) for name in row}
    return sorted((one, other) for one, other in imports.edges if at[one] >= at[other])


def document() -> str:
    """Return docs/imports.md."""
    packages, rows = package_imports(module_imports()), layers()
    shown = nx.transitive_reduction(packages)
    order = [name for row in rows for name in row]
    lines = [HEAD, "```mermaid", "flowchart TD"]
    for number, row in enumerate(rows):
        # A layer is framed only where it holds several packages.
        if len(row) == 1:
            lines.append(f"    {row[0]}")
        else:
            inner = [f"        {name}" for name in row]
            lines += [f'    subgraph layer{number}[" "]', *inner, "    end"]
    for name in order:
        lines += [f"    {name} --> {other}" for other in order if shown.has_edge(name, other)]
    lines += ["```", "", "| package | imports |", "| --- | --- |"]
    for name in order:
        of = [f"`{other}`" for other in order if packages.has_edge(name, other)]
        lines.append(f"| `{name}` | {', '.join(of) or 'nothing of ours'} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    DOC.write_text(document(), encoding="utf-8")
