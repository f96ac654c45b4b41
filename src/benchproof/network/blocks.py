"""The ohms between every two nodes, block by block.

A *block* is a largest part of the network that no single node holds together: two nodes with what
lies between them, or several that any one of their nodes could leave without parting the others.
All that passes from one block to the next passes through one node, so the ohms between two nodes
are the sum of those between entry and exit of each block on the way, and a fault changes nothing
but its own block. Contacts that share a common pin are a block each, however many there are.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from benchproof.network.resistance import Floats, Ints, effective_resistance


@dataclass(frozen=True)
class NetworkBlock:
    """A part of a network that no single node holds together.

    Attributes
    ----------
    nodes : array of int
        Its nodes, that by which it hangs on the blocks before it first.
    edges : array of int
        The numbers of its edges.
    ends : array of int, shape (edges, 2)
        Their ends, numbered as in `nodes`.
    """

    nodes: Ints
    edges: Ints
    ends: Ints

    def ohms(self, conductance_s: Floats) -> Floats:
        """Return the ohms between every two of its nodes, shape (states, nodes, nodes).

        Parameters
        ----------
        conductance_s : array, shape (states, edges)
            Of each of its edges, siemens; zero is open.
        """
        count = len(self.nodes)
        distinct, which = np.unique(conductance_s, axis=0, return_inverse=True)
        pairs = np.array([*combinations(range(count), 2)])
        if count == 2:
            with np.errstate(divide="ignore"):
                found = 1.0 / distinct.sum(axis=1, keepdims=True)
        else:
            found = effective_resistance(count, self.ends, distinct, pairs)
        ohms = np.zeros((len(distinct), count, count))
        ohms[:, pairs[:, 0], pairs[:, 1]] = ohms[:, pairs[:, 1], pairs[:, 0]] = found
        every: Floats = ohms[which.reshape(-1)]
        return every


@dataclass(frozen=True)
class Blocks:
    """A network in blocks.

    Attributes
    ----------
    nodes : int
        How many nodes the network has.
    blocks : tuple of NetworkBlock
        Each after that on which it hangs; loops of an edge upon itself are left out.
    of_edge : mapping of int to int
        The block of each edge.
    nearest : tuple of array of int, shape (nodes,) each
        For each block, which of its nodes is nearest to each node, by number in the block; -1 for
        nodes that no edge joins to it.
    """

    nodes: int
    blocks: tuple[NetworkBlock, ...]
    of_edge: dict[int, int]
    nearest: tuple[Ints, ...]

    def ohms(self, conductance_s: Floats) -> Floats:
        """Return the ohms between every two nodes, shape (states, nodes, nodes).

        Nothing is subtracted, so the accuracy is that of `effective_resistance`.

        Parameters
        ----------
        conductance_s : array, shape (states, edges)
            Of each edge, siemens; zero is open.

        Returns
        -------
        array
            Infinite where nothing joins the two.
        """
        found = np.full((len(conductance_s), self.nodes, self.nodes), np.inf)
        own = np.arange(self.nodes)
        found[:, own, own] = 0.0
        before: list[set[int]] = []
        for block in self.blocks:
            entry, fresh = int(block.nodes[0]), block.nodes[1:]
            ohms = block.ohms(conductance_s[:, block.edges])
            known = next((nodes for nodes in before if entry in nodes), None)
            if known is None:
                known = {entry}
                before.append(known)
            there = np.array(sorted(known), dtype=np.intp)
            across = found[:, there, entry][:, :, None] + ohms[:, :1, 1:]
            found[:, there[:, None], fresh] = across
            found[:, fresh[:, None], there] = across.transpose(0, 2, 1)
            found[:, fresh[:, None], fresh] = ohms[:, 1:, 1:]
            known.update(fresh.tolist())
        return found


def blocks_of(nodes: int, edges: Sequence[Sequence[int]]) -> Blocks:
    """Return a network in blocks.

    Parameters
    ----------
    nodes : int
        How many nodes there are.
    edges : sequence of (int, int)
        The two nodes of each edge; edges may be parallel.

    References
    ----------
    J. Hopcroft, R. Tarjan, "Algorithm 447: efficient algorithms for graph manipulation",
    Communications of the ACM 16 (1973), from memory: edges wait on a stack until the search comes
    back to a node from which nothing further down reaches higher up.
    """
    at: list[list[tuple[int, int]]] = [[] for _ in range(nodes)]
    for number, (one, other) in enumerate(edges):
        if one != other:
            at[one].append((other, number))
            at[other].append((one, number))
    blocks = []
    for entry, own in _parted(at):
        inside = dict.fromkeys([entry, *(node for number in own for node in edges[number])])
        place = {node: n for n, node in enumerate(inside)}
        ends = [[place[node] for node in edges[number]] for number in own]
        blocks.append(NetworkBlock(np.array([*inside]), np.array(own), np.array(ends)))
    of_edge = {int(number): n for n, block in enumerate(blocks) for number in block.edges}
    return Blocks(nodes, tuple(blocks), of_edge, tuple(_nearest(at, block) for block in blocks))


def _parted(at: Sequence[Sequence[tuple[int, int]]]) -> Iterator[tuple[int, list[int]]]:
    """Yield the edges of each block and the node by which it hangs on those before it."""
    seen: dict[int, int] = {}
    for root in range(len(at)):
        if root in seen:
            continue
        seen[root] = len(seen)
        lowest = {root: seen[root]}
        taken: list[int] = []
        found: list[tuple[int, list[int]]] = []
        way = [(root, -1, iter(at[root]))]
        while way:
            node, came_by, further = way[-1]
            for other, number in further:
                if number == came_by:
                    continue
                if other not in seen:
                    seen[other] = lowest[other] = len(seen)
                    taken.append(number)
                    way.append((other, number, iter(at[other])))
                    break
                if seen[other] < seen[node]:
                    taken.append(number)
                    lowest[node] = min(lowest[node], seen[other])
            else:
                way.pop()
                if way:
                    above = way[-1][0]
                    lowest[above] = min(lowest[above], lowest[node])
                    if lowest[node] >= seen[above]:
                        first = taken.index(came_by)
                        found.append((above, taken[first:]))
                        del taken[first:]
        # The search closes the furthest block first.
        yield from reversed(found)


def _nearest(at: Sequence[Sequence[tuple[int, int]]], block: NetworkBlock) -> Ints:
    """Return which of a block's nodes is nearest to each node; -1 if none is joined to it."""
    found = np.full(len(at), -1)
    own = {int(number) for number in block.edges}
    for n, node in enumerate(block.nodes.tolist()):
        found[node] = n
        reached = [node]
        for here in reached:
            for other, number in at[here]:
                if number not in own and found[other] < 0:
                    found[other] = n
                    reached.append(other)
    return found
