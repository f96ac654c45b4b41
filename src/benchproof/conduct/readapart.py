"""Files that are large are read in a process of their own, so that the bench page stays small.

A parser leaves holes in the memory of the process that it ran in, and twelve threads may each have
one at work. What is small is read at once.
"""

import io
import pickle
import sys
import zipfile
from collections.abc import Callable
from typing import Any, Never, TypeVar

from benchproof.family import limits
from benchproof.family.problems import BadFile, Problem, TooLarge
from benchproof.family.sheet import is_workbook

SMALL = 64_000
"""Bytes of text that are read at once: a chart or a sheet of readings has a few thousand."""
_UNPACKED = 4 * SMALL
"""Bytes of a workbook's XML, most of it tags, that are read at once."""
_SECONDS = 60
_PROGRAM = ["-c", "from benchproof.conduct.readapart import main; main()"]
_Read = TypeVar("_Read")


def read_apart(read: Callable[..., _Read], content: bytes, file: str, *more: object) -> _Read:
    """Read a file, in a process of its own if it is large; errors are those of the reader.

    Parameters
    ----------
    read : callable
        A reader of ours, a module's own function.
    content : bytes
    file : str
        The file's name, for messages.
    *more
        What else the reader takes.

    Raises
    ------
    BadFile
        Also if it takes too much memory or time.
    """
    if _is_small(content):
        return read(content, file, *more)
    # What is refused anyway needs no process.
    limits.FILE_BYTES.check(len(content), file)
    from benchproof.record.ownprocess import Broke, apart

    try:
        answer = apart(_PROGRAM, pickle.dumps((read, content, file, *more)), _SECONDS)
    except (Broke, TimeoutError):
        raise BadFile(file, [Problem("", limits.READING_MEMORY.told())]) from None
    # It comes from a program of ours, which pickles only what the reader made.
    is_read, found = pickle.loads(answer)
    if not is_read:
        raise found
    return found  # type: ignore[no-any-return]


def _is_small(content: bytes) -> bool:
    if len(content) > SMALL:
        return False
    if not is_workbook(content):
        return True
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            return sum(member.file_size for member in book.infolist()) <= _UNPACKED
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        # The reader says what is wrong with it.
        return True


def main() -> Never:
    """Read what is on standard input, and answer on standard output."""
    from benchproof.record.drawing import bounded

    bounded(limits.READING_MEMORY.most)
    read, *told = pickle.load(sys.stdin.buffer)
    answer: tuple[bool, Any]
    try:
        answer = True, read(*told)
    except (BadFile, TooLarge) as error:
        answer = False, error
    del told
    sys.stdout.buffer.write(pickle.dumps(answer))
    sys.stdout.buffer.flush()
    sys.exit(0)
