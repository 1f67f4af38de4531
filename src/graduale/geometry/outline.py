"""The closed curve of a plate's edge, drawn from a few dimensions or taken from points."""

from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import Refused, refuse
from graduale.geometry.curves import (
    as_points,
    counter_clockwise,
    drop_repeats,
    resample_ring,
    smooth_through,
    split_ring,
    turning_deg,
)
from graduale.geometry.drawn import drawn_half
from graduale.records.instrument import Body

STEP_MM = 1.0
POINT_MM = 2.6  # a corner cut shorter than this is drawn as a point on inner rings
CORNER_DEG = 35.0  # a given point where the edge turns by more is a corner
WHERE = "body.outline_points"


@dataclass(frozen=True, eq=False)
class Outline:
    """A plate's edge in the body frame (x to the neck, y to the bass), mm.

    xy (n, 2) runs counter-clockwise in (x, y), the first point is not repeated; corners are tips.
    """

    xy: Floats
    corners: tuple[tuple[float, float], ...] = ()
    polygon: shapely.Polygon = field(init=False, repr=False)
    _tree: cKDTree = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "xy", freeze(self.xy, (None, 2)))
        polygon = shapely.Polygon(self.xy)
        shapely.prepare(polygon)
        object.__setattr__(self, "polygon", polygon)
        object.__setattr__(self, "_tree", cKDTree(self.xy))

    @property
    def length_mm(self) -> float:
        """Length along the middle, greatest x less least x."""
        return float(self.xy[:, 0].max() - self.xy[:, 0].min())

    def half_widths(self, x: ArrayLike) -> tuple[Floats, Floats]:
        """Distance from the middle line to the edge at x (m,): bass (m,), treble (m,); 0 off it."""
        at = np.atleast_1d(np.asarray(x, dtype=np.float64))
        high, low = _crossings(self.xy, at)
        return np.maximum(high, 0.0), np.maximum(-low, 0.0)

    def edge_distance(self, xy: ArrayLike) -> Floats:
        """Distance from points (m, 2) inward to the edge (m,); negative outside."""
        pts = np.atleast_2d(np.asarray(xy, dtype=np.float64))
        away = _ring_distance(self.xy, self._tree, pts)
        return np.where(self.contains(pts), away, -away)

    def contains(self, xy: ArrayLike) -> NDArray[np.bool_]:
        """Whether points (m, 2) lie on the plate (m,)."""
        pts = np.atleast_2d(np.asarray(xy, dtype=np.float64))
        return np.asarray(shapely.intersects_xy(self.polygon, pts[:, 0], pts[:, 1]), dtype=bool)

    def inset(self, d_mm: float) -> Floats:
        """The largest ring d_mm inside the edge (negative: outside), counter-clockwise (k, 2).

        The cut of a corner that shrinks below 2.6 mm becomes a single point, as ribs meet in one.

        Errors: Refused when the plate is too narrow for it.
        """
        shape = self.polygon.buffer(-d_mm, join_style="mitre", mitre_limit=3.0)
        parts = [p for p in getattr(shape, "geoms", [shape]) if not p.is_empty]
        if not parts:
            raise refuse(
                "outline-inset",
                "body",
                f"no room is left {d_mm:g} mm inside the edge; widen the body",
            )
        largest = max(parts, key=lambda p: float(p.area)).simplify(0.002)
        ring = drop_repeats(np.asarray(largest.exterior.coords)[:, :2], closed=True)
        return counter_clockwise(_points_of_corners(ring))


def _points_of_corners(ring: Floats) -> Floats:
    """The ring with pairs of sharp corners nearer than 2.6 mm drawn together in their middle."""
    sharp = np.flatnonzero(np.abs(turning_deg(ring)) > 25.0)
    keep = np.ones(len(ring), dtype=bool)
    out = ring.copy()
    for a, b in zip(sharp, np.roll(sharp, -1), strict=True):
        between = (b - a) % len(ring)
        if 0 < between < 6 and np.hypot(*(ring[a] - ring[b])) < POINT_MM:
            out[a] = 0.5 * (ring[a] + ring[b])
            keep[np.arange(a + 1, a + between + 1) % len(ring)] = False
    return out[keep]


def _crossings(ring: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Greatest and least y where lines x = at (m,) meet the ring (n, 2); 0 where they miss."""
    a, b = ring, np.roll(ring, -1, axis=0)
    lines, which = np.unique(at, return_inverse=True)
    first = np.searchsorted(lines, np.minimum(a[:, 0], b[:, 0]), side="left")
    count = np.searchsorted(lines, np.maximum(a[:, 0], b[:, 0]), side="right") - first
    side = np.repeat(np.arange(len(ring)), count)  # each side with each line that meets it
    line = np.arange(len(side)) + np.repeat(first - (np.cumsum(count) - count), count)
    run = (b[:, 0] - a[:, 0])[side]
    share = (lines[line] - a[side, 0]) / np.where(np.abs(run) < 1e-12, 1.0, run)
    y = a[side, 1] + np.clip(share, 0.0, 1.0) * (b[side, 1] - a[side, 1])
    most, least = np.full(len(lines), -np.inf), np.full(len(lines), np.inf)
    np.maximum.at(most, line, y)
    np.minimum.at(least, line, y)
    some = np.isfinite(most)
    return np.where(some, most, 0.0)[which], np.where(some, least, 0.0)[which]


def _ring_distance(ring: Floats, tree: cKDTree, pts: Floats) -> Floats:
    """Distance of points (m, 2) to a ring (n, 2) of even spacing, `tree` of its points -> (m,)."""
    near = np.asarray(tree.query(pts, k=3)[1], dtype=np.int64)
    out = np.full(len(pts), np.inf)
    for first in np.hstack([near - 1, near]).T:
        a, b = ring[first], ring[(first + 1) % len(ring)]
        run = b - a
        share = np.sum((pts - a) * run, axis=1) / np.sum(run * run, axis=1)
        foot = a + np.clip(share, 0.0, 1.0)[:, None] * run
        out = np.minimum(out, np.hypot(*(pts - foot).T))
    return out


def outline_of(body: Body) -> Outline:
    """The plate's edge: from `outline_points` when given, else a fair curve from the widths.

    Errors: Refused when the points cross themselves or the dimensions cannot be met.
    """
    if body.outline_points:
        return _from_points(as_points(body.outline_points))
    half, tips = drawn_half(body)
    ring = np.vstack([half, half[-2:0:-1] * np.array([1.0, -1.0])])
    breaks = np.flatnonzero(np.abs(turning_deg(ring)) > 15.0)
    if tips:
        wanted = np.array([*tips, *((x, -y) for x, y in tips)])
        near = [int(np.argmin(np.hypot(*(ring - w).T))) for w in wanted]
        breaks = np.union1d(breaks, near)
    poles = [0, int(np.argmax(ring[:, 0]))]
    breaks = np.union1d(breaks, poles)
    pieces = [smooth_through(p, STEP_MM) for p in split_ring(ring, breaks)]
    smooth = counter_clockwise(np.vstack([p[:-1] for p in pieces]))
    _check_simple(smooth, "body")
    corners = tuple(tips) + tuple((x, -y) for x, y in tips)
    return Outline(smooth, corners)


def _check_simple(ring: Floats, where: str) -> None:
    polygon = shapely.Polygon(ring)
    if polygon.is_valid and polygon.area > 0.0:
        return
    reason = shapely.is_valid_reason(polygon)
    raise refuse(
        "outline-crosses-itself",
        where,
        f"the outline crosses itself ({reason.lower()} mm); list the points in order round the "
        "edge, or correct the point that strays",
    )


def _from_points(points: Floats) -> Outline:
    if not np.all(np.isfinite(points)):
        raise refuse(
            "outline-nan", WHERE, "a point is not a number; give every point as [x, y] in mm"
        )
    ring = drop_repeats(points, closed=True, nearer_than=1e-3)
    if len(ring) < 8:
        raise refuse(
            "outline-few-points",
            WHERE,
            f"{len(ring)} points are too few for an outline; give at least 8 round the edge",
        )
    _check_simple(ring, WHERE)
    ring = counter_clockwise(ring)
    breaks = np.flatnonzero(np.abs(turning_deg(ring)) > CORNER_DEG)
    try:
        smooth = _smooth_ring(ring, breaks)
        _check_simple(smooth, WHERE)
    except Refused:
        smooth = resample_ring(ring, STEP_MM, breaks)
    corners = tuple((float(x), float(y)) for x, y in ring[breaks])
    return Outline(smooth, corners)


def _smooth_ring(ring: Floats, breaks: NDArray[np.int64]) -> Floats:
    if len(breaks):
        pieces = [smooth_through(p, STEP_MM) for p in split_ring(ring, breaks)]
        return np.vstack([p[:-1] for p in pieces])
    whole = np.vstack([ring, ring[:1]])
    s = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(whole, axis=0).T))))
    count = max(8, round(float(s[-1]) / STEP_MM))
    at = np.linspace(0.0, s[-1], count, endpoint=False)
    return np.asarray(CubicSpline(s, whole, bc_type="periodic")(at), dtype=np.float64)
