"""The newest head of each archive that this bench has seen, kept apart from the archive.

An archive whose end was cut off is whole in itself; that it was longer once stands here.
"""

import os
import re
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

HEADS_VARIABLE = "BENCHPROOF_HEADS"
"""Names a folder elsewhere, on another disk say, that gets a second copy."""
_LINE = re.compile(r"(\d{1,18}) ([0-9a-f]{64}) (.*)\n")

_CODE = re.compile(r"([0-9]{1,9})((?:-[0-9a-f]{4}){4})")


@dataclass(frozen=True, slots=True)
class Head:
    """The end of a ledger.

    Attributes
    ----------
    archive : str
        The archive's own name, 32 hexadecimal digits.
    number : int
        Of the last entry.
    hash : str
    """

    archive: str
    number: int
    hash: str

    @property
    def code(self) -> str:
        """What is printed, and typed again, of a head.

        Examples
        --------
        >>> Head("", 1204, "9f3ac0de" * 8).code
        '1204-9f3a-c0de-9f3a-c0de'
        """
        return "-".join([str(self.number), *(self.hash[at : at + 4] for at in range(0, 16, 4))])


def read_code(code: str) -> tuple[int, str] | None:
    """Return the number and the first digits of the hash that a code tells; None if it is none.

    Examples
    --------
    >>> read_code("1204-9F3A-c0de-9f3a-c0de")
    (1204, '9f3ac0de9f3ac0de')
    >>> read_code("1204-9f3a") is None
    True
    """
    found = _CODE.fullmatch(code.strip().lower())
    return (int(found[1]), found[2].replace("-", "")) if found else None


@dataclass(frozen=True, slots=True)
class SeenHead:
    """A head as a folder remembers it.

    Attributes
    ----------
    folder : Path
    head : Head or None
        None if it remembers none.
    unreadable : bool
        Whether the folder, or what it should remember, cannot be read.
    """

    folder: Path
    head: Head | None
    unreadable: bool = False


@dataclass
class Heads:
    """What is remembered, in one folder or several.

    Attributes
    ----------
    folders : sequence of Path
        The bench's own, and those elsewhere; made when the first head is kept.
    place : str
        Where the archive is.
    """

    folders: Sequence[Path]
    place: str = ""
    _kept: dict[tuple[Path, str], Head] = field(default_factory=dict)

    def saw(self, head: Head, holds: Callable[[int], str | None]) -> None:
        """Keep a head, unless the archive does not hold the one that is kept already.

        Then an end was cut off, and what was recorded over it must not make that forgotten. To keep
        it is no condition of recording: a folder that cannot be written is told by `verify`.

        Parameters
        ----------
        head : Head
        holds : callable
            Returns the hash of an entry of the archive by its number, None if there is none.
        """
        for folder in self.folders:
            key = (folder, head.archive)
            before = self._kept.get(key) or _read(folder, head.archive)
            if before is not None:
                self._kept[key] = before
                if head.number <= before.number or holds(before.number) != before.hash:
                    continue
            with suppress(OSError):
                told = f"{head.number} {head.hash} {self.place}\n"
                _write(folder / f"{head.archive}.head", told)
                self._kept[key] = head

    def forget(self, archive: str) -> None:
        """Forget an archive that never held anything, and was filled from another."""
        for folder in self.folders:
            with suppress(OSError):
                (folder / f"{archive}.head").unlink(missing_ok=True)

    def seen(self, archive: str) -> tuple[SeenHead, ...]:
        """Return what each folder remembers of an archive."""
        return tuple(_seen(folder, archive) for folder in self.folders)

    def here(self) -> list[tuple[Path, Head]]:
        """Return what is remembered of archives at this very place, and in which files."""
        return [
            (path, Head(path.stem, int(found[1]), found[2]))
            for folder in self.folders
            for path in sorted(folder.glob("*.head"))
            if (found := _LINE.fullmatch(_text(path))) is not None and found[3] == self.place
        ]


def heads_of(own: Path, place: str) -> Heads:
    """Return the heads of this bench: beside its key, and where the variable says."""
    elsewhere = os.environ.get(HEADS_VARIABLE)
    folders = (own / "heads", *((Path(elsewhere),) if elsewhere else ()))
    return Heads(folders, " ".join(place.split()))


def _text(path: Path) -> str:
    try:
        return path.read_text("utf-8", "replace")
    except OSError:
        return ""


def _read(folder: Path, archive: str) -> Head | None:
    return _seen(folder, archive).head


def _seen(folder: Path, archive: str) -> SeenHead:
    try:
        found = _LINE.fullmatch((folder / f"{archive}.head").read_text("utf-8", "replace"))
    except FileNotFoundError:
        # The folder is made with the first head: where it is gone, so is a disk.
        return SeenHead(folder, None, not folder.is_dir())
    except OSError:
        return SeenHead(folder, None, unreadable=True)
    if found is None:
        return SeenHead(folder, None, unreadable=True)
    return SeenHead(folder, Head(archive, int(found[1]), found[2]))


def _write(path: Path, told: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".head-")
    try:
        with os.fdopen(handle, "w") as file:
            file.write(told)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
