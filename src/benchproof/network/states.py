"""A family's branches in a state of the part: which contacts are closed, and all the ohms."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchproof.family.branches import CASE, Branch, Contact, Resistor
from benchproof.family.model import Family, Pair
from benchproof.network.resistance import Floats, effective_resistance


@dataclass(frozen=True)
class States:
    """Many states of a part.

    Attributes
    ----------
    position : array of int, shape (states,)
        Number of the lever position each state belongs to.
    angle_deg : array of float, shape (states,), or None
        Shaft angle, degrees; None if the family does not tell its detents.
    """

    position: NDArray[np.intp]
    angle_deg: Floats | None


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
    for column, branch in enumerate(family.branches):
        conductance_s[:, column] = _conductance_s(branch, family, states)
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


def _conductance_s(branch: Branch, family: Family, states: States) -> Floats:
    """Return a branch's conductance in each state, siemens."""
    match branch:
        case Contact():
            closed = _closed(branch, family, states)
            return np.where(closed, 1.0 / branch.closed_ohm, 1.0 / branch.open_ohm)
        case Resistor():
            return np.full(len(states.position), 1.0 / branch.ohm)


def _closed(contact: Contact, family: Family, states: States) -> NDArray[np.bool_]:
    """Return whether a contact is closed in each state."""
    if not contact.dwells:
        numbers = [family.positions.index(name) for name in contact.closed_in]
        return np.isin(states.position, numbers)
    if states.angle_deg is None:
        raise ValueError("the contact's dwells are angles, and the states have none")
    closed = np.zeros(len(states.angle_deg), dtype=np.bool_)
    for dwell in contact.dwells:
        closed |= (states.angle_deg >= dwell.from_deg) & (states.angle_deg <= dwell.to_deg)
    return closed
