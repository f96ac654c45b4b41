"""A switch that speaks SCPI: one pair at a time on the meter, break before make, read back.

Before a pair is connected everything is opened, and nothing is closed until the read-back says that
nothing is. Then the channels of the one pair are closed and read back. On any doubt all channels
are opened and the work stops.
"""

from collections.abc import Callable, Mapping

from benchproof.family.model import Pair, pair_text, same_pair
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.scpi import NotScpi, channel_list, parse_switches

Channels = Mapping[frozenset[str], tuple[str, ...]]
"""The channels that put the meter across each pair."""


class ScpiSelector:
    """A selector.

    Parameters
    ----------
    dialogue : Dialogue
        Talks with it.
    channels : mapping
        The channels of each pair.
    settle_s : float
        How long its contacts need to open or close, seconds.
    """

    def __init__(self, dialogue: Dialogue, channels: Channels, settle_s: float = 0.02) -> None:
        self._dialogue, self._channels, self._settle_s = dialogue, channels, settle_s
        self._known = sorted({name for names in channels.values() for name in names})
        self._state = f"ROUT:CLOS? {channel_list(self._known)}"
        self._wanted: frozenset[str] = frozenset()
        self._connected_at = 0

    @property
    def identity(self) -> str:
        """What it calls itself."""
        self._dialogue.persist(lambda: None)
        return f"{self._dialogue.identity}"

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """The pairs it has channels for."""
        return tuple((a, b) for a, b in map(sorted, self._channels))

    def connect(self, pair: Pair) -> None:
        """Put the meter across a pair, and across nothing else.

        Raises
        ------
        InstrumentProblem
            If that cannot be made sure of; all channels are then told to open.
        """
        names = self._channels.get(same_pair(pair))
        if names is None:
            raise InstrumentProblem(self._dialogue.where, Trouble.NO_CHANNEL, pair_text(pair))
        self._safely(lambda: self._connect(frozenset(names)))

    def open_all(self) -> None:
        """Put the meter across nothing.

        Raises
        ------
        InstrumentProblem
            If that cannot be made sure of.
        """
        self._safely(self._open_all)

    def confirm(self) -> None:
        """Check that the meter still stands where it was put.

        Raises
        ------
        InstrumentProblem
            If it does not, or the selector was started anew since; all channels are told to open.
        """
        self._safely(self._confirm)

    def closed(self) -> frozenset[str]:
        """Return the channels that are closed.

        Raises
        ------
        InstrumentProblem
            If they cannot be had.
        """
        return self._dialogue.persist(self._closed)

    def close(self) -> None:
        """Open all channels and close its link; one that was never reached has closed none."""
        try:
            if self._dialogue.starts:
                self.open_all()
        finally:
            self._dialogue.close()

    def _safely(self, work: Callable[[], None]) -> None:
        try:
            self._dialogue.persist(work)
        except InstrumentProblem as problem:
            self._wanted = frozenset()
            detail = "; ".join(filter(None, (problem.detail, self._last_resort())))
            raise InstrumentProblem(problem.where, problem.trouble, detail) from None

    def _last_resort(self) -> str:
        """Open all channels if it still listens, and tell whether they are open."""
        try:
            self._dialogue.persist(self._open_all)
        except InstrumentProblem:
            return "channels may be closed, switch it off"
        return "all channels were opened"

    def _connect(self, wanted: frozenset[str]) -> None:
        if wanted == self._wanted and self._connected_at == self._dialogue.starts:
            self._confirm()
            return
        self._open_all()
        names = [name for name in self._known if name in wanted]
        self._dialogue.tell(f"ROUT:CLOS {channel_list(names)}")
        self._dialogue.sleep(self._settle_s)
        if (closed := self._closed()) != wanted:
            raise InstrumentProblem(self._dialogue.where, Trouble.WRONG_CLOSED, _told(closed))
        self._wanted, self._connected_at = wanted, self._dialogue.starts

    def _open_all(self) -> None:
        self._wanted = frozenset()
        self._dialogue.tell("ROUT:OPEN:ALL")
        self._dialogue.sleep(self._settle_s)
        if closed := self._closed():
            raise InstrumentProblem(self._dialogue.where, Trouble.STUCK_CLOSED, _told(closed))

    def _confirm(self) -> None:
        closed = self._closed()
        if closed != self._wanted or (closed and self._connected_at != self._dialogue.starts):
            raise InstrumentProblem(self._dialogue.where, Trouble.CHANGED, _told(closed))

    def _closed(self) -> frozenset[str]:
        (text,) = self._dialogue.query(self._state)
        try:
            states = parse_switches(text, len(self._known))
        except NotScpi as error:
            raise Doubt(Trouble.GARBLED, f"{error}") from None
        return frozenset(name for name, on in zip(self._known, states, strict=True) if on)


def _told(closed: frozenset[str]) -> str:
    return f"closed: {', '.join(sorted(closed)) or 'none'}"
