"""Level lines of a map, cleaned so that polygon tools and cutters accept them."""

from collections.abc import Sequence

import contourpy
import numpy as np
import shapely

from graduale.base.arrays import Floats, GridMap
from graduale.geometry.curves import drop_repeats

LEAST_STEP_MM = 0.05  # nearer points are one
LEAST_LENGTH_MM = 1.0  # shorter lines are dropped


def level_lines(
    grid: GridMap, levels: Sequence[float], smooth_mm: float = 0.05
) -> dict[float, list[Floats]]:
    """Level lines of a map (rows x, columns y, NaN off the plate): level -> polylines (k, 2).

    Closed lines repeat their first point at the end. Lines are thinned within `smooth_mm` of the
    exact bilinear line; they hold no repeated points and do not cross themselves. Longest first.
    """
    values = np.ma.masked_invalid(grid.values)
    maker = contourpy.contour_generator(x=grid.y_mm, y=grid.x_mm, z=values)
    out: dict[float, list[Floats]] = {}
    for level in levels:
        found = [np.asarray(line)[:, ::-1] for line in maker.lines(float(level))]
        cleaned = [piece for line in found for piece in _clean(line, smooth_mm)]
        out[float(level)] = sorted(cleaned, key=lambda p: -_length(p))
    return out


def _length(xy: Floats) -> float:
    return float(np.sum(np.hypot(*np.diff(xy, axis=0).T)))


def _clean(line: Floats, smooth_mm: float) -> list[Floats]:
    """Simple pieces of a raw line, none of them shorter than 1 mm."""
    closed = len(line) > 3 and bool(np.allclose(line[0], line[-1], atol=1e-9))
    points = drop_repeats(np.asarray(line, dtype=np.float64), closed, LEAST_STEP_MM)
    if closed and len(points) > 2:
        points = np.vstack([points, points[:1]])
    if len(points) < 2 or _length(points) < LEAST_LENGTH_MM:
        return []
    shape = shapely.LineString(points).simplify(smooth_mm, preserve_topology=True)
    parts = [shape] if shape.is_simple else list(getattr(shapely.unary_union(shape), "geoms", []))
    out = [np.asarray(p.coords, dtype=np.float64)[:, :2] for p in parts]
    return [p for p in out if _length(p) >= LEAST_LENGTH_MM]
