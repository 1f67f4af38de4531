"""A multifrontal Cholesky factor: small dense blocks along a nested dissection.

Source: J. W. H. Liu, 'The multifrontal method for sparse matrix solution: theory and practice',
SIAM Review 34 (1992) 82-109 (from memory). The plan depends on the pattern alone and serves every
matrix with that pattern; the work is done by dense LAPACK calls, so many right sides cost little
more than one.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.linalg import blas, lapack

from graduale.base.arrays import Floats, Ints
from graduale.shell.dissection import Graph, dissect

LEAF = 120  # freedoms of the smallest pieces [own]: where calls and sums cost about the same


@dataclass(frozen=True, eq=False)
class Child:
    """How the rest of a child front adds to its parent: runs (first, last, to) of its rows, those
    that are pivots of the parent and those on the parent's boundary."""

    number: int
    pivots: tuple[tuple[int, int, int], ...]
    boundary: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, eq=False)
class Front:
    """Pivots first:last of the new order, boundary rows (b,) later in that order.

    in_pivots, in_boundary: entries of the matrix (their place in its data) and where they go in
    the two blocks, column by column.
    """

    first: int
    last: int
    boundary: Ints
    children: tuple[Child, ...]
    in_pivots: tuple[Ints, Ints]
    in_boundary: tuple[Ints, Ints]


@dataclass(frozen=True, eq=False)
class Plan:
    """Fronts in the order of elimination; order (n,): old number of each new one."""

    order: Ints
    fronts: tuple[Front, ...]

    @staticmethod
    def of(matrix: "sp.csc_matrix", leaf: int = LEAF) -> "Plan":
        """For a symmetric matrix with sorted indices; only its pattern is looked at."""
        start, graph = _nodes(matrix)
        weight = np.diff(start)
        pieces = dissect(graph, weight, leaf)
        nodes = np.concatenate([p.nodes for p in pieces])
        place = np.empty(graph.size, dtype=np.int64)
        place[nodes] = np.arange(graph.size)
        first = np.concatenate([[0], np.cumsum(weight[nodes])])
        order = _ranges(start[nodes], start[nodes + 1])
        spans: list[tuple[int, int]] = []
        bounds: list[Ints] = []
        at = 0
        for piece in pieces:
            after = at + len(piece.nodes)
            near = [place[graph.neighbours(piece.nodes)], *(bounds[c] for c in piece.children)]
            rest = np.unique(np.concatenate(near))
            bounds.append(rest[rest >= after])
            spans.append((int(first[at]), int(first[after])))
            at = after
        rows = [_ranges(first[b], first[b + 1]) for b in bounds]
        children = [p.children for p in pieces]
        return Plan(order, _fronts(matrix, order, spans, rows, children))

    @property
    def filled(self) -> int:
        """Entries of the factor."""
        sizes = [(f.last - f.first, len(f.boundary)) for f in self.fronts]
        return sum(p * (p + 1) // 2 + p * b for p, b in sizes)

    def factor(self, data: Floats) -> "FrontFactor":
        """Cholesky factor from the matrix's entries. Errors: RuntimeError unless positive
        definite."""
        rests: dict[int, Floats] = {}
        blocks = []
        for number, front in enumerate(self.fronts):
            block, rests[number] = eliminated(front, data, rests)
            blocks.append(block)
            for child in front.children:
                del rests[child.number]
        return FrontFactor(self, tuple(blocks))


@dataclass(frozen=True, eq=False)
class FrontFactor:
    """blocks: of each front the factored corner (p, p) and the rows below (b, p)."""

    plan: Plan
    blocks: tuple[tuple[Floats, Floats], ...]

    def solve(self, right: Floats) -> Floats:
        """x with A x = right, (n,) or (n, k)."""
        x = np.ascontiguousarray(right[self.plan.order].reshape(len(right), -1), dtype=np.float64)
        pairs = tuple(zip(self.plan.fronts, self.blocks, strict=True))
        for front, (corner, below) in pairs:
            own = lower_solve(corner, x[front.first : front.last], turned=False)
            x[front.first : front.last] = own
            if len(below):
                x[front.boundary] -= below @ own
        for front, (corner, below) in reversed(pairs):
            own = x[front.first : front.last]
            if len(below):
                own = own - below.T @ x[front.boundary]
            x[front.first : front.last] = lower_solve(corner, own, turned=True)
        out = np.empty_like(x)
        out[self.plan.order] = x
        return out.reshape(right.shape)


def eliminated(
    front: Front, data: Floats, rests: Mapping[int, Floats]
) -> tuple[tuple[Floats, Floats], Floats]:
    """A front's blocks of the factor, and what is left for its parent (b, b), lower half.

    rests: by number, of its children at least. Errors: RuntimeError unless positive definite.
    """
    pivots, below, rest = _assembled(front, data, rests)
    corner, info = lapack.dpotrf(pivots, lower=1, overwrite_a=1, clean=0)
    if info != 0:
        raise RuntimeError("the matrix is not positive definite")
    if len(below):
        below = blas.dtrsm(1.0, corner, below, side=1, lower=1, trans_a=1, overwrite_b=1)
        rest = blas.dsyrk(-1.0, below, beta=1.0, c=rest, lower=1, overwrite_c=1)
    return (corner, below), rest


def lower_solve(corner: Floats, right: Floats, *, turned: bool) -> Floats:
    """L^-1 right, or L^-T right when turned; right (p, k) row by row."""
    out: Floats = blas.dtrsm(1.0, corner, right.T, side=1, lower=1, trans_a=0 if turned else 1)
    return out.T


def _assembled(
    front: Front, data: Floats, rests: Mapping[int, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Blocks of one front: pivots (p, p), below (b, p), rest (b, b); lower halves count."""
    p, count = front.last - front.first, len(front.boundary)
    pivots, below = np.zeros((p, p)), np.zeros((p, count))  # all three transposed
    rest = np.zeros((count, count))
    pivots.ravel()[front.in_pivots[1]] = data[front.in_pivots[0]]
    below.ravel()[front.in_boundary[1]] = data[front.in_boundary[0]]
    for child in front.children:
        part = rests[child.number].T
        for i, (a, b, to) in enumerate(child.pivots):
            for c, d, on in child.pivots[i:]:
                pivots[to : to + b - a, on : on + d - c] += part[a:b, c:d]
            for c, d, on in child.boundary:
                below[to : to + b - a, on : on + d - c] += part[a:b, c:d]
        for i, (a, b, to) in enumerate(child.boundary):
            for c, d, on in child.boundary[i:]:
                rest[to : to + b - a, on : on + d - c] += part[a:b, c:d]
    return pivots.T, below.T, rest.T


def _nodes(matrix: "sp.csc_matrix") -> tuple[Ints, Graph]:
    """Freedoms next to one another with the same pattern make one node: first freedom of each
    node (v + 1,) and the graph of the nodes."""
    size = matrix.shape[0]
    indptr, indices = matrix.indptr.astype(np.int64), matrix.indices
    marks = np.random.default_rng(1).integers(1, 2**60, size=size)
    sums = np.add.reduceat(marks[indices], indptr[:-1])  # wraps around: a fingerprint
    new = np.concatenate(
        [[True], (sums[1:] != sums[:-1]) | (np.diff(indptr)[1:] != np.diff(indptr)[:-1])]
    )
    start = np.append(np.flatnonzero(new), size)
    node = np.cumsum(new) - 1
    count = len(start) - 1
    # one column of each node tells its neighbours
    picked = _ranges(indptr[start[:-1]], indptr[start[:-1] + 1])
    cols = np.repeat(np.arange(count), np.diff(indptr)[start[:-1]])
    keys = np.unique(cols * count + node[indices[picked]])
    keys = keys[keys // count != keys % count]
    return start, Graph(np.searchsorted(keys // count, np.arange(count + 1)), keys % count)


def _ranges(start: Ints, stop: Ints) -> Ints:
    """start[0]..stop[0]-1, start[1]..stop[1]-1, ... one after the other."""
    count = stop - start
    before = np.cumsum(count) - count
    out: Ints = np.repeat(start - before, count) + np.arange(int(count.sum()))
    return out


def _fronts(
    matrix: "sp.csc_matrix",
    order: Ints,
    spans: list[tuple[int, int]],
    rows: list[Ints],
    children: list[tuple[int, ...]],
) -> tuple[Front, ...]:
    size = len(order)
    new = np.empty(size, dtype=np.int64)
    new[order] = np.arange(size)
    row, col = new[matrix.indices], new[np.repeat(np.arange(size), np.diff(matrix.indptr))]
    lower = np.flatnonzero(row >= col)
    lower = lower[np.argsort(col[lower], kind="stable")]
    row, col = row[lower], col[lower]
    ends = np.searchsorted(col, [last for _, last in spans])
    out, begin = [], 0
    for (first, last), bound, below, end in zip(spans, rows, children, ends, strict=True):
        r, c, e = row[begin:end], col[begin:end] - first, lower[begin:end]
        inner, begin = r < last, int(end)
        to_pivots = e[inner], (r[inner] - first) + c[inner] * (last - first)
        to_bound = e[~inner], np.searchsorted(bound, r[~inner]) + c[~inner] * len(bound)
        kin = tuple(_child(k, rows[k], first, last, bound) for k in below if len(rows[k]))
        out.append(Front(first, last, bound, kin, to_pivots, to_bound))
    return tuple(out)


def _child(number: int, rows: Ints, first: int, last: int, bound: Ints) -> Child:
    split = int(np.searchsorted(rows, last))
    to = rows[:split] - first, np.searchsorted(bound, rows[split:])
    return Child(number, _runs(to[0], 0), _runs(to[1], split))


def _runs(to: Ints, start: int) -> tuple[tuple[int, int, int], ...]:
    """Runs (first, last, to) of rows start, start + 1, ... that go to rising places `to`."""
    if not len(to):
        return ()
    breaks = np.flatnonzero(np.diff(to) != 1) + 1
    firsts, lasts = np.append(0, breaks), np.append(breaks, len(to))
    return tuple(
        (int(a) + start, int(b) + start, int(to[a])) for a, b in zip(firsts, lasts, strict=True)
    )
