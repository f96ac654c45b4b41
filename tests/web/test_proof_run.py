"""An automatic run from the page: begun, answered, stopped, and what it refuses."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest
from starlette.testclient import TestClient
from tests.conduct.test_automatic import Table, table
from tests.web.test_doors import form_token
from tests.web.test_proof_meter import said
from tests.web.test_proof_screen import opened as open_one

from benchproof.instrument.dialect import Dialect
from benchproof.proof.events import ReadingSource, ReadingTaken
from benchproof.web.instruments import Gear
from benchproof.web.running import start_run

if TYPE_CHECKING:
    from tests.web.conftest import Screen

    from benchproof.web.devices import Devices
    from benchproof.web.jobs import Job
    from benchproof.web.site import Site

MOST_S = 60.0


@contextmanager
def bench_of(
    site: "Site", lever: str, spoil: dict[tuple[str, str], float] | None = None
) -> Iterator[Table]:
    with table(lever, spoil) as made:
        site.plugged = Gear(made.gear, lambda _: Dialect("standard"))
        yield made
        site.jobs.end()
        site.plugged.close()


@pytest.fixture
def tag(site: "Site") -> str:
    return open_one(site)


def until(what: Callable[[], object]) -> None:
    end = time.monotonic() + MOST_S
    while not what():
        assert time.monotonic() < end, "it does not come to that"
        time.sleep(0.02)


def begun(screen: "Screen", site: "Site", tag: str, **typed: str) -> "Job":
    answer = screen.post(f"/proof/{tag}/run", **typed)
    assert answer.status == 303, answer.text
    job = site.jobs.get(answer.to.rpartition("/")[2])
    assert job is not None
    return job


def taken(site: "Site", tag: str) -> list[ReadingTaken]:
    return [one for one in site.works.standing(tag).state.events if isinstance(one, ReadingTaken)]


def test_a_bench_that_moves_the_lever_reads_all_of_it(
    screen: "Screen", site: "Site", tag: str
) -> None:
    with bench_of(site, "moved"):
        shown = screen.get(f"/proof/{tag}").text
        assert "keep hands and sleeves clear of it" in shown
        assert "part unplugged from the vehicle and de-energised" in shown
        job = begun(screen, site, tag)
        until(lambda: job.state != "running")
    assert (job.state, job.done, job.total) == ("done", 47, 47), job.said
    assert job.said == site.works.standing(tag).state.next.why
    assert job.lines[-1][0] == "no voltage"
    assert {one.source for one in taken(site, tag)} == {ReadingSource.METER}
    page = screen.get(f"/jobs/{job.key}").text
    assert "Done: 47 of 47" in page
    again = screen.post(f"/proof/{tag}/run")
    assert again.status == 409
    assert "nothing more is asked for" in again.text


def test_a_person_moves_the_lever_and_says_that_it_is_there(
    screen: "Screen", site: "Site", tag: str
) -> None:
    with bench_of(site, "person") as bench:
        job = begun(screen, site, tag)
        seen = []
        while job.state == "running":
            until(lambda: job.question or job.state != "running")
            if not job.question:
                break
            page = screen.get(f"/jobs/{job.key}").text
            if job.question not in seen:
                assert job.question in page
                assert "It is there" in page
            seen.append(job.question)
            bench.bench.position = job.question.removeprefix("Lever to ")
            asked = job.asked
            # An answer to an earlier question says nothing of this one.
            screen.post(f"/jobs/{job.key}", do="answer", asked=f"{asked - 1}")
            assert job.asked == asked
            assert job.question
            screen.post(f"/jobs/{job.key}", do="answer", asked=f"{asked}")
            until(lambda at=asked: job.asked != at or not job.question)  # type: ignore[misc]
        assert job.state == "done", job.said
    assert len(seen) == 7
    assert len(taken(site, tag)) == 47


def test_it_is_stopped_while_the_lever_is_waited_for_and_goes_on_later(
    screen: "Screen", site: "Site", tag: str
) -> None:
    with bench_of(site, "person") as bench:
        job = begun(screen, site, tag)
        until(lambda: job.question)
        # Meanwhile nobody else takes the instruments, and nobody waits for them.
        assert "The instruments are at work on T-1.1" in said(
            screen, f"/proof/{tag}/resistor", known="100"
        )
        assert screen.post("/gear/check").status == 409
        screen.post(f"/jobs/{job.key}")
        until(lambda: job.state != "running")
        assert job.state == "stopped"
        assert job.question == ""
        assert not bench.bench.closed
        first = begun(screen, site, tag)
        until(lambda: first.question)
        bench.bench.position = first.question.removeprefix("Lever to ")
        screen.post(f"/jobs/{first.key}", do="answer", asked=f"{first.asked}")
        until(lambda: len(taken(site, tag)) >= 6 and first.question)
        screen.post(f"/jobs/{first.key}")
        until(lambda: first.state != "running")
    assert taken(site, tag)


def test_a_failure_stops_it_if_it_was_told_to(screen: "Screen", site: "Site", tag: str) -> None:
    with bench_of(site, "moved", {("N", "G-H"): float("inf"), ("D", "G-H"): 0.1}):
        job = begun(screen, site, tag, until_failure="yes")
        until(lambda: job.state != "running")
        assert job.said.startswith("Stopped at the first failure: G-H in ")
        page = screen.get(f"/jobs/{job.key}").text
    if job.dangers:
        assert page.index("danger-banner") < page.index("Stopped at the first failure")
    assert any(result == "fail" for _, result, _ in job.lines)


def test_a_bench_that_is_gone_says_so_and_what_was_read_stands(
    screen: "Screen", site: "Site", tag: str
) -> None:
    with bench_of(site, "person") as bench:
        job = begun(screen, site, tag)
        until(lambda: job.question)
        bench.server.close()
        screen.post(f"/jobs/{job.key}", do="answer", asked=f"{job.asked}")
        until(lambda: job.state != "running")
    assert job.state == "failed"
    assert "run it again and it goes on" in job.said


def test_without_a_selector_it_says_what_to_do(screen: "Screen", site: "Site", tag: str) -> None:
    assert "benchproof bench --gear FILE" in screen.get(f"/proof/{tag}").text
    refused = screen.post(f"/proof/{tag}/run")
    assert refused.status == 409
    assert "No selector with a meter that reads by itself" in refused.text


def test_only_the_bench_s_own_computer_starts_and_answers(
    from_network: Callable[[], TestClient], site: "Site", devices: "Devices", tag: str
) -> None:
    code, client = devices.new_code(), from_network()
    form = {"token": form_token(client.get("/pair").text), "code": code, "name": "tablet"}
    assert client.post("/pair", data=form).status_code == 303
    with bench_of(site, "person"):
        page = client.get(f"/proof/{tag}").text
        assert "The part is joined" not in page
        token = {"token": form_token(page)}
        refused = client.post(f"/proof/{tag}/run", data=token)
        assert refused.status_code == 403
        assert "started at the bench" in refused.text
        job = start_run(site, tag, "MK", until_failure=False)
        until(lambda: job.question)
        answer = {**token, "do": "answer", "asked": f"{job.asked}"}
        assert client.post(f"/jobs/{job.key}", data=answer).status_code == 403
        assert job.question
        # Whoever sees that something is wrong may stop it.
        assert client.post(f"/jobs/{job.key}", data=token).status_code == 303
        until(lambda: job.state == "stopped")
    assert taken(site, tag) == []
