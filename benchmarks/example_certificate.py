"""An invented proof, driven event by event, and its certificate.

Run as a program it draws docs/figures/certificate.png anew, by `pdftoppm` (tools/setup oracles).
"""

import random
import subprocess
from collections.abc import Collection
from hashlib import sha256
from pathlib import Path

from PIL import Image

from benchproof.family.expectation import Expectation, FamilyLimits, Kind
from benchproof.family.model import pair_text
from benchproof.family.safety import safety_of
from benchproof.proof.closing import closing
from benchproof.proof.events import (
    BodyTurned,
    Event,
    MeterChosen,
    Mode,
    Opened,
    ProofOutcome,
    ReadingTaken,
    Remarked,
)
from benchproof.proof.state import State, start
from benchproof.report.certificate import Certificate, TestedItem
from benchproof.report.certificate_of import Recorded, certificate_of, origin
from benchproof.report.letterhead import Letterhead
from benchproof.report.pdf import certificate_pdf
from benchproof.shipped.contents import shipped_bytes, usual_priors

FAMILY = "terrace-transit-9"
HASH = sha256(b"invented").hexdigest()
VERSION = "0.1.0"
BY = "JB"
LOGO = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 24"><circle cx="12" cy="12" r="10" '
    b'fill="none" stroke="black" stroke-width="3"/><path d="M12 12 L19 5 M28 6 H58 M28 12 H50 '
    b'M28 18 H54" stroke="black" stroke-width="3"/></svg>'
)
LETTERHEAD = Letterhead(
    name="Invented Depot Gearbox Works",
    address="7 Nowhere Lane\nInvented Falls",
    signer="Mara Invented",
    logo=LOGO,
)
ITEM = TestedItem(
    serial="INV-000417",
    customer="Invented Bus Company",
    contact="yard 3, ask for Jo",
    odometer_km=412_300,
    received_on="2026-02-27",
    authorized_by="Jo Invented",
)
Against = Collection[tuple[str, str]]
"""Cells that read against the chart: pair and position, as ("A-E", "P")."""


def example_state(
    family_file: bytes,
    name: str,
    *,
    found: Against = (),
    left: Against | None = (),
    named_meter: bool = True,
    due_on: str = "2027-01-12",
    seed: int = 0,
) -> State:
    """Return an invented proof that is still open.

    Parameters
    ----------
    family_file : bytes
        The part's family.
    name : str
        Its name.
    found, left : collection of (pair, position)
        What reads against the chart before and after the body was turned; None for `left` if it
        never was.
    named_meter : bool
        Whether a meter was named.
    due_on : str
        When its calibration is due.
    seed : int
        Of the ohms that closed contacts read.
    """
    rng = random.Random(seed)
    contents = {
        "family": family_file,
        "priors": usual_priors(),
        "meter": shipped_bytes("meters", "ordinary-handheld"),
        "bench": shipped_bytes("benches", "selector-box"),
    }
    hashes = {what: sha256(data).hexdigest() for what, data in contents.items()}
    files = {hashes[what]: data for what, data in contents.items()}
    opened = Opened(
        at="2026-03-02T14:05:09+01:00",
        by=BY,
        part="S-104",
        mode=Mode.PROVE,
        version=VERSION,
        family=name,
        family_file=hashes["family"],
        priors_file=hashes["priors"],
        meter_file=hashes["meter"],
        bench_file=hashes["bench"],
    )
    state = start(opened, files)
    if named_meter:
        state = state.after(
            MeterChosen(
                at=opened.at,
                by=BY,
                file=hashes["meter"],
                name="ordinary handheld",
                tag="M-2",
                ambient_c=21.0,
                calibrated_on="2026-01-12",
                due_on=due_on,
            )
        )
    state = _read(state, found, rng)
    if left is not None:
        turned = BodyTurned("2026-03-02T14:12:00+01:00", BY, "3 mm at the marks, toward P")
        state = _read(state.after(turned), left, rng)
    return state


def _read(state: State, against: Against, rng: random.Random) -> State:
    family = state.ground.family
    again = safety_of(family).must_be_open
    for number, position in enumerate(family.positions):
        for row in family.chart:
            wrong = (pair_text(row.pair), position) in against
            times = 2 if (position, frozenset(row.pair)) in again else 1
            for time in range(times):
                value = _value(row.expect[number], family.limits, wrong, rng)
                event = ReadingTaken(
                    at="2026-03-02T14:06:00+01:00",
                    by=BY,
                    position=position,
                    pair=row.pair,
                    value=value,
                    again=time > 0,
                )
                state = state.after(event)
    return state


def _value(expect: Expectation, limits: FamilyLimits, wrong: bool, rng: random.Random) -> str:
    if expect.kind is Kind.OHMS:
        low, high = expect.bounds(limits)
        return f"{(low + high) / 2.0 * (3.0 if wrong else 1.0):.3g} ohm"
    if expect.conducts is not wrong:
        return f"{rng.uniform(0.1, 0.6):.1f} ohm"
    return "OL"


def example_certificate(
    state: State, letterhead: Letterhead = LETTERHEAD, **told: str
) -> Certificate:
    """Close an invented proof and return its certificate.

    Parameters
    ----------
    state : State
        One that is open.
    letterhead : Letterhead
        The shop's.
    told : str
        ``override_by`` and ``override_reason``, or ``outcome``.
    """
    outcome = ProofOutcome(told.pop("outcome")) if "outcome" in told else None
    events: list[Event] = [Remarked("2026-03-02T14:20:00+01:00", BY, "Invented example.")]
    for event in events:
        state = state.after(event)
    closed = closing(state, "2026-03-02T14:21:40+01:00", BY, VERSION, outcome, **told)
    state = state.after(closed)
    fitted = (
        ("This part", origin(bought=False, core="C-77", maker_class="original")),
        ("Solenoid block V-12", origin(bought=True, core="", maker_class="other")),
    )
    recorded = Recorded("S-104.1", state.seq, HASH, "U-31", fitted, ITEM, letterhead)
    return certificate_of(state, recorded, VERSION)


def shipped_state(name: str = FAMILY, **how: object) -> State:
    """Return an invented proof of a family that comes along."""
    return example_state(shipped_bytes("families", name), name, **how)  # type: ignore[arg-type]


def main() -> None:
    """Draw the figure of docs/certificate.md."""
    told = example_certificate(shipped_state(found={("G-H", "N"), ("J-K", "R")}))
    target = Path(__file__).parents[1] / "docs" / "figures" / "certificate"
    command = ["pdftoppm", "-r", "96", "-gray", "-png", "-singlefile", "-", str(target)]
    subprocess.run(command, input=certificate_pdf(told), check=True, timeout=60)
    picture = target.with_suffix(".png")
    Image.open(picture).convert("L").quantize(16).save(picture, optimize=True)


if __name__ == "__main__":
    main()
