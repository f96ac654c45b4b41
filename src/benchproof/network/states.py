"""A family's branches in a state of the part: which contacts are closed, and all the ohms."""

from collections.abc import Mapping, Sequence

import numpy as np

from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair
from benchproof.network.branches.base import States, branches_of
from benchproof.network.resistance import Floats, Ints, effective_resistance


def at_detents(family: Family, offset_deg: float = 0.0) -> States:
    """Return one state a position: the lever in its detent, the part out of line by an offset.

    Parameters
    ----------
    family : Family
        The kind of part.
    offset_deg : float
        The angle by which the moving part leads where it should be, degrees; positive toward
        the last-listed position.

    Raises
    ------
    ValueError
        If an offset is asked of a family that does not tell its detents.
    """
    numbers = np.arange(len(family.positions))
    if family.detents_deg is None:
        if offset_deg:
            raise ValueError(f"family {family.name} tells no detent angles, so no offset applies")
        return States(numbers, None)
    return States(numbers, np.asarray(family.detents_deg) + offset_deg)


def pair_ohms(family: Family, pairs: Sequence[Pair], states: States) -> Floats:
    """Return what an ideal meter reads across pairs in many states.

    Parameters
    ----------
    family : Family
        A kind of part whose branches are known.
    pairs : sequence of pair
        Names of pins or of the case.
    states : States
        The states of the part.

    Returns
    -------
    array of float, shape (states, pairs)
        Ohms; infinite where nothing joins the pair.

    Raises
    ------
    KeyError
        If a pair names no node of the family.
    ValueError
        If a contact's dwells need angles and the states have none.
    """
    return ohms_between(family, pairs, conductances_s(family, states))


def conductances_s(family: Family, states: States) -> Floats:
    """Return every branch's conductance in each state, shape (states, branches), siemens.

    Raises
    ------
    ValueError
        If a contact's dwells need angles and the states have none.
    """
    conductance_s = np.empty((len(states.position), len(family.branches)))
    for column, branch in enumerate(branches_of(family)):
        conductance_s[:, column] = branch.conductance_s(states, family.positions)
    return conductance_s


def ohms_between(family: Family, pairs: Sequence[Pair], conductance_s: Floats) -> Floats:
    """Return what an ideal meter reads across pairs, by the conductances of the branches.

    Parameters
    ----------
    family : Family
        A kind of part whose branches are known.
    pairs : sequence of pair
        Names of pins or of the case.
    conductance_s : array of float, shape (states, branches)
        Of each branch in each state, siemens.

    Returns
    -------
    array of float, shape (states, pairs)
        Ohms; infinite where nothing joins the pair.

    Raises
    ------
    KeyError
        If a pair names no node of the family.
    """
    nodes = [*family.pin_names, CASE, *family.inner]
    number = {name: i for i, name in enumerate(nodes)}
    edges = [(number[a], number[b]) for a, b in (x.ends for x in family.branches)]
    wanted = [(number[a], number[b]) for a, b in pairs]
    group = _groups(len(nodes), edges)
    ohms = np.full((len(conductance_s), len(wanted)), np.inf)
    for here in dict.fromkeys(group[a] for a, b in wanted if group[a] == group[b]):
        # What is electrically separate is solved apart.
        own = {n: i for i, n in enumerate(m for m, of in enumerate(group) if of == here)}
        branches = [n for n, (a, _) in enumerate(edges) if group[a] == here]
        columns = [n for n, (a, b) in enumerate(wanted) if group[a] == group[b] == here]
        ohms[:, columns] = effective_resistance(
            len(own),
            _numbered([edges[n] for n in branches], own),
            conductance_s[:, branches],
            _numbered([wanted[n] for n in columns], own),
        )
    return ohms


def _numbered(pairs: Sequence[tuple[int, int]], own: Mapping[int, int]) -> Ints:
    """Return pairs of nodes by the numbers that their group has for them."""
    found = np.array([[own[a], own[b]] for a, b in pairs], dtype=np.intp)
    return found.reshape(-1, 2)


def _groups(nodes: int, edges: Sequence[tuple[int, int]]) -> list[int]:
    """Return the number of the group of each node: of all that branches join, whatever they do."""
    at: list[list[int]] = [[] for _ in range(nodes)]
    for a, b in edges:
        at[a].append(b)
        at[b].append(a)
    group = [-1] * nodes
    for start in range(nodes):
        if group[start] < 0:
            group[start] = start
            reached = [start]
            for here in reached:
                fresh = [other for other in at[here] if group[other] < 0]
                for other in fresh:
                    group[other] = start
                reached += dict.fromkeys(fresh)
    return group
