"""`benchproof demo`: an invented family, two sheets of readings, and what becomes of them."""

from pathlib import Path

import click

from benchproof.cli.diagnosis import print_cautions, print_dangers, print_diagnosis, print_judgement
from benchproof.cli.loading import load_family, load_meter
from benchproof.cli.objects import print_json
from benchproof.cli.options import JSON
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.conduct.front import ground_for
from benchproof.examine import examine
from benchproof.face.done import Written
from benchproof.reading.ideal import ideal_readings
from benchproof.reading.sheet import write_readings
from benchproof.shipped.contents import USUAL_METER, shipped_bytes

FAMILY = "valley-coded-7"
OFFSET_DEG = 5.0
"""More than the narrow start and reverse contacts bear, less than the wide range tracks do."""


@click.command()
@click.argument("folder", default="benchproof-demo", type=click.Path(path_type=Path))
@JSON
def demo(folder: Path, as_json: bool) -> None:
    """Write an invented family, a good and a misaligned sheet into FOLDER, and judge both."""
    family, meter = load_family(FAMILY), load_meter(USUAL_METER)
    ground = ground_for(family, meter)
    sheets = {
        "good": ideal_readings(family, meter),
        "misaligned": ideal_readings(family, meter, OFFSET_DEG),
    }
    told = "# Invented for benchproof: computed from the family, not measured.\n"
    files = {f"{FAMILY}.toml": shipped_bytes("families", FAMILY)} | {
        f"{name}.csv": (told + write_readings(readings)).encode()
        for name, readings in sheets.items()
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        _write(folder / name, content)
    if as_json:
        print_json(Written(files=[f"{folder / name}" for name in files]))
        return
    echo(f"Wrote {', '.join(files)} to {folder} (all invented). Try:")
    echo(f"  benchproof audit {folder / FAMILY}.toml")
    for name, readings in sheets.items():
        echo(f"\nbenchproof judge {folder / FAMILY}.toml {folder / name}.csv")
        found = examine(ground, readings)
        print_dangers(found.dangers)
        print_judgement(family, found.judged)
        if found.believed is not None:
            print_diagnosis(found.believed)
        print_cautions(found.judged.cautions)


def _write(path: Path, content: bytes) -> None:
    """Write a file of the demo, but never over one that somebody changed."""
    if path.exists():
        if path.read_bytes() != content:
            raise Refused(f"{path}: is already there and differs; name another folder.")
        return
    path.write_bytes(content)
