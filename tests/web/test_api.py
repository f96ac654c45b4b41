"""The API: fuzzed from its own description, and the same actions as on the page."""

from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from benchproof.web.api import OPERATIONS
from benchproof.web.openapi import describe
from benchproof.web.site import Site

if TYPE_CHECKING:
    from tests.web.conftest import Screen

SCHEMA = schemathesis.openapi.from_dict(describe(OPERATIONS))


def test_the_description_is_openapi() -> None:
    told = describe(OPERATIONS)
    assert told["openapi"] == "3.1.0"
    paths = {(path, method.upper()) for path, of in told["paths"].items() for method in of}
    assert paths == {(one.path, one.method) for one in OPERATIONS}
    names = [one.name for one in OPERATIONS]
    assert len(names) == len(set(names))


def test_what_is_recorded_here_is_seen_there(screen: "Screen", site: Site) -> None:
    client = screen.client
    assert client.post("/api/cores", json={"tag": "C-1", "missing": "lever"}).status_code == 201
    assert "lever" in screen.get("/cores/C-1").text
    part = {"tag": "S-1", "family": "valley-coded-7", "core": "C-1"}
    assert client.post("/api/parts", json=part).status_code == 201
    twice = client.post("/api/parts", json=part)
    assert twice.status_code == 409
    assert "S-1" in twice.json()["problem"]
    opened = client.post("/api/proofs", json={"part": "S-1", "meter": "ordinary-handheld"})
    assert opened.status_code == 201
    assert opened.json()["proof"] == "S-1.1"
    assert opened.json()["next"]["position"] in ("P", "R", "N", "D", "3", "2", "1")
    assert len(opened.json()["cells"]) == 42
    assert [one["proof"] for one in client.get("/api/proofs?beginning=S").json()] == ["S-1.1"]
    assert client.get("/api/proofs?limit=0").status_code == 422
    assert client.get("/api/proofs?what=1").status_code == 422
    assert site.store.proofs.row("S-1.1").closed_as is None


def test_window_chart_and_foretelling(screen: "Screen") -> None:
    client = screen.client
    window = client.get("/api/families/valley-coded-7/window").json()
    # From the family file: the narrowest dwells end 4 degrees from their detents.
    assert (window["low"], window["high"], window["unit"]) == (-4.0, 4.0, "deg")
    told = client.post("/api/families/valley-coded-7/foretell", json={"offset": 5.0}).json()
    assert told["consequences"][0]["grade"] == "hazard"
    wrong = client.post("/api/families/valley-coded-7/foretell", json={"faults": ["rust"]})
    assert wrong.status_code == 422
    chart = {"chart": "pins,P,R\nA-B,closed,open\nA-B,open,open\n"}
    checked = client.post("/api/chart", json=chart).json()
    assert checked["readable"]
    assert "error" in {one["severity"] for one in checked["findings"]}


@pytest.mark.parametrize(
    ("content", "status"),
    [(b"", 400), (b"{", 400), (b"[]", 422), (b"\xff", 400), (b"[" * 10_000, 400),
     (b'{"tag": 1}', 422), (b'{"tag": "A", "more": 1}', 422), (b'{"tag": "\\u0000"}', 400)],
)  # fmt: skip
def test_a_body_that_is_none_is_refused(screen: "Screen", content: bytes, status: int) -> None:
    headers = {"content-type": "application/json"}
    answer = screen.client.post("/api/cores", content=content, headers=headers)
    assert answer.status_code == status
    assert answer.json()["problem"].endswith(".")


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.name)
def test_nothing_that_is_sent_breaks_it(screen: "Screen", operation: Any) -> None:  # noqa: ANN401
    """Send what the description allows and what not: no 5xx, and each answer is as told."""
    described = SCHEMA[operation.path][operation.method]
    good = described.as_strategy(generation_mode=schemathesis.GenerationMode.POSITIVE)
    bad = _bad(described)
    told = describe(OPERATIONS)

    @settings(
        max_examples=12,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.one_of(good, bad))
    def send(case: Any) -> None:  # noqa: ANN401
        kwargs = case.as_transport_kwargs(base_url="http://127.0.0.1:8780")
        kwargs.pop("cookies", None)
        if isinstance(kwargs.get("data"), bytes | str):
            kwargs["content"] = kwargs.pop("data")
        answer = screen.client.request(**kwargs)
        assert answer.status_code < 500, answer.text
        if answer.status_code == operation.status:
            responses = told["paths"][operation.path][operation.method.lower()]["responses"]
            schema = responses[str(operation.status)]["content"]["application/json"]["schema"]
            jsonschema.validate(answer.json(), {**schema, "components": told["components"]})
        elif answer.headers["content-type"] == "application/json":
            assert answer.json()["problem"]

    send()


def _bad(described: Any) -> st.SearchStrategy[Any]:  # noqa: ANN401
    """Return what breaks the description; nothing for an operation that takes nothing."""
    try:
        found: st.SearchStrategy[Any] = described.as_strategy(
            generation_mode=schemathesis.GenerationMode.NEGATIVE
        )
        return found
    except Exception:
        return st.nothing()


@pytest.mark.parametrize(
    ("body", "status", "sentence"),
    [
        (b'{"chart": ' + b"[" * 400_000, 400, "nested more than 32 deep"),
        (b'{"chart": "a", "x": ' + b"[" * 33 + b"]" * 33 + b"}", 400, "nested more than 32 deep"),
        (b'{"chart": "' + b"x" * 4_100_000 + b'"}', 413, "larger than 4 MB"),
    ],
)
def test_a_body_that_is_too_much_gets_one_sentence(
    screen: "Screen", body: bytes, status: int, sentence: str
) -> None:
    answer = screen.client.post(
        "/api/chart", content=body, headers={"content-type": "application/json"}
    )
    assert answer.status_code == status
    assert sentence in answer.json()["problem"]
