"""The groups of commands, and where each command of them stands."""

import click

from benchproof.cli.lazygroup import Later, LazyGroup


@click.group(
    cls=LazyGroup,
    later={
        "open": Later("proof:open_proof", "Open a proof of PART and tell what to read first."),
        "choose": Later(
            "proof:choose",
            "Choose meter or bench of PROOF; a meter only before its first reading.",
        ),
        "read": Later(
            "proof:read",
            "Record a reading of PROOF, or a whole sheet; with neither, work through it at "
            "a prompt.",
        ),
        "undo": Later("proof:undo", "Withdraw the last reading of PROOF; it stays in the record."),
        "work": Later(
            "proof:note_work",
            "Note WHAT was done to the part of PROOF, before its first reading; --by says "
            "who did it.",
        ),
        "turn": Later(
            "proof:turn_body",
            "Note that the body was turned: what was read before is as found.",
        ),
        "unturn": Later(
            "proof:take_back_turn",
            "Take back a turn of the body that was noted by mistake; it stays in the record.",
        ),
        "remark": Later("proof:add_remark", "Add a remark to PROOF, closed ones too."),
        "photograph": Later(
            "proof:photograph",
            "Add a photograph to PROOF; where it was taken is removed from it.",
        ),
        "close": Later("proof:close", "Close PROOF; exit code 0 only if it is accepted."),
        "show": Later("proof:show", "Show everything that PROOF says."),
        "list": Later(
            "proof_list:list_proofs",
            "List proofs, the latest first; DANGER marks what readings show.",
        ),
        "replay": Later(
            "proof:replay",
            "Fold the events of PROOF again and say what differs from what was concluded.",
        ),
        "edge": Later(
            "prooffound:edge",
            "Record where PAIR changed near POSITION of PROOF: an edge that was found.",
        ),
        "offset": Later(
            "prooffound:offset",
            "Record the offset of PROOF's part as the marks, or something else, tell it.",
        ),
        "sweep": Later(
            "prooffound:sweep",
            "Record a sweep of the lever in PROOF: FILE is its trace (docs/traces.md).",
        ),
        "run": Later(
            "proofrun:run",
            "Run PROOF with the selector and meter of GEAR; it asks for the lever moves.",
        ),
    },
)
def proof() -> None:
    """One test of one part: read it, judge it, close it. A proof is named PART.1, PART.2, ..."""


@click.group(
    cls=LazyGroup,
    later={
        "strip": Later(
            "figure:strip",
            "Draw the travel strip of FAMILY: where each pair conducts and where the lever rests.",
        ),
        "dial": Later(
            "figure:dial",
            "Draw the dial of FAMILY: rotor and marks to scale, with the marks magnified.",
        ),
        "trace": Later(
            "figure:trace",
            "Draw the sweep trace FILE of a part of FAMILY, with the edges found in it.",
        ),
    },
)
def figure() -> None:
    """Draw a family as SVG, readable in black and white."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later("core:add_core", "Record a core as TAG."),
        "checklist": Later(
            "core_checklist:checklist",
            "Print what to look for at intake, and what follows from what is seen.",
        ),
        "note": Later(
            "core:note",
            'Note how the core TAG looks: benchproof core note C-1 "bent pins=slight".',
        ),
        "list": Later(
            "core:list_cores",
            "List the cores, or those whose tag begins with BEGINNING.",
        ),
        "show": Later(
            "core:show_core",
            "Show the core TAG, how it looked, and the parts that were taken from it.",
        ),
    },
)
def core() -> None:
    """Cores: what is taken in, how it looks, and what was missing."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later("unit:add_unit", "Record a unit as TAG."),
        "list": Later(
            "unit:list_units",
            "List the units, or those whose tag begins with BEGINNING.",
        ),
        "show": Later(
            "unit:show_unit",
            "Show the unit TAG and the parts that are reserved for it or fitted in it.",
        ),
    },
)
def unit() -> None:
    """Transmissions being rebuilt."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later(
            "part_add:add_part",
            "Record a part as TAG; FAMILY is a family file, a chart, or one that comes along.",
        ),
        "note": Later(
            "part:note",
            'Note how the part TAG looks: benchproof part note S-1 "bent pins=slight".',
        ),
        "list": Later(
            "part:list_parts",
            "List the parts, or those whose tag begins with BEGINNING; DANGER marks what "
            "readings show.",
        ),
        "show": Later(
            "part:show_part",
            "Show the part TAG, its dangers first, how it looked, its proofs, its way over "
            "the shelf.",
        ),
    },
)
def part() -> None:
    """Parts: range switches and the rest, each with a tag."""


@click.group(
    cls=LazyGroup,
    later={
        "list": Later("shelf:list_shelf", "List where the parts are."),
        "move": Later("shelf:move_part", "Move PART."),
    },
)
def shelf() -> None:
    """Proven parts: in stock, reserved for a unit, fitted, returned, scrapped."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later("people:add_person", "Record a person by INITIALS."),
        "list": Later("people:list_people", "List the people."),
    },
)
def person() -> None:
    """Who works at the bench; everything recorded bears initials."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later("people:add_customer", "Record a customer as TAG."),
        "list": Later("people:list_customers", "List the customers."),
    },
)
def customer() -> None:
    """Whom units belong to; record no more than you need to give them back."""


@click.group(
    cls=LazyGroup,
    later={
        "add": Later("gear_add:add_gear", "Record a piece of bench gear as TAG."),
        "list": Later("gear:list_gear", "List the bench gear; what is overdue says so."),
        "check": Later(
            "gear_check:check",
            "Check that the instruments of a bench answer, and that no voltage stands on the part.",
        ),
    },
)
def gear() -> None:
    """Meters, selectors and other bench gear."""
