"""Seats of blocks in plan: where the inside stays flat because a block is glued there."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.geometry.outline import Outline


def corner_seats(
    ring: Floats, tips: Sequence[tuple[float, float]], reach_mm: float
) -> list[Floats]:
    """Corner blocks, each the ring within `reach_mm` of a tip on both sides, cut off straight.

    ring (n, 2) closed, the first point not repeated: the edge or the rib line; tips: corner tips,
    the nearest ring point is taken. Returns one ring (k, 2) a tip; none when reach_mm is 0.
    """
    if reach_mm <= 0.0:
        return []
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    within = shapely.Polygon(ring).buffer(0.0)
    return [_seat(ring, step, within, np.asarray(tip), reach_mm) for tip in tips]


def _seat(ring: Floats, step: Floats, within: BaseGeometry, tip: Floats, reach_mm: float) -> Floats:
    """What lies between curve and chord, inside the ring; a hooked corner may cross the chord."""
    at = int(np.argmin(np.linalg.norm(ring - tip, axis=1)))
    ways = [_way(ring, step, at, turn, reach_mm) for turn in (-1, 1)]
    hull = shapely.MultiPoint(np.array([*ways[0], ring[at], *ways[1]])).convex_hull
    area = hull.intersection(within)
    largest = max(getattr(area, "geoms", [area]), key=lambda part: float(part.area))
    if not isinstance(largest, shapely.Polygon):
        raise ValueError("a corner seat has no area")
    return np.asarray(largest.exterior.coords)[:-1]


def _way(ring: Floats, step: Floats, at: int, turn: int, reach_mm: float) -> list[Floats]:
    """Ring points from `at` on one side up to `reach_mm`, the last one exactly there."""
    out: list[Floats] = []
    gone, here = 0.0, at
    while True:
        there = (here + turn) % len(ring)
        length = float(step[here if turn > 0 else there])
        if gone + length >= reach_mm:
            share = (reach_mm - gone) / length
            out.append(ring[here] + share * (ring[there] - ring[here]))
            return out
        gone, here = gone + length, there
        out.append(ring[here])


def end_seats(outline: Outline, depth_mm: float, width_mm: float) -> BaseGeometry:
    """Seats of both end blocks in plan: within `depth_mm` of the end's own edge, `width_mm` wide.

    Measured from the edge across the end alone: on a body hardly wider than its blocks the sides
    keep their own platform.
    """
    low, high = float(outline.xy[:, 0].min()), float(outline.xy[:, 0].max())
    edge, half = outline.polygon.exterior, 0.5 * width_mm
    seats = []
    for start, end in ((low - 1.0, low + depth_mm), (high - depth_mm, high + 1.0)):
        across = shapely.box(start, -half, end, half)
        seats.append(edge.intersection(across).buffer(depth_mm).intersection(across))
    return shapely.union_all(seats).intersection(outline.polygon)
