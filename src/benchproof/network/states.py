"""A family's branches in a state of the part: which contacts are closed, and all the ohms."""

from collections.abc import Sequence

import numpy as np

from benchproof.family.branches import CASE
from benchproof.family.model import Family, Pair
from benchproof.network.branches.base import States, branches_of
from benchproof.network.resistance import Floats, effective_resistance


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
    edges = np.array([[number[a], number[b]] for a, b in (x.ends for x in family.branches)])
    wanted = np.array([[number[a], number[b]] for a, b in pairs])
    return effective_resistance(
        len(nodes), edges.reshape(-1, 2), conductance_s, wanted.reshape(-1, 2)
    )
