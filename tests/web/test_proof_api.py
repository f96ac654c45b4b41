"""The API's operations on one proof: the same actions as at the bench, fuzzed on a real proof."""

from base64 import b64encode
from io import BytesIO
from typing import TYPE_CHECKING, Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from benchproof.conduct.families import family_of
from benchproof.record.rows import PartRow, PersonRow
from benchproof.web.apiproof import OPERATIONS
from benchproof.web.instruments import Simulated
from benchproof.web.openapi import describe

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.web.site import Site

SCHEMA = schemathesis.openapi.from_dict(describe(OPERATIONS))


@pytest.fixture
def api(screen: "Screen", site: "Site") -> "Screen":
    kept = family_of(site.store, "valley-coded-7")
    file = site.store.files.put(kept.content)
    site.store.parts.add(PartRow("T-1", kept.family.name, file, site.store.now()))
    site.store.people.add(PersonRow("MK", "invented"))
    new = {"part": "T-1", "meter": "ordinary-handheld", "by": "MK"}
    assert screen.client.post("/api/proofs", json=new).status_code == 201
    return screen


def test_a_whole_proof_by_a_program(api: "Screen", site: "Site") -> None:
    """With the simulated bench: taken, turned, remarked, photographed, withdrawn, closed."""
    site.plugged = Simulated()
    send = api.client.post

    def done(what: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = send(f"/api/proofs/T-1.1/{what}", json=body)
        assert answer.status_code == 201, answer.text
        told: dict[str, Any] = answer.json()
        return told

    try:
        stands = api.client.get("/api/proofs/T-1.1").json()
        stands = done("taken", {"events": stands["events"]})
        stale = send("/api/proofs/T-1.1/taken", json={"events": stands["events"] - 1})
        assert stale.json()["events"] == stands["events"]
        stands = done("withdrawals", {"event": stands["events"], "reason": "slipped"})
        reading = {"position": "P", "pins": "A-E", "value": "0.3", "by": "MK"}
        done("readings", reading)
        turned = done("turns", {"note": "two degrees back"})
        back = {"event": turned["events"], "by": "MK", "reason": "another part"}
        stands = done("turns/taken-back", back)
        assert stands["as_found"] is None
        assert stands["turns"][0]["taken_back"] == "another part"
        assert send("/api/proofs/T-1.1/turns/taken-back", json=back).status_code == 409
        done("turns", {"note": "two degrees back"})
        picture = BytesIO()
        Image.new("RGB", (8, 8)).save(picture, "PNG")
        done("photographs", {"content": b64encode(picture.getvalue()).decode(), "what": "crack"})
        stands = done("remarks", {"text": "clean"})
        for _ in range(90):
            if stands["next"]["position"] is None:
                break
            stands = done("taken", {"events": stands["events"]})
        assert stands["verdict"] == "pass"
        assert stands["against"] == []
        assert done("closing", {})["closed"]["outcome"] == "accepted"
        after = send("/api/proofs/T-1.1/readings", json=reading)
        assert after.status_code == 409
        assert "closed as accepted" in after.json()["problem"]
    finally:
        site.plugged.close()


def test_a_page_of_another_origin_changes_no_proof(api: "Screen") -> None:
    before = api.client.get("/api/proofs/T-1.1").json()["events"]
    bodies: dict[str, dict[str, Any]] = {
        "remarks": {"text": "evil"},
        "closing": {"outcome": "abandoned"},
        "readings": {"position": "P", "pins": "A-E", "value": "0.3"},
    }
    for what, body in bodies.items():
        for headers in ({"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}):
            answer = api.client.post(f"/api/proofs/T-1.1/{what}", json=body, headers=headers)
            assert answer.status_code == 403
        # The types that a form of another page can send.
        for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
            sent = api.client.post(
                f"/api/proofs/T-1.1/{what}", content=b"{}", headers={"content-type": kind}
            )
            assert sent.status_code == 415
    assert api.client.get("/api/proofs/T-1.1").json()["events"] == before


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.name)
def test_nothing_that_is_sent_breaks_a_proof(
    api: "Screen",
    operation: Any,  # noqa: ANN401  (an operation)
) -> None:
    """Send what the description allows and what it does not, for a proof that there is."""
    described = SCHEMA[operation.path][operation.method]
    good = described.as_strategy(generation_mode=schemathesis.GenerationMode.POSITIVE)
    bad = described.as_strategy(generation_mode=schemathesis.GenerationMode.NEGATIVE)

    @settings(
        max_examples=25,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.one_of(good, bad))
    def send(case: Any) -> None:  # noqa: ANN401  (a case)
        case.path_parameters = {"tag": "T-1.1"}
        kwargs = case.as_transport_kwargs(base_url="http://127.0.0.1:8780")
        kwargs.pop("cookies", None)
        if isinstance(kwargs.get("data"), bytes | str):
            kwargs["content"] = kwargs.pop("data")
        answer = api.client.request(**kwargs)
        assert answer.status_code < 500, answer.text
        if answer.status_code != operation.status and answer.content:
            assert "problem" in answer.text or answer.status_code in (405, 413, 421)

    send()
    assert api.client.get("/api/proofs/T-1.1").status_code == 200
    assert api.get("/proof/T-1.1").status == 200
