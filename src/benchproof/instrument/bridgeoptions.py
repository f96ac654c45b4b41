"""Which arguments a gear file may hand to sigrok-cli: named ones, each of a checked form.

The program can also write files, load others and run on for ever; a gear file may come from
anybody, so what is not named here is not handed on.
"""

import re
from collections.abc import Sequence

_NAME = r"[A-Za-z0-9_.+-]{1,60}"
_SETTINGS = (
    "amplitude", "averaging", "avg_samples", "channel_group", "digits", "measured_quantity",
    "offset", "range", "samplerate",
)  # fmt: skip
_SETTING = rf"(?:{'|'.join(_SETTINGS)})={_NAME}"
OPTIONS = {
    "--config": re.compile(rf"{_SETTING}(?::{_SETTING}){{0,9}}"),
    "--channels": re.compile(rf"(?!-){_NAME}(?:,{_NAME}){{0,9}}"),
    "--channel-group": re.compile(rf"(?!-){_NAME}"),
}
"""Each option and what may follow it."""
# From memory: how the program takes a driver and where its meter is connected.
DRIVER = re.compile(
    r"[a-z0-9][a-z0-9-]{0,60}(?::(?:conn|serialcomm|modbusaddr)=[A-Za-z0-9_./,-]{1,80}){0,3}"
)


def wrong_driver(driver: str) -> str:
    """Return what is wrong with a driver, as the end of a sentence; empty if nothing is.

    Examples
    --------
    >>> wrong_driver("some-meter:conn=/dev/ttyUSB0:serialcomm=19200/7o1")
    ''
    """
    if DRIVER.fullmatch(driver):
        return ""
    return "has a driver that is none; write it as NAME or NAME:conn=/dev/ttyUSB0."


def wrong_options(options: Sequence[str]) -> str:
    """Return what is wrong with the options, as the end of a sentence; empty if nothing is.

    Examples
    --------
    >>> wrong_options(["--config", "samplerate=10", "--channels", "A0"])
    ''
    >>> wrong_options(["--output-file", "x"])
    "has '--output-file', which is not handed on; --config, --channels, --channel-group are."
    """
    rest = iter(options)
    for name in rest:
        form = OPTIONS.get(name)
        if form is None:
            return f"has {name[:40]!r}, which is not handed on; {', '.join(OPTIONS)} are."
        value = next(rest, "")
        if not form.fullmatch(value):
            known = f" of {', '.join(_SETTINGS)}" if name == "--config" else ""
            what = "NAME=VALUE" if name == "--config" else "a name"
            return f"has {value[:40]!r} after {name}, where {what}{known} must stand."
    return ""
