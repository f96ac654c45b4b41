"""What is large is taken one after the other, so that many at once fill no memory."""

from asyncio import Lock
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from benchproof.family import limits


class Large:
    """Whose turn it is; one for each server."""

    def __init__(self) -> None:
        self._one = Lock()

    @asynccontextmanager
    async def turn(self, size: int) -> AsyncIterator[None]:
        """Wait until no other large request is worked on; a small one waits for nobody.

        Parameters
        ----------
        size : int
            Bytes that are about to be held in memory.
        """
        if size <= limits.LARGE.most:
            yield
            return
        async with self._one:
            yield
