"""The API's operations on charts, alignment, foretelling and proofs."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from benchproof.align.band import band_of
from benchproof.align.remarks import turning_cautions, window_remarks
from benchproof.conduct.chartfile import checked
from benchproof.conduct.families import family_of, route_read, vehicle_read, window_read
from benchproof.conduct.opening import bench_named, open_proof
from benchproof.face.aligned import ForetoldView, WindowView, foretold_shown, window_shown
from benchproof.face.checked import ChartChecked, Wired, chart_shown, wired_shown
from benchproof.face.examined import RouteView, route_shown
from benchproof.face.proved import Proof, ProofListed, proof_shown, proofs_shown
from benchproof.foretell.faulttext import parse_fault
from benchproof.foretell.outlook import of_condition
from benchproof.foretell.permitproof import PermitFacts
from benchproof.proof.events import Mode
from benchproof.report.wiringplan import MOST_POLES, MOST_POSITIONS, POLES, POSITIONS, wiring_plan
from benchproof.shipped.contents import USUAL_BENCH
from benchproof.shipped.read import shipped_meter
from benchproof.web.apirecords import refusal
from benchproof.web.openapi import Call, Operation

Name = Annotated[str, Meta(max_length=80)]


class Chart(Struct, forbid_unknown_fields=True):
    """A chart as it is typed or pasted."""

    chart: Annotated[str, Meta(max_length=500_000)]
    name: Annotated[str, Meta(max_length=40)] = ""


class Condition(Struct, forbid_unknown_fields=True):
    """The stated condition of a part."""

    offset: Annotated[float, Meta(ge=-180, le=180)] = 0.0
    faults: Annotated[list[Annotated[str, Meta(max_length=200)]], Meta(max_length=3)] = []


class OnBench(Struct, forbid_unknown_fields=True):
    """The bench that a route is for: a tag of the gear, or the name of one that comes along."""

    bench: Name = USUAL_BENCH


class Box(Struct, forbid_unknown_fields=True):
    """What is put between connector and meter; poles and positions are of each rotary selector."""

    kind: Literal["selector", "matrix", "probes"] = "selector"
    poles: Annotated[int, Meta(ge=1, le=MOST_POLES)] = POLES
    positions: Annotated[int, Meta(ge=1, le=MOST_POSITIONS)] = POSITIONS


class ProofSearch(Struct, forbid_unknown_fields=True):
    """Which proofs to list, the latest first."""

    beginning: Name = ""
    open: bool = False
    after: Name | None = None
    limit: Annotated[int, Meta(ge=1, le=1000)] = 50


class NewProof(Struct, forbid_unknown_fields=True):
    """A proof to open; `another` although one of the part is open."""

    part: Annotated[str, Meta(min_length=1, max_length=40)]
    mode: Literal["find", "prove"] = "prove"
    meter: Name = ""
    bench: Name = ""
    by: Annotated[str, Meta(max_length=20)] = ""
    another: bool = False


def _check(call: Call) -> ChartChecked:
    return chart_shown(checked(call.body.chart, call.body.name))


def _window(call: Call) -> WindowView:
    kept = family_of(call.site.store, call.path["key"])
    found = window_read(kept.content, kept.family.name)
    return window_shown(found, band_of(found), window_remarks(found), turning_cautions(found))


def _foretell(call: Call) -> ForetoldView:
    kept = family_of(call.site.store, call.path["key"])
    vehicle = vehicle_read(kept.content, kept.family.name)
    try:
        faults = [parse_fault(text, vehicle.family) for text in call.body.faults]
    except ValueError as error:
        raise refusal(f"{error}.") from None
    outlook = of_condition(vehicle, call.body.offset, faults)
    meter = shipped_meter()
    return foretold_shown(outlook, PermitFacts(vehicle, (), meter), (), ())


def _route(call: Call) -> RouteView:
    store = call.site.store
    kept = family_of(store, call.path["key"])
    bench = bench_named(store, call.query.bench)
    return route_shown(bench.name, route_read(kept.content, kept.family.name, bench))


def _wiring(call: Call) -> Wired:
    family, box = family_of(call.site.store, call.path["key"]).family, call.query
    try:
        plan = wiring_plan(family, box.kind, box.poles, box.positions)
    except ValueError as error:
        raise refusal(f"It cannot be wired so: {error}.") from None
    return wired_shown(family.name, box.kind, plan.tables, plan.cautions)


def _proofs(call: Call) -> list[ProofListed]:
    asked, store = call.query, call.site.store
    before = None if asked.after is None else store.proofs.row(asked.after)
    rows = store.proofs.list(
        beginning=asked.beginning, open_only=asked.open, before=before, limit=asked.limit
    )
    return proofs_shown(rows, map(call.site.marks.of_proof, rows))


def _open(call: Call) -> Proof:
    new = call.body
    work = open_proof(
        call.site.store,
        new.part,
        Mode(new.mode),
        meter=new.meter,
        bench=new.bench,
        by=new.by,
        another=new.another,
    )
    return proof_shown(call.site.works.standing(work.tag))


def _proof(call: Call) -> Proof:
    return proof_shown(call.site.works.standing(call.path["tag"]))


OPERATIONS = (
    Operation("POST", "/api/chart", "check_chart", "Audit a chart.", ChartChecked, _check,
              body=Chart),
    Operation("GET", "/api/families/{key}/window", "window", "Tell a family's window.", WindowView,
              _window),
    Operation("POST", "/api/families/{key}/foretell", "foretell",
              "Foretell what a vehicle does with a part in a stated condition.", ForetoldView,
              _foretell, body=Condition),
    Operation("GET", "/api/families/{key}/route", "route",
              "Tell the shortest order of a full proof.", RouteView, _route, query=OnBench),
    Operation("GET", "/api/families/{key}/wiring", "wiring", "Tell how to wire a selector.",
              Wired, _wiring, query=Box),
    Operation("GET", "/api/proofs", "list_proofs", "List proofs.", list[ProofListed], _proofs,
              query=ProofSearch),
    Operation("POST", "/api/proofs", "open_proof", "Open a proof.", Proof, _open,
              body=NewProof, status=201),
    Operation("GET", "/api/proofs/{tag}", "get_proof", "Show how a proof stands.", Proof,
              _proof),
)  # fmt: skip
