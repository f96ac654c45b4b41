"""A family as text that reads back to it: a table, or a family file."""

import json
from collections.abc import Sequence

from benchproof.family.model import Family, Role, pair_text
from benchproof.family.safetext import for_cell


def chart_text(family: Family) -> str:
    """Return a chart as a table, its cells parted by tabs, that reads back to the same chart."""
    roles = any(row.role is not Role.UNTOLD for row in family.chart)
    header = ["pins", *family.headings(), *(["role"] if roles else [])]
    rows = [
        [pair_text(row.pair), *(str(cell) for cell in row.expect), *([row.role] if roles else [])]
        for row in family.chart
    ]
    return table_text([header, *_said_rows(family), *rows])


def _said_rows(family: Family) -> list[list[str]]:
    """Return the rows that say what the positions are, and that there is no start permit."""
    rows = []
    if family.positions_told:
        kinds = {
            name: kind for kind in ("park", "neutral", "reverse") for name in getattr(family, kind)
        }
        rows.append(["lever", *(kinds.get(name, "drive") for name in family.positions)])
    if family.no_start_permit:
        rows.append(["start permit", "none"])
    return rows


def table_text(rows: Sequence[Sequence[str]]) -> str:
    """Return rows as a table, a tab between cells, that reads back to the same cells."""
    return "".join("\t".join(_cell(cell) for cell in row) + "\n" for row in rows)


def _cell(text: str) -> str:
    flat = for_cell(" ".join(text.split()))
    return '"' + flat.replace('"', '""') + '"' if '"' in flat else flat


def family_file(family: Family, note: str = "") -> str:
    """Return a family that was read from a table as a family file in TOML.

    Parameters
    ----------
    family : Family
        With its pins, positions, chart, roles and what its positions are; nothing else of it is
        written, as a table holds nothing else.
    note : str
        Where the chart comes from.
    """
    lines = [
        f"name = {_quoted(family.name)}",
        f"note = {_quoted(note)}",
        *([f"positions = {_listed(family.positions)}"] if family.lever else []),
        f"pins = {_listed(family.pin_names)}",
        *(f"{kind} = {_listed(names)}" for kind, names in _groups(family)),
    ]
    for row in family.chart:
        lines += ["", "[[chart]]", f"pair = {_quoted(pair_text(row.pair))}"]
        if row.role is not Role.UNTOLD:
            lines.append(f"role = {_quoted(row.role.value)}")
        lines.append(f"expect = {_listed([str(cell) for cell in row.expect])}")
    if family.no_start_permit or family.permit_reason:
        lines += ["", "[said]"]
    if family.no_start_permit:
        lines.append('start_permit = "none"')
    if family.permit_reason:
        lines.append(f"permit_reason = {_quoted(family.permit_reason)}")
    return "\n".join(lines) + "\n"


def _groups(family: Family) -> list[tuple[str, tuple[str, ...]]]:
    """Return what somebody said that the positions are; what their names say needs no saying."""
    groups = (("park", family.park), ("neutral", family.neutral), ("reverse", family.reverse))
    return list(groups) if family.positions_told else []


def said_table(family: Family) -> str:
    """Return the table of a family file that says what nobody had said of it."""
    lines = ["[said]"]
    if family.positions_told:
        for kind in ("park", "neutral", "reverse"):
            names = ", ".join(map(_quoted, getattr(family, kind)))
            lines.append(f"{kind} = [{names}]")
    if family.no_start_permit:
        lines.append('start_permit = "none"')
    if family.permit_reason:
        lines.append(f"permit_reason = {_quoted(family.permit_reason)}")
    roles = [
        f"{_quoted('-'.join(row.pair))} = {_quoted(row.role.value)}"
        for row in family.chart
        if row.role is not Role.UNTOLD
    ]
    if roles:
        lines += ["", "[said.roles]", *roles]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # What JSON escapes, TOML escapes the same way.
    return json.dumps(text, ensure_ascii=False)


def _listed(texts: Sequence[str]) -> str:
    return f"[{', '.join(_quoted(text) for text in texts)}]"
