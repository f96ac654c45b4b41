"""Which object each command prints: one table, for printing, for docs/json.md and for tests."""

from collections.abc import Mapping

from benchproof.face.aligned import Centred, Foretold, Procedure, Window
from benchproof.face.checked import Audited, GearChecked, Gears, Wired
from benchproof.face.examined import Advised, Decided, Route
from benchproof.face.kept import (
    Checklist,
    Core,
    Cores,
    Customers,
    Exported,
    GearList,
    MoveView,
    Part,
    Parts,
    People,
    SalvagedView,
    Shelf,
    Unit,
    Units,
    Verified,
)
from benchproof.face.proved import Proof, ProofRun, Proofs, Replay
from benchproof.face.swept import Judged
from benchproof.face.view import View

_PROOF = (
    "open", "choose", "read", "edge", "offset", "sweep", "undo", "work", "turn", "unturn",
    "remark", "photograph", "close", "show",
)  # fmt: skip
SHOWN: Mapping[str, type[View]] = {
    "judge": Judged,
    "next": Advised,
    "route": Route,
    "decide": Decided,
    "window": Window,
    "centre": Procedure,
    "centre --edges": Centred,
    "foretell": Foretold,
    **{f"proof {word}": Proof for word in _PROOF},
    "proof run": ProofRun,
    "proof list": Proofs,
    "proof replay": Replay,
    "audit": Audited,
    "wiring": Wired,
    "gear check": GearChecked,
    "gear check, without a gear file": Gears,
    "core list": Cores,
    "core show": Core,
    "core checklist": Checklist,
    "part list": Parts,
    "part show": Part,
    "unit list": Units,
    "unit show": Unit,
    "shelf list": Shelf,
    "shelf move": MoveView,
    "person list": People,
    "customer list": Customers,
    "gear list": GearList,
    "verify": Verified,
    "salvage": SalvagedView,
    "export": Exported,
}
"""By the words of the command, with what tells two of its objects apart."""
