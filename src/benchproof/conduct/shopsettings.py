"""The shop's settings of its papers: checked, kept in the archive, and found for a paper."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from benchproof.family.sentence import did_you_mean, quoted
from benchproof.record.problems import RecordProblem
from benchproof.report.language import LANGUAGES
from benchproof.report.letterhead import (
    DISTANCES,
    LABELS,
    PAPERS,
    TEMPERATURES,
    Letterhead,
    logo_kind,
)
from benchproof.report.pdf import logo_stands

if TYPE_CHECKING:
    from benchproof.record.rows import ShopRow
    from benchproof.record.store import Store

CHOICES: Mapping[str, tuple[str, ...]] = {
    "paper": tuple(PAPERS),
    "label": tuple(LABELS),
    "distance": DISTANCES,
    "temperature": TEMPERATURES,
    "language": tuple(LANGUAGES),
}
"""What may be set to one of a few."""
WORDS = ("name", "address", "signer")
"""What is set in the shop's own words."""
MOST_LETTERS = {"name": 80, "address": 300, "signer": 80}
"""More would leave no room on a page."""
MOST_LINES = 5
MOST_LOGO_BYTES = 200_000
MOST_LOGO_PIXELS = 3000
"""Of either side."""
_NOT_IN_A_LOGO = (b"<!doctype", b"<!entity", b"<script", b"<foreignobject", b"<image", b"href")


class WrongSetting(RecordProblem):
    """A setting cannot be so; it has the setting's name."""

    def __init__(self, setting: str, sentence: str) -> None:
        super().__init__(sentence)
        self.setting = setting


def letterhead(store: "Store") -> Letterhead:
    """Return the settings that count, or what papers have without any."""
    row = store.shop.current()
    return Letterhead() if row is None else letterhead_of(store, row)


def letterhead_of(store: "Store", row: "ShopRow") -> Letterhead:
    """Return a row of settings as a letterhead, its logo with it."""
    usual = Letterhead()
    return Letterhead(
        row.name,
        row.address,
        row.signer,
        b"" if row.logo is None else store.files.get(row.logo),
        # An archive may be older or newer than the choices of this program.
        *(
            value if value in CHOICES[what] else getattr(usual, what)
            for what, value in (
                ("paper", row.paper),
                ("label", row.label),
                ("distance", row.distance),
                ("temperature", row.temperature),
                ("language", row.language),
            )
        ),
    )


def set_shop(
    store: "Store",
    changed: Mapping[str, str],
    logo: bytes | None = None,
    *,
    without_logo: bool = False,
    by: str | None = None,
) -> Letterhead:
    """Change settings and keep them; what is not named stays as it is.

    Parameters
    ----------
    store : Store
        The archive.
    changed : mapping of str to str
        Names of `WORDS` and `CHOICES` with their values.
    logo : bytes or None
        Another logo, PNG or SVG.
    without_logo : bool
        Whether the logo is taken off.
    by : str or None
        Initials of who changes it.

    Raises
    ------
    WrongSetting
        If one cannot be so; nothing is changed then.
    RecordProblem
        If it cannot be recorded.
    """
    checked: dict[str, Any] = {name: _checked(name, changed[name]) for name in changed}
    head = replace(letterhead(store), **checked)
    if without_logo:
        head = replace(head, logo=b"")
    if logo is not None:
        check_logo(logo)
        head = replace(head, logo=logo)
    key = store.files.put(head.logo) if head.logo else None
    store.shop.put(
        name=head.name,
        address=head.address,
        signer=head.signer,
        logo=key,
        paper=head.paper,
        label=head.label,
        distance=head.distance,
        temperature=head.temperature,
        language=head.language,
        by=by,
    )
    return head


def _checked(name: str, value: str) -> str:
    if name in CHOICES:
        found = {choice.casefold(): choice for choice in CHOICES[name]}.get(
            value.strip().casefold()
        )
        if found is None:
            hint = did_you_mean(value, CHOICES[name])
            raise WrongSetting(name, f"{name}: {quoted(value)} is none of them; {hint}")
        return found
    lines = [line.strip() for line in value.replace("\r", "").split("\n")]
    text = "\n".join(line for line in lines if line)
    most = MOST_LETTERS[name]
    if len(text) > most:
        raise WrongSetting(name, f"{name}: is longer than {most} letters; make it shorter.")
    if text.count("\n") >= (MOST_LINES if name == "address" else 1):
        raise WrongSetting(name, f"{name}: has too many lines; an address may have {MOST_LINES}.")
    return text


def check_logo(content: bytes) -> None:
    """Look whether a logo can stand on paper.

    Raises
    ------
    WrongSetting
        If not.
    """
    if len(content) > MOST_LOGO_BYTES:
        raise WrongSetting(
            "logo", f"logo: is larger than {MOST_LOGO_BYTES // 1000} kB; save it smaller."
        )
    kind = logo_kind(content)
    if not kind:
        raise WrongSetting("logo", "logo: is neither PNG nor SVG; save it as one of these.")
    if kind == "png":
        # Width and height stand first in a PNG (ISO/IEC 15948, 11.2.2; from memory).
        sides = (int.from_bytes(content[16:20]), int.from_bytes(content[20:24]))
        if max(sides) > MOST_LOGO_PIXELS:
            raise WrongSetting(
                "logo", f"logo: has more than {MOST_LOGO_PIXELS} pixels a side; save it smaller."
            )
    elif any(word in content.lower() for word in _NOT_IN_A_LOGO):
        raise WrongSetting(
            "logo", "logo: an SVG may draw only, without scripts, pictures or links; save it plain."
        )
    if not logo_stands(content):
        raise WrongSetting("logo", "logo: cannot be drawn; save it anew as a plain PNG or SVG.")
