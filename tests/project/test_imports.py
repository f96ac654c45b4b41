"""No module imports itself round about, no package imports upward, and the picture says so."""

import importpicture as picture
import networkx as nx


def test_no_module_imports_itself_round_about_not_even_for_types() -> None:
    assert picture.circles(picture.module_imports()) == []


def test_no_package_imports_upward_or_itself_round_about() -> None:
    packages = picture.package_imports(picture.module_imports())
    assert picture.circles(packages) == []
    assert picture.upward(packages, picture.layers()) == []


def test_every_package_has_its_layer() -> None:
    packages = picture.package_imports(picture.module_imports())
    assert set(packages) == {name for row in picture.layers() for name in row}


def test_imports_within_functions_and_for_types_are_seen() -> None:
    modules = picture.module_imports()
    # One of each, as they stand in the code.
    assert modules.has_edge("benchproof.examine", "benchproof.examine.examination")
    assert modules.has_edge("benchproof.web.site", "benchproof.web.devices")


def test_a_circle_and_an_arrow_upward_would_be_found() -> None:
    planted = nx.DiGraph([("low", "high"), ("high", "middle"), ("middle", "low"), ("high", "low")])
    assert picture.circles(planted) == [["high", "low", "middle"]]
    rows = [["high"], ["middle", "beside"], ["low"]]
    assert picture.upward(planted, rows) == [("low", "high")]
    assert picture.upward(nx.DiGraph([("middle", "beside")]), rows) == [("middle", "beside")]


def test_the_picture_is_made_from_the_imports() -> None:
    assert picture.DOC.read_text(encoding="utf-8") == picture.document(), "run: make docs"
    drawn = [line for line in picture.document().splitlines() if "-->" in line]
    order = [name for row in picture.layers() for name in row]
    arrows = [tuple(line.split(" --> ")) for line in map(str.strip, drawn)]
    assert len(arrows) > 15
    assert all(order.index(one) < order.index(other) for one, other in arrows)
