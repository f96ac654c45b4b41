"""An assembly file in TOML: family files under `members`, and the harness that joins them."""

from collections.abc import Callable

from benchproof.family.assembly import Assembly, NotJoined, node_of
from benchproof.family.familyfile import FamilyReader
from benchproof.family.familyshape import (
    AssemblyFile,
    BranchFile,
    FamilyFile,
    LimitsFile,
    assembly_shape_of,
)
from benchproof.family.model import Family
from benchproof.family.names import check_pin_name, named
from benchproof.family.sentence import quoted
from benchproof.family.tomlfile import TomlFile

MEMBERS = "members"
"""The table that tells an assembly from a part by itself."""


def is_assembly(toml: TomlFile) -> bool:
    """Return whether a file is one of parts that a harness joins."""
    return MEMBERS in toml.values


def assembly_of_toml(
    toml: TomlFile, kinds: tuple[type[BranchFile], ...], join: Callable[[Assembly], Family]
) -> Family:
    """Read an assembly file as the one family that its connector is.

    Parameters
    ----------
    toml : TomlFile
        The file.
    kinds : tuple of type of BranchFile
        The kinds of branch that its parts and its harness may have.
    join : callable
        Joins parts to one family.

    Raises
    ------
    BadFile
        With every mistake found, each with its line.
    """
    shaped = toml.shaped(assembly_shape_of(kinds))
    members = {}
    for name, file in shaped.members.items():
        place = toml.line_of(MEMBERS, name)
        reader = FamilyReader(file, toml, (MEMBERS, name))
        reader.read(place, "", named, _check_member, name)
        members[name] = reader.family()
    _one_lever(members, toml)
    toml.problems.raise_if_any()
    reader = FamilyReader(_harness_file(shaped, members), toml)
    harness = reader.family()
    for number, name in enumerate(shaped.inner):
        if any(name == node_of(one, pin) for one in members for pin in members[one].pin_names):
            toml.problems.add(
                toml.line_of("inner", number),
                f"{quoted(name)} is a pin of a member; name the inner node otherwise.",
            )
    toml.problems.raise_if_any()
    try:
        return join(Assembly(harness, members, shaped.limits is not None, reader.said()))
    except NotJoined as error:
        for problem in error.problems:
            toml.problems.add(problem.place, problem.sentence)
        toml.problems.raise_if_any()
        raise


def _check_member(name: str) -> str:
    """Return the name of a member as it is, if its pins can be named by it."""
    if "." in name:
        raise ValueError("has a point in it, which parts a member from its pin; leave it out")
    return check_pin_name(name)


def _one_lever(members: dict[str, Family], toml: TomlFile) -> None:
    """Note a second member with a lever: each would have an offset of its own."""
    first, *more = [name for name, family in members.items() if family.lever] or [""]
    for name in more:
        toml.problems.add(
            toml.line_of(MEMBERS, name),
            f"{quoted(name)} has a lever, and so has {quoted(first)}; an assembly is read with one "
            "lever, so give each switch a file of its own.",
        )


def _harness_file(shaped: AssemblyFile, members: dict[str, Family]) -> FamilyFile:
    """Return the harness as a family file: its positions are those of the member with a lever."""
    lever = next((family for family in members.values() if family.lever), None)
    names = [pin if isinstance(pin, str) else pin.name for pin in shaped.pins]
    nodes = [node_of(name, pin) for name, one in members.items() for pin in one.pin_names]
    return FamilyFile(
        name=shaped.name,
        pins=shaped.pins,
        chart=shaped.chart,
        positions=None if lever is None else [*lever.positions],
        note=shaped.note,
        detents_deg=None if lever is None or not lever.detents_deg else [*lever.detents_deg],
        limits=shaped.limits or LimitsFile(),
        inner=[*shaped.inner, *(node for node in nodes if node not in names)],
        branches=shaped.branches,
        said=shaped.said,
    )
