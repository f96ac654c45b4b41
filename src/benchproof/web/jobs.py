"""Long work in the background: how far it is, and stopping it."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Lock, Thread

from benchproof.web.problems import PROBLEMS

MOST_KEPT = 20


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
    _stop: Event = field(default_factory=Event)

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

    def stop(self) -> None:
        """Ask the work to stop at its next step."""
        self._stop.set()


class Jobs:
    """The long work of this server; it ends with the server, and none of it changes the archive.

    Parameters
    ----------
    changed : callable
        Told the key of a job that went on.
    """

    def __init__(self, changed: Callable[[str], None]) -> None:
        self._changed = changed
        self._lock = Lock()
        self._jobs: dict[str, Job] = {}

    def start(self, title: str, total: int, work: Callable[[Job], None]) -> Job:
        """Begin a piece of work in a thread of its own."""
        job = Job(secrets.token_hex(6), title, total)
        with self._lock:
            ended = [key for key, one in self._jobs.items() if one.state != "running"]
            for key in ended[: max(len(self._jobs) - MOST_KEPT + 1, 0)]:
                del self._jobs[key]
            self._jobs[job.key] = job
        Thread(target=self._run, args=(job, work), name=f"job-{job.key}", daemon=True).start()
        return job

    def get(self, key: str) -> Job | None:
        """Return a job; None if there is none."""
        with self._lock:
            return self._jobs.get(key)

    def list(self) -> list[Job]:
        """Return the jobs, the latest first."""
        with self._lock:
            return list(reversed(self._jobs.values()))

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
