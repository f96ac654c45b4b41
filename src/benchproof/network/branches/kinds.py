"""The kinds of branch: a new one is added here, and nowhere else."""

from benchproof.network.branches.base import Branch
from benchproof.network.branches.coil import Coil
from benchproof.network.branches.contact import Contact
from benchproof.network.branches.resistor import Resistor
from benchproof.network.branches.wire import Wire

KINDS: tuple[type[Branch], ...] = (Contact, Resistor, Coil, Wire)

FILES = tuple(kind.FILE for kind in KINDS)
"""Their shapes in a family file."""
BRANCH_FAULTS = tuple(fault for kind in KINDS for fault in kind.FAULTS)
"""What may be wrong with them."""
