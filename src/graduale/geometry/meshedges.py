"""Delaunay triangles in which wanted segments are edges.

Missing segments are put in by swapping the diagonals that cross them (Sloan, 'A fast algorithm for
generating constrained Delaunay triangulations', Computers & Structures 47, 1993 [from memory]).
"""

import numpy as np
from scipy.spatial import Delaunay

from graduale.base.arrays import Floats, Ints

Edge = tuple[int, int]


def delaunay(xy: Floats) -> Ints:
    """Delaunay triangles (m, 3), counter-clockwise."""
    triangles = np.asarray(Delaunay(xy).simplices, dtype=np.int64)
    return oriented(xy, triangles)


def doubled_area(xy: Floats, triangles: Ints) -> Floats:
    """Twice the signed area of each triangle (m,)."""
    a, b, c = xy[triangles[:, 0]], xy[triangles[:, 1]], xy[triangles[:, 2]]
    u, v = b - a, c - a
    return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def oriented(xy: Floats, triangles: Ints) -> Ints:
    """The triangles (m, 3) all counter-clockwise."""
    turned = triangles.copy()
    wrong = doubled_area(xy, triangles) < 0.0
    turned[wrong, 1], turned[wrong, 2] = triangles[wrong, 2], triangles[wrong, 1]
    return turned


def edges_of(triangles: Ints) -> Ints:
    """Unique edges (k, 2), lower number first."""
    pairs = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    pairs = np.sort(pairs, axis=1)
    size = int(pairs.max()) + 1
    code = np.unique(pairs[:, 0] * size + pairs[:, 1])
    return np.column_stack([code // size, code % size])


def missing(triangles: Ints, segments: Ints, count: int) -> Ints:
    """The segments (k, 2) that are no edges of the triangles."""
    edges = edges_of(triangles)
    have = edges[:, 0] * count + edges[:, 1]
    low = np.sort(segments, axis=1)
    return segments[~np.isin(low[:, 0] * count + low[:, 1], have)]


def with_segments(xy: Floats, triangles: Ints, segments: Ints) -> tuple[Ints, list[Edge]]:
    """Triangles in which the segments (k, 2) are edges, and those that could not be put in."""
    lost = missing(triangles, segments, len(xy))
    if len(lost) == 0:
        return triangles, []
    net = _Net(xy, triangles)
    for a, b in lost:
        net.put_in(int(a), int(b))
    swapped = oriented(xy, np.array(net.triangles, dtype=np.int64))
    still = missing(swapped, segments, len(xy))
    return swapped, [(int(a), int(b)) for a, b in still]


def _turn(a: Floats, b: Floats, c: Floats) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


class _Net:
    """Triangles with the two neighbours of each edge, for swapping."""

    def __init__(self, xy: Floats, triangles: Ints) -> None:
        self.xy = xy
        self.triangles: list[list[int]] = [[int(v) for v in t] for t in triangles]
        self.beside: dict[Edge, list[int]] = {}
        for number in range(len(self.triangles)):
            self._enter(number)

    def _enter(self, number: int) -> None:
        a, b, c = self.triangles[number]
        for edge in ((a, b), (b, c), (c, a)):
            self.beside.setdefault((min(edge), max(edge)), []).append(number)

    def _leave(self, number: int) -> None:
        a, b, c = self.triangles[number]
        for edge in ((a, b), (b, c), (c, a)):
            key = (min(edge), max(edge))
            self.beside[key].remove(number)
            if not self.beside[key]:
                del self.beside[key]

    def _crossing(self, a: int, b: int) -> list[Edge]:
        p, q = self.xy[a], self.xy[b]
        keys = np.array(list(self.beside), dtype=np.int64)
        u, v = self.xy[keys[:, 0]], self.xy[keys[:, 1]]
        run = q - p
        side_u = run[0] * (u[:, 1] - p[1]) - run[1] * (u[:, 0] - p[0])
        side_v = run[0] * (v[:, 1] - p[1]) - run[1] * (v[:, 0] - p[0])
        edge = v - u
        side_p = edge[:, 0] * (p[1] - u[:, 1]) - edge[:, 1] * (p[0] - u[:, 0])
        side_q = edge[:, 0] * (q[1] - u[:, 1]) - edge[:, 1] * (q[0] - u[:, 0])
        cut = (side_u * side_v < 0.0) & (side_p * side_q < 0.0)
        cut &= ~np.isin(keys, [a, b]).any(axis=1)
        return [(int(i), int(j)) for i, j in keys[cut]]

    def _cross(self, edge: Edge, a: int, b: int) -> bool:
        if a in edge or b in edge:
            return False
        u, v, p, q = self.xy[edge[0]], self.xy[edge[1]], self.xy[a], self.xy[b]
        return _turn(p, q, u) * _turn(p, q, v) < 0.0 and _turn(u, v, p) * _turn(u, v, q) < 0.0

    def put_in(self, a: int, b: int) -> None:
        """Swap diagonals until none crosses a-b, or there is no way to."""
        queue = self._crossing(a, b)
        for _ in range(40 * (len(queue) + 1)):
            if not queue:
                break
            edge = queue.pop(0)
            new = self._swap(edge)
            if new is None:
                queue.append(edge)
            elif self._cross(new, a, b):
                queue.append(new)

    def _swap(self, edge: Edge) -> Edge | None:
        pair = self.beside.get(edge, [])
        if len(pair) != 2:
            return None
        first, second = pair
        c = next(v for v in self.triangles[first] if v not in edge)
        d = next(v for v in self.triangles[second] if v not in edge)
        a, b = edge
        xy = self.xy
        if _turn(xy[c], xy[d], xy[a]) * _turn(xy[c], xy[d], xy[b]) >= 0.0:
            return None
        self._leave(first)
        self._leave(second)
        self.triangles[first], self.triangles[second] = [a, c, d], [b, c, d]
        self._enter(first)
        self._enter(second)
        return (min(c, d), max(c, d))
