"""A meter that speaks SCPI: ohms in two or four wires, volts, its range and its dialect."""

from decimal import Decimal
from typing import Literal

from benchproof.instrument.dialect import Dialect, NoNumber, ohms_of, read_number
from benchproof.instrument.dialogue import Dialogue
from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble
from benchproof.instrument.scpi import INFINITY
from benchproof.reading.value import Measured, OverRange

Wires = Literal[2, 4]


class ScpiMeter:
    """An ohmmeter and voltmeter.

    Parameters
    ----------
    dialogue : Dialogue
        Talks with it.
    dialect : Dialect
        Its dialect.
    wires : 2 or 4
        How it is wired to the part.
    range_ohm : float or None
        The range to set, ohms; None lets it choose.

    Raises
    ------
    InstrumentProblem
        If the dialect has no command for this.
    """

    def __init__(
        self, dialogue: Dialogue, dialect: Dialect, wires: Wires = 2, range_ohm: float | None = None
    ) -> None:
        self._dialogue, self._dialect, self._range_ohm = dialogue, dialect, range_ohm
        command = dialect.two_wire if wires == 2 else dialect.four_wire
        if not dialect.read or (not command and (wires == 4 or range_ohm is not None)):
            raise InstrumentProblem(dialogue.where, Trouble.CANNOT, f"{wires}-wire resistance")
        parameter = "" if range_ohm is None else f" {range_ohm:.10g}"
        self._configure = f"{command}{parameter}" if command else ""
        self._set_up_at = 0

    @property
    def identity(self) -> str:
        """What it calls itself."""
        self._dialogue.persist(lambda: None)
        return f"{self._dialogue.identity}"

    @property
    def reads_volts(self) -> bool:
        """Whether its dialect has a query for volts."""
        return bool(self._dialect.volts)

    def read_ohm(self) -> Measured | OverRange:
        """Return what stands between its leads now.

        Raises
        ------
        InstrumentProblem
            If it cannot be had.
        """
        try:
            return self._dialogue.persist(self._read_ohm)
        except NoNumber as error:
            raise InstrumentProblem(self._dialogue.where, error.trouble, error.detail) from None

    def read_volt(self) -> float:
        """Return the volts between its leads; infinite for more than it can read.

        Raises
        ------
        InstrumentProblem
            If it cannot be had, or the dialect has no query for it.
        """
        if not self._dialect.volts:
            raise InstrumentProblem(self._dialogue.where, Trouble.CANNOT, "read volts")
        return self._dialogue.persist(self._read_volt)

    def close(self) -> None:
        """Close its link."""
        self._dialogue.close()

    def _read_ohm(self) -> Measured | OverRange:
        if self._set_up_at != self._dialogue.starts and self._configure:
            self._dialogue.tell(self._configure)
        self._set_up_at = self._dialogue.starts
        return ohms_of(self._number(self._dialect.read), self._dialect, self._range_ohm)

    def _read_volt(self) -> float:
        # Reading volts leaves the meter set to volts.
        self._set_up_at = 0
        number = self._number(self._dialect.volts)
        return float("inf") if abs(number) >= INFINITY else float(number)

    def _number(self, query: str) -> Decimal:
        repeat = self._dialect.repeat
        if not repeat:
            (text,) = self._dialogue.query(query)
            return read_number(text)
        # One burst cannot change both alike; where bursts are many, they are asked for once more.
        told = {*self._dialogue.query(f"{query};:{repeat}", 2)}
        if self._dialogue.noisy:
            told.update(self._dialogue.query(f"{repeat};:{repeat}", 2))
        if len(told) != 1:
            raise Doubt(Trouble.GARBLED, " or ".join(sorted(told))[:80])
        return read_number(told.pop())
