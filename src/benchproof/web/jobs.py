"""Long work in the background: how far it is, and stopping it."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING

from benchproof.web.problems import PROBLEMS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchproof.family.danger import Danger

MOST_KEPT = 20
POLL_S = 0.1
END_S = 2.0


class Stopped(Exception):
    """Raised within the work once somebody stopped it."""


@dataclass
class Job:
    """A piece of long work.

    Attributes
    ----------
    key, title : str
    total : int
        How many steps it has; 0 if that is not known.
    done : int
        How many of them are behind it.
    state : str
        "running", "done", "stopped" or "failed".
    said : str
        What came of it, a sentence.
    lines : list of (str, str, str)
        A word on each step that is behind it: name, result, why.
    content : bytes or Path
        What can be saved of it, or where it lies; empty if nothing can.
    file : str
        What that is called.
    dangers : sequence of Danger
        What could hurt somebody, shown before all else.
    question : str
        What a person is asked to do, and to say that it is done; empty if nobody is.
    asked : int
        How often somebody was asked; an answer names it.
    """

    key: str
    title: str
    total: int = 0
    done: int = 0
    state: str = "running"
    said: str = ""
    lines: list[tuple[str, str, str]] = field(default_factory=list)
    content: bytes | Path = b""
    file: str = ""
    dangers: "Sequence[Danger]" = ()
    question: str = ""
    asked: int = 0
    _stop: Event = field(default_factory=Event)
    _answered: Event = field(default_factory=Event)

    def step(self, line: tuple[str, str, str] | None = None) -> None:
        """Note a step that is done.

        Raises
        ------
        Stopped
            If somebody stopped the work.
        """
        if line is not None:
            self.lines.append(line)
        self.done += 1
        self.check()

    def check(self) -> None:
        """Go on only if nobody stopped the work.

        Raises
        ------
        Stopped
            If somebody did.
        """
        if self._stop.is_set():
            raise Stopped

    def ask(self, question: str, tell: Callable[["Job"], None]) -> None:
        """Ask a person to do something; return once he says that it is done.

        Raises
        ------
        Stopped
            If somebody stopped the work meanwhile.
        """
        self._answered.clear()
        self.asked, self.question = self.asked + 1, question
        tell(self)
        try:
            while not self._answered.wait(POLL_S):
                self.check()
        finally:
            self.question = ""

    def wait(self, seconds: float) -> None:
        """Wait; raises `Stopped` as soon as somebody stops the work."""
        if self._stop.wait(seconds):
            raise Stopped

    def answer(self, asked: int) -> None:
        """Say that what was asked for is done, if it is this that is still asked for."""
        if self.question and asked == self.asked:
            self._answered.set()

    def stop(self) -> None:
        """Ask the work to stop at its next step."""
        self._stop.set()


class Jobs:
    """The long work of this server; it ends with the server.

    Parameters
    ----------
    changed : callable
        Told the key of a job that went on.
    """

    def __init__(self, changed: Callable[[str], None]) -> None:
        self._changed = changed
        self._lock = Lock()
        self._jobs: dict[str, Job] = {}
        self._threads: list[Thread] = []

    def start(self, title: str, total: int, work: Callable[[Job], None]) -> Job:
        """Begin a piece of work in a thread of its own."""
        job = Job(secrets.token_hex(6), title, total)
        with self._lock:
            ended = [key for key, one in self._jobs.items() if one.state != "running"]
            for key in ended[: max(len(self._jobs) - MOST_KEPT + 1, 0)]:
                del self._jobs[key]
            self._jobs[job.key] = job
        thread = Thread(target=self._run, args=(job, work), name=f"job-{job.key}", daemon=True)
        self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()
        return job

    def get(self, key: str) -> Job | None:
        """Return a job; None if there is none."""
        with self._lock:
            return self._jobs.get(key)

    def list(self) -> list[Job]:
        """Return the jobs, the latest first."""
        with self._lock:
            return list(reversed(self._jobs.values()))

    def end(self) -> None:
        """Stop all of it, and wait a moment until what holds instruments has let go of them."""
        for job in self.list():
            job.stop()
        for thread in self._threads:
            thread.join(END_S)

    def tell(self, job: Job) -> None:
        """Tell the screens that a job went on."""
        self._changed(job.key)

    def _run(self, job: Job, work: Callable[[Job], None]) -> None:
        try:
            work(job)
            job.state = "done"
        except Stopped:
            job.state, job.said = "stopped", "Stopped; what was done before stands."
        except PROBLEMS as error:
            job.state, job.said = "failed", str(error)
        except OSError as error:
            job.state, job.said = "failed", f"{error.strerror or error}."
        finally:
            if job.state == "running":
                job.state, job.said = "failed", "The program made a mistake here."
            self.tell(job)
