"""Nested dissection: an order of elimination that keeps the factor of a shell small.

A graph is cut in two by a thin set of nodes, both halves again, and so on; the cuts are eliminated
last. Source: A. George, 'Nested dissection of a regular finite element mesh', SIAM J. Numer. Anal.
10 (1973) 345-363 (from memory). Places are not needed: graph distances from a few far-apart nodes
stand for coordinates, and the cut is the least cover of the edges that cross (Koenig).
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from graduale.base.arrays import Floats, Ints

_LANDMARKS = 5
_TRIED = 4  # directions in which a piece is tried


@dataclass(frozen=True, eq=False)
class Graph:
    """Neighbours of node v: adj[ptr[v]:ptr[v + 1]], without v itself."""

    ptr: Ints
    adj: Ints

    @property
    def size(self) -> int:
        """Number of nodes."""
        return len(self.ptr) - 1

    def neighbours(self, nodes: Ints) -> Ints:
        """All neighbours of some nodes (k,), one after the other."""
        start, count = self.ptr[nodes], self.ptr[nodes + 1] - self.ptr[nodes]
        before = np.cumsum(count) - count
        out: Ints = self.adj[np.repeat(start - before, count) + np.arange(int(count.sum()))]
        return out

    def levels(self, start: int) -> Ints:
        """Steps from `start` to every node (n,); `size` where there is no way."""
        out = np.full(self.size, self.size)
        front, step = np.array([start]), 0
        while len(front):
            out[front] = step
            near = self.neighbours(front)
            front, step = np.unique(near[out[near] == self.size]), step + 1
        return out


@dataclass(frozen=True, eq=False)
class Piece:
    """Nodes that are eliminated together, after the pieces `children` (their numbers)."""

    nodes: Ints
    children: tuple[int, ...]


def dissect(graph: Graph, weight: Ints, leaf: int) -> tuple[Piece, ...]:
    """Pieces in the order of elimination. weight (n,): freedoms of a node; leaf: freedoms of the
    smallest pieces, which are not cut further."""
    pieces: list[Piece] = []
    axes = _directions(graph)
    tail = np.repeat(np.arange(graph.size), np.diff(graph.ptr))
    forward = tail < graph.adj
    _cut(pieces, np.arange(graph.size), tail[forward], graph.adj[forward], axes, weight, leaf)
    return tuple(pieces)


def _directions(graph: Graph) -> Floats:
    """Stand-ins for coordinates, (d, n): distances from landmarks and their differences."""
    near = graph.levels(int(np.argmax(graph.levels(0))))
    far = [near]
    for _ in range(_LANDMARKS - 1):
        far.append(graph.levels(int(np.argmax(near))))
        near = np.minimum(near, far[-1])
    pairs = [far[i] - far[j] for i in range(len(far)) for j in range(i)]
    return np.array([*pairs, *far], dtype=np.float64)


def _cut(
    pieces: list[Piece],
    nodes: Ints,
    tail: Ints,
    head: Ints,
    axes: Floats,
    weight: Ints,
    leaf: int,
) -> tuple[int, ...]:
    """Appends the pieces of `nodes`, whose inner edges are tail-head; returns the topmost ones."""
    if weight[nodes].sum() <= leaf:
        return _append(pieces, nodes, ())
    side = _halves(nodes, tail, head, axes, weight)
    across = side[tail] != side[head]
    swap = side[tail[across]] == 1
    ends = np.where(swap, [head[across], tail[across]], [tail[across], head[across]])
    middle = _cover(ends[0], ends[1])
    side[middle] = 2
    halves = [nodes[side[nodes] == k] for k in (0, 1)]
    if not all(map(len, halves)):
        return _append(pieces, nodes, ())
    children: tuple[int, ...] = ()
    for k, half in enumerate(halves):
        inner = (side[tail] == k) & (side[head] == k)
        children += _cut(pieces, half, tail[inner], head[inner], axes, weight, leaf)
    return _append(pieces, np.sort(middle), children) if len(middle) else children


def _append(pieces: list[Piece], nodes: Ints, children: tuple[int, ...]) -> tuple[int, ...]:
    pieces.append(Piece(nodes, children))
    return (len(pieces) - 1,)


def _halves(nodes: Ints, tail: Ints, head: Ints, axes: Floats, weight: Ints) -> Ints:
    """Side 0 or 1 of each node of the piece, in an array over all nodes (-1 elsewhere): the
    direction whose middle is crossed at the fewest nodes."""
    own = axes[:, nodes]
    half = 0.5 * weight[nodes].sum()
    best: tuple[int, Ints] | None = None
    for d in np.argsort(-own.std(axis=1), kind="stable")[:_TRIED]:
        order = np.argsort(own[d], kind="stable")
        first = int(np.searchsorted(np.cumsum(weight[nodes[order]]), half)) + 1
        side = np.full(axes.shape[1], -1)
        side[nodes] = 1
        side[nodes[order[:first]]] = 0
        across = side[tail] != side[head]
        ends = np.concatenate([tail[across], head[across]])
        touched = np.unique(ends)
        crossed = min(int(np.sum(side[touched] == k)) for k in (0, 1))
        if best is None or crossed < best[0]:
            best = crossed, side
    assert best is not None
    return best[1]


def _cover(a: Ints, b: Ints) -> Ints:
    """Fewest nodes that touch all edges a-b of a two-sided graph, from a greatest matching."""
    left, row = np.unique(a, return_inverse=True)
    right, col = np.unique(b, return_inverse=True)
    if not len(left):
        return left
    ones = np.ones(len(row))
    edges = sp.csr_matrix((ones, (row, col)), shape=(len(left), len(right)))
    match = csgraph.maximum_bipartite_matching(edges, perm_type="column")
    partner = np.full(len(right), -1)
    partner[match[match >= 0]] = np.flatnonzero(match >= 0)
    graph = Graph(edges.indptr.astype(np.int64), edges.indices.astype(np.int64))
    seen_left, seen_right = match < 0, np.zeros(len(right), dtype=bool)
    front = np.flatnonzero(seen_left)
    while len(front):
        reached = np.unique(graph.neighbours(front))
        reached = reached[~seen_right[reached]]
        seen_right[reached] = True
        front = partner[reached]
        front = front[front >= 0]
        front = front[~seen_left[front]]
        seen_left[front] = True
    return np.concatenate([left[~seen_left], right[seen_right]])
