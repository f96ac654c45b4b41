"""Where the lever stands: told by a sensor, or by a person."""

from collections.abc import Callable, Mapping, Sequence

from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.scpi import NotScpi, parse_string, quoted_string


class ScpiLever:
    """A lever sensor at the end of a link; one that has a command for it moves the lever too.

    Parameters
    ----------
    dialogue : Dialogue
        Talks with it.
    query : str
        Asks where the lever stands.
    replies : mapping of str to str
        Position by reply; empty if it replies the position's name in quotes, which is empty
        between two positions. A reply that is not here is taken as between two positions.
    move : str
        The command that moves the lever; empty if only a hand can.
    """

    def __init__(
        self,
        dialogue: Dialogue,
        query: str,
        replies: Mapping[str, str] | None = None,
        move: str = "",
    ) -> None:
        self._dialogue, self._query, self._replies = dialogue, query, replies or {}
        self._move = move

    @property
    def moves(self) -> bool:
        """Whether it can move the lever."""
        return bool(self._move)

    @property
    def identity(self) -> str:
        """What it calls itself."""
        self._dialogue.persist(lambda: None)
        return f"{self._dialogue.identity}"

    def position(self) -> str:
        """Return the position; empty between two of them.

        Raises
        ------
        InstrumentProblem
            If it cannot be had.
        """
        return self._dialogue.persist(self._position)

    def move(self, position: str, lean: str = "") -> None:
        """Move the lever.

        Raises
        ------
        InstrumentProblem
            If there is no such position, or the lever is one that only a hand can move.
        """
        if not self._move:
            raise InstrumentProblem(self._dialogue.where, Trouble.CANNOT, "move the lever")
        names = quoted_string(position) + (f",{quoted_string(lean)}" if lean else "")
        self._dialogue.persist(lambda: self._dialogue.tell(f"{self._move} {names}"))

    def close(self) -> None:
        """Close its link."""
        self._dialogue.close()

    def _position(self) -> str:
        (text,) = self._dialogue.query(self._query)
        if self._replies:
            return self._replies.get(text, "")
        try:
            return parse_string(text)
        except NotScpi as error:
            raise Doubt(Trouble.GARBLED, f"{error}") from None


class PersonLever:
    """A person who moves the lever and says where it stands.

    Parameters
    ----------
    ask : callable
        Asks the person to move the lever, with the position and the neighbour to lean it toward;
        returns the position the person names.
    positions : sequence of str
        The part's positions.
    """

    def __init__(self, ask: Callable[[str, str], str], positions: Sequence[str]) -> None:
        self._ask, self._positions = ask, positions
        self._at = ""

    def position(self) -> str:
        """Return the position that the person named last; empty before the first."""
        return self._at

    def move(self, position: str, lean: str = "") -> None:
        """Ask for the lever to be moved.

        Raises
        ------
        InstrumentProblem
            If the person names no position of the part.
        """
        said = self._ask(position, lean)
        if said not in self._positions:
            raise InstrumentProblem("lever", Trouble.NO_POSITION, said)
        self._at = said
