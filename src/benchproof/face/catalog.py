"""Which object each command prints: one table, for printing, for docs/json.md and for tests."""

from collections.abc import Mapping

from benchproof.face.aligned import Centred, ForetoldView, ProcedureView, WindowView
from benchproof.face.checked import Audited, GearCheckedView, Gears, Wired
from benchproof.face.done import GradesNoted, Served, TakenIn, Written
from benchproof.face.examined import Advised, Decided, RouteView
from benchproof.face.kept import (
    Checklist,
    Core,
    Cores,
    CoreView,
    Customers,
    CustomerView,
    Exported,
    GearList,
    GearView,
    MoveView,
    PartInFull,
    Parts,
    PartView,
    People,
    PersonView,
    SalvagedView,
    ShelfView,
    ShopView,
    UnitInFull,
    Units,
    UnitView,
    VerifiedView,
)
from benchproof.face.proved import Proof, ProofRun, ProofsView, Replay
from benchproof.face.swept import Judged
from benchproof.face.view import View

_PROOF = (
    "open", "choose", "read", "edge", "offset", "sweep", "undo", "work", "turn", "unturn",
    "remark", "photograph", "close", "show",
)  # fmt: skip
SHOWN: Mapping[str, type[View]] = {
    "judge": Judged,
    "next": Advised,
    "route": RouteView,
    "decide": Decided,
    "window": WindowView,
    "centre": ProcedureView,
    "centre --edges": Centred,
    "foretell": ForetoldView,
    **{f"proof {word}": Proof for word in _PROOF},
    "proof run": ProofRun,
    "proof list": ProofsView,
    "proof replay": Replay,
    "audit": Audited,
    "wiring": Wired,
    "gear check": GearCheckedView,
    "gear check, without a gear file": Gears,
    "core list": Cores,
    "core show": Core,
    "core checklist": Checklist,
    "part list": Parts,
    "part show": PartInFull,
    "unit list": Units,
    "unit show": UnitInFull,
    "shelf list": ShelfView,
    "shelf move": MoveView,
    "shop": ShopView,
    "person list": People,
    "customer list": Customers,
    "gear list": GearList,
    "verify": VerifiedView,
    "salvage": SalvagedView,
    "export": Exported,
    "core add": CoreView,
    "core note": GradesNoted,
    "part add": PartView,
    "part note": GradesNoted,
    "unit add": UnitView,
    "person add": PersonView,
    "customer add": CustomerView,
    "gear add": GearView,
    "backup": Written,
    "restore": TakenIn,
    "import": TakenIn,
    "certificate": Written,
    "tag": Written,
    "figure strip": Written,
    "figure dial": Written,
    "figure trace": Written,
    "demo": Written,
    "simulate": Written,
    "simulate --serve": Served,
    "bench": Served,
}
"""By the words of the command, with what tells two of its objects apart."""
