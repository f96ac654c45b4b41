"""`benchproof simulate`: sheets of readings of parts with known faults."""

import json
from pathlib import Path
from typing import Any

import click
import numpy as np

from benchproof.cli.loading import load_family, load_meter, load_priors
from benchproof.cli.objects import print_json
from benchproof.cli.options import FAMILY, JSON, METER
from benchproof.cli.output import echo
from benchproof.cli.refusals import Refused
from benchproof.cli.serve import serve_bench, serve_options
from benchproof.diagnose.tables import tables_of
from benchproof.face.done import Written
from benchproof.family.names import need_lever
from benchproof.reading.sheet import write_readings
from benchproof.shipped.contents import USUAL_METER
from benchproof.simulate.part import PartSource
from benchproof.simulate.reader import Habits, Reader
from benchproof.simulate.sheet import full_sheet
from benchproof.simulate.trace import sweep_of, write_trace

MOST_PARTS = 100_000


@click.command()
@FAMILY
@click.option("--count", type=click.IntRange(1, MOST_PARTS), default=10, help="How many parts.")
@click.option("--seed", type=click.IntRange(0), default=0, help="One seed gives the same parts.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FOLDER", help="New or empty.")
@METER
@click.option("--priors", metavar="FILE", help="Priors to draw from in place of the usual.")
@click.option("--traces", is_flag=True, help="Write a sweep trace of each part too.")
@JSON
@serve_options
def simulate(
    family: str,
    count: int,
    seed: int,
    out: Path | None,
    meter: str | None,
    priors: str | None,
    traces: bool,
    serve: bool,
    as_json: bool,
    **wanted: Any,  # noqa: ANN401  (the options of the simulated bench)
) -> None:
    """Write sheets of readings of invented parts of FAMILY into FOLDER, and the truth about them.

    With --serve nothing is written: one part is put on a simulated bench, a SCPI meter with its
    selector and lever on 127.0.0.1, until Ctrl-C.

    Each part gets a file part-N.csv; truth.jsonl tells, one line a part, its file, offset, faults,
    right verdict, and whether its start permit conducts in gear. FOLDER must be new or empty.
    """
    if serve:
        serve_bench(family, seed, meter, priors, as_json=as_json, **wanted)
        return
    if out is None:
        raise click.UsageError("Name a folder with --out, or serve a bench with --serve.")
    chart = load_family(family)
    tables = tables_of(chart, load_priors(priors, chart.name))
    used = load_meter(meter or USUAL_METER)
    if traces:
        need_lever(chart, "sweep")
    out.mkdir(parents=True, exist_ok=True)
    if any(out.iterdir()):
        raise Refused(f"{out}: is not empty; name a new folder.")
    source, rng = PartSource(tables), np.random.default_rng(seed)
    width = len(str(count))
    # Of their own, so that the sheets of a seed are the same with traces or without.
    swept = np.random.default_rng([seed, 1])
    with (out / "truth.jsonl").open("w", encoding="utf-8") as truth:
        for number in range(1, count + 1):
            part = source.draw(rng)
            # Sheets of a proof: every cell in ohms, no marks.
            reader = Reader(part, tables, used, rng, tables.priors, Habits(marks=0.0))
            name = f"part-{number:0{width}}.csv"
            text = write_readings(full_sheet(tables, reader.read, used))
            (out / name).write_text(f"# Invented: simulated.\n{text}", encoding="utf-8")
            if traces:
                pairs = tables.pairs[: tables.charted]
                logged = sweep_of(part, tables.family, pairs, swept)
                trace = out / name.replace(".csv", "-trace.csv")
                noted = tables.family.positions[:1]
                trace.write_text(write_trace(logged, tables.family, noted), encoding="utf-8")
            moved, hazard = {}, {}
            if chart.lever:
                moved = {"offset": part.offset, "unit": tables.shape.unit}
                hazard = {"start_permit_conducts_in_gear": part.hazard}
            told = {
                "file": name,
                **moved,
                "faults": [fault.told for fault in part.faults],
                "verdict": part.verdict.value,
                **hazard,
            }
            truth.write(json.dumps(told) + "\n")
    if as_json:
        print_json(Written(files=[f"{one}" for one in sorted(out.iterdir())]))
        return
    echo(f"Wrote {count} sheets and truth.jsonl to {out} (all invented).")
