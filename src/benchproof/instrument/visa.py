"""A link through pyvisa and its pure-Python backend: network, USB, GPIB or serial.

Addresses are pyvisa's resource names, such as ``ASRL/dev/ttyUSB0::INSTR``; ports of the network are
read by `socketlink`. Nothing is discovered: the gear file names what to open.
"""

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from benchproof.instrument.problems import Doubt, InstrumentProblem, Trouble

if TYPE_CHECKING:
    from pyvisa.resources import MessageBasedResource

CHUNK = 4096
OPEN_S = 2.0


class VisaLink:
    """One pyvisa resource.

    Parameters
    ----------
    resource : str
        Its name.
    baud : int
        Speed of a serial one.
    open_s : float
        How long to wait until it is open, seconds.
    """

    def __init__(self, resource: str, baud: int = 9600, open_s: float = OPEN_S) -> None:
        self._resource, self._baud, self._open_s = resource, baud, open_s
        self._is_serial = resource.upper().startswith("ASRL")
        self._session: MessageBasedResource | None = None

    @property
    def name(self) -> str:
        """Where it leads."""
        return self._resource

    def open(self) -> None:
        """Open it, or close it and open it anew."""
        try:
            import pyvisa
            import pyvisa_py  # noqa: F401  (pyvisa looks for it)
        except ImportError:
            raise InstrumentProblem(self._resource, Trouble.NO_LIBRARY) from None
        self.close()
        options: dict[str, Any] = {
            "open_timeout": round(self._open_s * 1000.0),
            "read_termination": "\n",
        }
        if self._is_serial:
            options["baud_rate"] = self._baud
        try:
            session = pyvisa.ResourceManager("@py").open_resource(self._resource, **options)
        # The backend raises plain exceptions of many kinds.
        except Exception as error:
            raise Doubt(Trouble.NOT_THERE, _short(error)) from None
        self._session = session  # type: ignore[assignment]

    def write(self, data: bytes) -> None:
        """Send bytes."""
        session = self._opened()
        try:
            session.write_raw(data)
        except Exception as error:
            raise Doubt(Trouble.LOST, _short(error)) from None

    def read(self, timeout_s: float) -> bytes:
        """Return the next bytes, or none if nothing came in time.

        What came in without a line end before the time was up is lost; it would be in doubt anyway.
        """
        import pyvisa
        from pyvisa.constants import ResourceAttribute, StatusCode

        session = self._opened()
        session.timeout = max(1, round(timeout_s * 1000.0))
        try:
            with session.ignore_warning(StatusCode.success_max_count_read):
                if not self._is_serial:
                    return bytes(session.visalib.read(session.session, CHUNK)[0])
                # Of a line each byte would be waited for anew: only what is there is read.
                data, _ = session.visalib.read(session.session, 1)
                there, _ = session.visalib.get_attribute(
                    session.session, ResourceAttribute.asrl_avalaible_number
                )
                if there and data != b"\n":
                    data += session.visalib.read(session.session, min(there, CHUNK))[0]
            return bytes(data)
        except pyvisa.VisaIOError as error:
            if error.error_code == StatusCode.error_timeout:
                return b""
            raise Doubt(Trouble.LOST, _short(error)) from None
        except Exception as error:
            raise Doubt(Trouble.LOST, _short(error)) from None

    def close(self) -> None:
        """Close it; no harm if it is closed."""
        session, self._session = self._session, None
        if session is not None:
            # One that was unplugged cannot be closed in good order.
            with suppress(Exception):
                session.close()

    def _opened(self) -> "MessageBasedResource":
        if self._session is None:
            raise Doubt(Trouble.NOT_THERE)
        return self._session


def _short(error: Exception) -> str:
    return " ".join(f"{error}".split())[:80]
