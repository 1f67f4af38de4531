"""Triangles over a plate: its edge, openings and given lines are mesh edges; deterministic."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, Ints, freeze, freeze_ints
from graduale.base.findings import refuse
from graduale.geometry.curves import (
    as_points,
    counter_clockwise,
    drop_repeats,
    resample,
    split_ring,
)
from graduale.geometry.meshedges import delaunay, doubled_area, with_segments
from graduale.geometry.meshfill import Inside, Room, free_nodes
from graduale.geometry.meshsize import (
    SizeField,
    nodes_along,
    nodes_beside,
    nodes_round,
    size_field,
    with_short_pieces,
)

OPENING_SIZE_MM = 3.0


@dataclass(frozen=True, eq=False)
class PlateMesh:
    """Triangles over a plate in the plane of its outline.

    xy (n, 2) mm; triangles (m, 3) counter-clockwise, every node used; node numbers in order along
    the edge (outline_nodes), round each opening (opening_nodes), and along each line asked for, the
    free ones first, then the fixed ones (a closed line does not repeat its first node).
    """

    xy: Floats
    triangles: Ints
    outline_nodes: Ints
    opening_nodes: tuple[Ints, ...]
    lines: tuple[Ints, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "xy", freeze(self.xy, (None, 2)))
        object.__setattr__(self, "triangles", freeze_ints(self.triangles, (None, 3)))
        object.__setattr__(self, "outline_nodes", freeze_ints(self.outline_nodes, (None,)))
        for name in ("opening_nodes", "lines"):
            frozen = tuple(freeze_ints(v, (None,)) for v in getattr(self, name))
            object.__setattr__(self, name, frozen)

    @property
    def marked(self) -> tuple[Ints, ...]:
        """Every set of nodes that follows something given: edge, openings, lines."""
        return (self.outline_nodes, *self.opening_nodes, *self.lines)

    @property
    def areas(self) -> Floats:
        """Area of each triangle (m,), mm2."""
        return 0.5 * doubled_area(self.xy, self.triangles)

    @property
    def min_angles_deg(self) -> Floats:
        """Least angle of each triangle (m,), degrees."""
        return least_angles(self.xy, self.triangles)

    @property
    def min_angle_deg(self) -> float:
        """Least angle of all, degrees."""
        return float(self.min_angles_deg.min())


def least_angles(xy: Floats, triangles: Ints) -> Floats:
    """Least angle of each triangle (m,), degrees."""
    corners = [xy[triangles[:, k]] for k in range(3)]
    least = np.full(len(triangles), 180.0)
    for k in range(3):
        u = corners[(k + 1) % 3] - corners[k]
        v = corners[(k + 2) % 3] - corners[k]
        cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
        least = np.minimum(least, np.degrees(np.arctan2(cross, np.sum(u * v, axis=1))))
    return least


@dataclass(frozen=True, eq=False)
class _Lines:
    """Nodes of every given line, and whether it is closed."""

    nodes: list[Floats]
    closed: list[bool]


def mesh_plate(
    outline_xy: ArrayLike,
    openings: Sequence[ArrayLike],
    size_mm: float,
    *,
    lines: Sequence[ArrayLike] = (),
    refine: Sequence[tuple[float, float, float, float]] = (),
    fixed_lines: Sequence[ArrayLike] = (),
    opening_size_mm: float = OPENING_SIZE_MM,
    keep_vertices: bool = False,
) -> PlateMesh:
    """A mesh of edges about `size_mm` long over the ring `outline_xy` (n, 2) less the openings.

    lines: polylines (k, 2), closed when first == last, that become mesh edges with nodes at the
    wanted spacing (and at their own points with `keep_vertices`); fixed_lines: the same, but their
    points are the nodes exactly. refine: discs (x, y, radius, size), graded outward. Lines lie
    inside the edge, outside the openings, and keep apart by about half the local size.
    Errors: Refused when a line crosses another, so that it cannot be a mesh edge; ValueError on a
    size that is not positive.
    """
    if size_mm <= 0.0 or opening_size_mm <= 0.0 or any(r[3] <= 0.0 for r in refine):
        raise ValueError("mesh sizes must be positive")
    ring = _ring(outline_xy)
    holes = [_ring(o) for o in openings]
    field = size_field(size_mm, tuple(refine), holes, opening_size_mm)
    fixed = [_polyline(f) for f in fixed_lines]
    field = with_short_pieces(field, fixed)
    free = [_polyline(f) for f in lines]
    edge = _edge_nodes(ring, fixed, field)
    parts = _Lines([edge], [True])
    for hole in holes:
        parts.nodes.append(nodes_round(hole, field))
        parts.closed.append(True)
    for xy, closed in free:
        parts.nodes.append(_line_nodes(xy, closed, field, keep_vertices))
        parts.closed.append(closed)
    for xy, closed in fixed:
        parts.nodes.append(xy)
        parts.closed.append(closed)
    return _build(parts, len(holes), field)


def ring_nodes(
    ring: ArrayLike,
    size_mm: float,
    openings: Sequence[ArrayLike] = (),
    *,
    refine: Sequence[tuple[float, float, float, float]] = (),
    opening_size_mm: float = OPENING_SIZE_MM,
) -> Floats:
    """Nodes round a closed ring (n, 2) as `mesh_plate` would space them (k, 2), not repeated.

    For a fixed line that two meshes share: finer where either of them is.
    """
    holes = [_ring(o) for o in openings]
    return nodes_round(_ring(ring), size_field(size_mm, tuple(refine), holes, opening_size_mm))


def _ring(points: ArrayLike) -> Floats:
    return counter_clockwise(drop_repeats(as_points(points), closed=True))


def _polyline(points: ArrayLike) -> tuple[Floats, bool]:
    """The points without repeats, and whether the line is closed."""
    xy = as_points(points)
    closed = len(xy) > 3 and bool(np.hypot(*(xy[0] - xy[-1])) < 1e-6)
    return drop_repeats(xy, closed), closed


def _edge_nodes(ring: Floats, fixed: list[tuple[Floats, bool]], field: SizeField) -> Floats:
    """Nodes on the edge; staggered against a closed fixed line that follows the edge closely."""
    dense = cKDTree(resample(np.vstack([ring, ring[:1]]), 0.5))
    for xy, closed in fixed:
        if closed and float(np.asarray(dense.query(xy)[0]).max()) < 1.2 * field.size_mm:
            return nodes_beside(ring, counter_clockwise(xy), field)
    return nodes_round(ring, field)


def _line_nodes(xy: Floats, closed: bool, field: SizeField, keep: bool) -> Floats:
    if closed:
        if not keep:
            return nodes_round(xy, field)
        pieces = [nodes_along(p, field) for p in split_ring(xy, np.arange(len(xy)))]
        return np.vstack([p[:-1] for p in pieces])
    if not keep:
        return nodes_along(xy, field)
    pieces = [nodes_along(xy[i : i + 2], field) for i in range(len(xy) - 1)]
    return np.vstack([*(p[:-1] for p in pieces), xy[-1:]])


def _segments(parts: _Lines) -> tuple[Ints, list[Ints]]:
    """Segments (s, 2) of all lines, and the node numbers of each line."""
    segments, numbers, start = [], [], 0
    for nodes, closed in zip(parts.nodes, parts.closed, strict=True):
        own = np.arange(start, start + len(nodes))
        following = np.roll(own, -1) if closed else own[1:]
        segments.append(np.column_stack([own[: len(following)], following]))
        numbers.append(own)
        start += len(nodes)
    return np.vstack(segments).astype(np.int64), numbers


def _build(parts: _Lines, holes: int, field: SizeField) -> PlateMesh:
    fixed = np.vstack(parts.nodes)
    segments, numbers = _segments(parts)
    _check_apart(fixed)
    inside = Inside(parts.nodes[0], parts.nodes[1 : 1 + holes])
    dense = _dense(fixed, segments, field.least_mm)
    xy = np.vstack([fixed, free_nodes(Room(fixed, cKDTree(dense), field, inside))])
    triangles, failed = with_segments(xy, delaunay(xy), segments)
    if failed:
        x, y = xy[list(failed[0])].mean(axis=0)
        raise refuse(
            "mesh-lines-cross",
            f"x = {x:.1f}, y = {y:.1f}",
            "two lines of the plate cross or touch here; move the part that lies there",
        )
    triangles = triangles[inside(xy[triangles].mean(axis=1))]
    triangles = triangles[doubled_area(xy, triangles) > 1e-9]
    used = np.unique(triangles)
    place = np.full(len(xy), -1, dtype=np.int64)
    place[used] = np.arange(len(used))
    named = [place[n] for n in numbers]
    return PlateMesh(
        xy[used],
        place[triangles],
        named[0],
        tuple(named[1 : 1 + holes]),
        tuple(named[1 + holes :]),
    )


def _dense(fixed: Floats, segments: Ints, least: float) -> Floats:
    a, b = fixed[segments[:, 0]], fixed[segments[:, 1]]
    pieces = max(2, int(np.ceil(float(np.hypot(*(b - a).T).max()) / (0.3 * least))))
    share = np.linspace(0.0, 1.0, pieces, endpoint=False)[:, None, None]
    return np.vstack([(a + share * (b - a)).reshape(-1, 2), fixed])


def _check_apart(fixed: Floats) -> None:
    pairs = cKDTree(fixed).query_pairs(1e-6, output_type="ndarray")
    if len(pairs):
        x, y = fixed[pairs[0, 0]]
        raise refuse(
            "mesh-lines-touch",
            f"x = {x:.1f}, y = {y:.1f}",
            "two lines of the plate share a point here; move the part that lies there",
        )
