"""A withdrawn reading: every view names its cell, its value, its kind, who and why."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.web.conftest import now, screen_of
from tests.web.test_every_view import body

from benchproof.cli.main import main
from benchproof.record.rows import PartRow, PersonRow
from benchproof.record.store import open_store
from benchproof.shipped.contents import shipped_bytes
from benchproof.shipped.read import shipped_family
from benchproof.web.desk import desk_of, secret_of
from benchproof.web.site import Site

FAMILY = "valley-coded-7"
GONE = "Reading 3 (A-E in P, 0.7 ohm) withdrawn as wrong key by ab: typed a seven"
COUNTS = (
    "Reading 4 (G-H in D, 0.2 ohm) withdrawn as slip by ab: slid off; it still counts: a slipped "
    "probe reads open, never that"
)


def run(*typed: str, prompt: str = "") -> str:
    result = CliRunner().invoke(main, [*typed], input=prompt)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result.output


def squeezed(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHPROOF_STORE", "shop.sqlite")
    monkeypatch.setenv("BENCHPROOF_BY", "ab")
    with open_store("shop.sqlite", now) as store:
        store.people.add(PersonRow("ab", "invented"))
        file = store.files.put(shipped_bytes("families", FAMILY))
        store.parts.add(PartRow("S-1", shipped_family(FAMILY).name, file, now()))
    run("proof", "open", "S-1", "--meter", "depot-bench")
    return tmp_path


def test_every_view_tells_it_whole(shop: Path) -> None:
    run("proof", "read", "S-1.1", "P", "A-E", "0.7")
    run("proof", "read", "S-1.1", "D", "G-H", "0.2")
    # At the prompt, and as a command.
    said = run("proof", "read", "S-1.1", prompt="u slip slid off\nq\n")
    assert f"{COUNTS.replace('; it still', '. It stays in the record and still')}." in said
    said = run("proof", "undo", "S-1.1", "--kind", "wrong key", "--reason", "typed a seven.")
    assert f"{GONE}. It stays in the record and does not count." in said
    shown = run("proof", "show", "S-1.1")
    assert f"{GONE}.\n{COUNTS}.\n" in shown or f"{COUNTS}.\n{GONE}.\n" in shown
    assert f"{GONE}. Its cell was not read again since; read it again." in shown
    against = (
        "reading 4, G-H in D, 0.2 ohm, withdrawn as slip by ab: slid off, counts nevertheless: a "
        "slipped probe reads open, never that"
    )
    assert against in shown
    told = json.loads(run("proof", "show", "S-1.1", "--json"))
    names = ("position", "pins", "value", "withdrawn_as", "withdrawn", "withdrawn_by", "counts")
    assert [[one[name] for name in names] for one in told["readings"]] == [
        ["P", ["A", "E"], "0.7", "wrong key", "typed a seven.", "ab", False],
        ["D", ["G", "H"], "0.2", "slip", "slid off", "ab", True],
    ]
    with open_store("shop.sqlite", now) as store:
        desk = desk_of(store)
        screen = screen_of(Site(store, desk, secret_of(desk)))
        with screen.client:
            bench = body(screen.get("/proof/S-1.1").text)
            assert GONE in bench
            assert COUNTS in bench
            record = squeezed(body(screen.get("/proofs/S-1.1").text))
            assert "P A-E 0.7" in record
            assert "withdrawn as wrong key by ab: typed a seven" in record
            assert "withdrawn as slip by ab: slid off; it still counts: a slipped" in record
            assert screen.client.get("/api/proofs/S-1.1").json()["readings"] == told["readings"]
            # The page asks for kind and reason, and says the same.
            form = screen.get("/proof/S-1.1?at=D&pins=G-H&do=withdraw&seq=4").text
            assert 'id="f-why"' not in form, "its kind was told, and stands"
            screen.post("/proof/S-1.1/other", position="N", pins="A-E", value="OL")
            form = screen.get("/proof/S-1.1?at=N&pins=A-E&do=withdraw&seq=7").text
            assert 'id="f-why"' in form
            assert 'id="f-kind"' in form
            data = {"token": screen.token, "seq": "7", "kind": "wrong cell", "reason": "on B"}
            done = screen.client.post(
                "/proof/S-1.1/undo", data=data, headers={"hx-request": "true"}
            ).text
            said = "Reading 7 (A-E in N, OL) withdrawn as wrong cell by nobody named: on B. It"
            assert said in done
    run("proof", "close", "S-1.1", "--as", "abandoned")
    for form in ("text", "html"):
        paper = squeezed(run("certificate", "S-1.1", "--format", form, "--out", "-"))
        assert GONE in paper
        assert COUNTS in paper
