"""Who is let in, and what every answer carries."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient

from benchproof.web.app import make_app
from benchproof.web.devices import GOOD_S, MOST_MISTAKES, Devices
from benchproof.web.security import HEADERS, MOST_BODY
from benchproof.web.site import Site

if TYPE_CHECKING:
    from tests.web.conftest import Screen

PATHS = ("/", "/all", "/proofs", "/cores", "/chart", "/settings", "/nothing", "/api/cores",
         "/api/openapi.json", "/static/bench.css", "/static/nothing",
         "/proofs/no-such")  # fmt: skip


def core_form(screen: "Screen", tag: str = "C-9") -> dict[str, str]:
    return {"token": screen.token, "tag": tag}


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_carries_the_policy(screen: "Screen", path: str) -> None:
    response = screen.client.get(path)
    for name, value in HEADERS.items():
        assert response.headers[name] == value
    assert "unsafe" not in response.headers["content-security-policy"]
    assert "script-src 'self'" in response.headers["content-security-policy"]


def test_a_name_that_is_pointed_at_us_is_refused(screen: "Screen") -> None:
    for host in ("evil.example:8780", "127.0.0.1.evil.example:8780", "127.0.0.1:81", "", "[::1"):
        response = screen.client.get("/proofs", headers={"host": host})
        assert response.status_code == 421, host
        assert "Proofs" not in response.text
    for host in ("localhost:8780", "LOCALHOST:8780", "127.0.0.1:8780"):
        assert screen.client.get("/proofs", headers={"host": host}).status_code == 200


def test_a_page_of_another_origin_changes_nothing(screen: "Screen", site: Site) -> None:
    form = core_form(screen)
    for headers in (
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8780"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        assert screen.client.post("/cores", data=form, headers=headers).status_code == 403
    body = {"tag": "C-9"}
    for headers in ({"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}):
        assert screen.client.post("/api/cores", json=body, headers=headers).status_code == 403
    # What a page can send without asking first is not JSON by its type.
    for kind in ("text/plain", "application/x-www-form-urlencoded", ""):
        sent = screen.client.post(
            "/api/cores", content=b'{"tag":"C-9"}', headers={"content-type": kind}
        )
        assert sent.status_code == 415
    assert site.store.cores.list() == []
    ours = {"origin": "http://127.0.0.1:8780", "sec-fetch-site": "same-origin"}
    assert screen.client.post("/cores", data=form, headers=ours).status_code == 303
    assert [row.tag for row in site.store.cores.list()] == ["C-9"]


def test_no_answer_invites_another_origin(screen: "Screen") -> None:
    headers = {"origin": "https://evil.example", "access-control-request-method": "POST"}
    asked = screen.client.options("/api/cores", headers=headers)
    assert asked.status_code == 405
    assert "access-control-allow-origin" not in asked.headers
    read = screen.client.get("/api/cores", headers={"origin": "https://evil.example"})
    assert "access-control-allow-origin" not in read.headers


def test_a_form_needs_the_token_of_its_session(screen: "Screen", site: Site) -> None:
    for token in ("", "x", screen.token[:-1], "ü"):
        assert screen.client.post("/cores", data={"token": token, "tag": "C-9"}).status_code == 403
    screen.client.cookies.clear()
    assert screen.client.post("/cores", data=core_form(screen)).status_code == 403
    assert site.store.cores.list() == []


def test_the_session_is_kept_from_scripts_and_other_sites(site: Site) -> None:
    client = TestClient(make_app(site), base_url="http://127.0.0.1:8780", client=("127.0.0.1", 1))
    cookie = client.get("/").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_a_body_that_is_too_large_is_refused(screen: "Screen") -> None:
    headers = {"content-length": str(MOST_BODY + 1)}
    assert screen.client.post("/cores", content=b"", headers=headers).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(MOST_BODY // 1_000_000 + 2):
            yield b"0" * 1_000_000

    # Without a stated length it is counted as it comes.
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert screen.client.post("/cores", content=endless(), headers=kind).status_code in (400, 413)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/..%2f..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/photographs/..%2f..%2fkey",
        "/align/..%2f..%2fetc%2fpasswd",
        "/foretell/%2fetc%2fpasswd",
        "/parts?family=/etc/passwd",
        "/chart?like=../../etc/passwd",
    ],
)
def test_no_path_leads_out(screen: "Screen", path: str) -> None:
    response = screen.client.get(path)
    assert response.status_code in (404, 405)
    assert "root:" not in response.text
    assert "import" not in response.text


def test_an_upload_that_is_no_photograph_is_refused(screen: "Screen", site: Site) -> None:
    screen.post("/cores", tag="C-9")
    form = {"token": screen.token, "item": "bent pins", "grade": "slight"}
    files = {"photograph": ("a.jpg", b"<svg onload=alert(1)>", "image/jpeg")}
    response = screen.client.post("/cores/C-9", data=form, files=files)
    assert response.status_code == 400
    assert "is no photograph" in response.text
    assert site.store.conditions.list(core="C-9") == []
    assert site.store.photographs.list() == []


def test_what_was_typed_is_shown_and_not_run(screen: "Screen") -> None:
    screen.post("/cores", tag="C-9", note="<script>alert(1)</script>")
    assert "<script>alert" not in screen.get("/cores/C-9").text
    assert "&lt;script&gt;alert" in screen.get("/cores/C-9").text


def test_a_device_without_the_code_gets_nothing(
    from_network: Callable[[], TestClient], site: Site
) -> None:
    client = from_network()
    for path in ("/", "/proofs", "/cores", "/api/cores", "/api/openapi.json", "/align/x/live"):
        response = client.get(path)
        assert response.status_code == 403
        assert response.text == "This device is not paired with the bench.\n"
        page = client.get(path, headers={"accept": "text/html"})
        assert (page.status_code, page.headers["location"]) == (303, "/pair")
    assert client.post("/api/cores", json={"tag": "C-9"}).status_code == 403
    assert client.post("/cores", data={"tag": "C-9"}).status_code == 403
    assert site.store.cores.list() == []


def test_a_device_from_the_network_gets_nothing_without_lan(site: Site) -> None:
    client = TestClient(make_app(site), base_url="http://127.0.0.1:8780", client=("192.0.2.7", 1))
    for path in ("/", "/pair", "/static/bench.css"):
        assert client.get(path, headers={"accept": "application/json"}).status_code == 403


def form_token(page: str) -> str:
    return page.split('name="token" value="')[1].split('"')[0]


def test_a_device_with_the_code_is_let_in_once(
    from_network: Callable[[], TestClient], devices: Devices
) -> None:
    code = devices.new_code()
    client = from_network()
    page = client.get("/pair")
    form = {"token": form_token(page.text), "code": f"{code[:4]} {code[4:]}", "name": "tablet"}
    paired = client.post("/pair", data=form)
    assert paired.status_code == 303
    cookie = next(c for c in paired.headers.get_list("set-cookie") if "device" in c).lower()
    assert "secure" in cookie
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert client.get("/proofs").status_code == 200
    assert [one.name for one in devices.list()] == ["tablet"]
    # The code was for one device.
    other = from_network()
    form["token"] = form_token(other.get("/pair").text)
    assert other.post("/pair", data=form).status_code == 403
    # A paired device pairs no other, and one that is forgotten is out.
    token = form_token(client.get("/cores").text)
    assert client.post("/settings", data={"token": token, "do": "code"}).status_code == 403
    devices.forget(devices.list()[0].key)
    assert client.get("/proofs").status_code == 403


def test_a_code_runs_out_and_bears_few_mistakes(tmp_path: Path) -> None:
    time = [0.0]
    devices = Devices(tmp_path / "devices.json", lambda: time[0])
    assert devices.pair("", "x") is None
    code = devices.new_code()
    time[0] = GOOD_S + 1.0
    assert devices.pair(code, "late") is None
    code = devices.new_code()
    wrong = "1" * len(code) if code[0] != "1" else "2" * len(code)
    for _ in range(MOST_MISTAKES):
        assert devices.pair(wrong, "guess") is None
    assert devices.pair(code, "after too many guesses") is None
    held = devices.pair(devices.new_code(), "tablet")
    assert held is not None
    # Kept, but never as it is.
    assert held not in (tmp_path / "devices.json").read_text()
    assert Devices(tmp_path / "devices.json").knows(held)
    (tmp_path / "devices.json").write_text("spoilt")
    assert not Devices(tmp_path / "devices.json").knows(held)


def test_only_the_owner_reads_the_keys(site: Site) -> None:
    assert (site.desk / "key").stat().st_mode & 0o077 == 0
