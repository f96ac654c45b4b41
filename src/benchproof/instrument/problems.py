"""What goes wrong with an instrument: the condition and its sentence side by side."""

from enum import StrEnum


class Trouble(StrEnum):
    """What is wrong; the text says what it is and what to do."""

    NO_LIBRARY = "needs a library that is not there; install benchproof with 'instruments'."
    NO_PROGRAM = "needs the program sigrok-cli, which is not there; install the package sigrok-cli."
    NOT_THERE = (
        "cannot be reached; check that it is on and plugged in, and the gear file's address."
    )
    LOST = "went away while it was read; plug it in again and repeat the reading."
    SILENT = "does not answer; check that it is on, plugged in and not held by another program."
    GARBLED = (
        "answers what cannot be understood; check the cable, the speed and the meter's dialect."
    )
    ANOTHER = "is another instrument than before; put the first one back, or start anew."
    REFUSED = "refuses a command; check the dialect in the gear file."
    NOT_OHMS = "shows no ohms; set it to resistance."
    NO_NUMBER = "says that it has no number; check the leads and read again."
    BELOW_ZERO = "reads below zero; null the leads and read again."
    CANNOT = "cannot do what is asked; see its dialect in the gear file."
    NO_CHANNEL = "has no channel for this pair; add it to the gear file."
    STUCK_CLOSED = "still has channels closed after it was told to open all; do not read on."
    WRONG_CLOSED = "has closed other channels than it was told; do not read on."
    CHANGED = "changed its channels during a reading; check its supply and cable."
    NO_POSITION = "names a position that the part does not have; check the gear file."
    NOT_MOVED = "is not where it is asked for; move it there, and start again."
    MOVED = "moved during a reading, which is thrown away; hold it still, and start again."
    LIVE = (
        "carries a voltage; take the part off the vehicle or unplug and de-energise it, "
        "and follow the maker's service information, before anything is read."
    )
    LEADS_OPEN = "reads no short; put both probe tips together, press on, and null again."
    LEADS_WANDER = "reads a short that wanders; clean the tips and plugs, then null again."


class InstrumentProblem(Exception):
    """An instrument that cannot be used as asked; its text is one sentence.

    Attributes
    ----------
    where : str
        The instrument, as "meter at /dev/ttyUSB0".
    trouble : Trouble
        What is wrong.
    detail : str
        What it said or did, in brackets after the sentence's first clause; empty for nothing.
    """

    def __init__(self, where: str, trouble: Trouble, detail: str = "") -> None:
        self.where, self.trouble, self.detail = where, trouble, detail
        what, _, rest = trouble.value.partition(";")
        told = f" ({detail})" if detail else ""
        super().__init__(f"{where}: {what}{told};{rest}")


class Doubt(Exception):
    """One exchange that cannot be trusted: to be made again from the start, or given up.

    Attributes
    ----------
    trouble : Trouble
        What is wrong.
    detail : str
        What was seen.
    """

    def __init__(self, trouble: Trouble, detail: str = "") -> None:
        self.trouble, self.detail = trouble, detail
        super().__init__(f"{trouble.name} {detail}")
