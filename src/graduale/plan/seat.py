"""How a plate sits under the bit: the bit's axis through a mark on the inside, the round rest
below.

The axis starts at the mark on the gluing plane (x, y, 0) and runs outward; `along` is measured on
it.
"""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.plan.nearest import Outside, feet, heights, normals, seeds

GRID = 9
ZOOMS = 4


@dataclass(frozen=True, eq=False)
class Axes:
    """Bit axes of n holes: mark (n, 3), frame (n, 3, 3) rows u (down the slope), v, a (outward),
    hit (n,): along the axis to the outside."""

    mark: Floats
    frame: Floats
    hit: Floats

    @property
    def outward(self) -> Floats:
        """Axis directions (n, 3)."""
        return self.frame[:, 2]

    def at(self, along: Floats) -> Floats:
        """Points (n, 3) on the axes."""
        return np.asarray(self.mark + along[:, None] * self.outward)


def _marks(xy: Floats) -> Floats:
    return np.column_stack([xy, np.zeros(len(xy))])


def _frame(outward: Floats, downhill: Floats) -> Floats:
    """Rows u, v, a with u as near to the horizontal direction `downhill` (n, 2) as can be."""
    u = np.column_stack([downhill, np.zeros(len(downhill))])
    u -= np.sum(u * outward, axis=1, keepdims=True) * outward
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    return np.stack([u, np.cross(outward, u), outward], axis=1)


def _downhill(normal: Floats) -> Floats:
    side = normal[:, :2].copy()
    side[np.linalg.norm(side, axis=1) < 1e-9] = (0.0, 1.0)
    return np.asarray(side / np.linalg.norm(side, axis=1, keepdims=True))


def _axes(outside: Outside, mark: Floats, frame: Floats, start: Floats) -> Axes:
    along, a = start, frame[:, 2]
    for _ in range(5):
        at = mark + along[:, None] * a
        n = normals(outside, at[:, :2])
        above = at[:, 2] - heights(outside, at[:, :2])
        # clipped so that a wild slope cannot throw the search off the plate
        along = along - np.clip(above * n[:, 2] / np.sum(n * a, axis=1), -5.0, 5.0)
    return Axes(mark, frame, along)


def level_axes(outside: Outside, xy: Floats) -> Axes:
    """The plate held level: axes square to the gluing plane through marks xy (n, 2)."""
    up = np.tile([0.0, 0.0, 1.0], (len(xy), 1))
    frame = _frame(up, _downhill(normals(outside, xy)))
    return Axes(_marks(xy), frame, heights(outside, xy))


def square_axes(outside: Outside, xy: Floats) -> Axes:
    """The plate tilted until the outside is square to the bit: axes along the shortest way out."""
    mark = _marks(xy)
    reach = 0.7 * float(np.max(np.abs(heights(outside, xy)), initial=1.0)) + 1.0
    start = seeds(outside, mark[:, None, :], xy, reach, 1.5)[:, 0]
    distance, foot = feet(outside, mark, start, 20)
    n = normals(outside, foot)
    return Axes(mark, _frame(n, _downhill(n)), distance)


def leaned(outside: Outside, axes: Axes, angle_rad: float, azimuth_rad: float) -> Axes:
    """The same marks with the plate leaning by a small angle toward an azimuth in (u, v)."""
    u, v, a = axes.frame[:, 0], axes.frame[:, 1], axes.frame[:, 2]
    side = np.cos(azimuth_rad) * u + np.sin(azimuth_rad) * v
    outward = np.cos(angle_rad) * a + np.sin(angle_rad) * side
    u2 = u - np.sum(u * outward, axis=1, keepdims=True) * outward
    u2 /= np.linalg.norm(u2, axis=1, keepdims=True)
    frame = np.stack([u2, np.cross(outward, u2), outward], axis=1)
    return _axes(outside, axes.mark, frame, axes.hit)


def shifted(outside: Outside, axes: Axes, distance_mm: float, azimuth_rad: float) -> Axes:
    """The same hold with the marks off by a distance toward an azimuth in (u, v), on the inside
    face."""
    side = np.cos(azimuth_rad) * axes.frame[:, 0] + np.sin(azimuth_rad) * axes.frame[:, 1]
    flat = side[:, :2] / np.linalg.norm(side[:, :2], axis=1, keepdims=True)
    mark = axes.mark + distance_mm * np.column_stack([flat, np.zeros(len(flat))])
    return _axes(outside, mark, axes.frame, axes.hit)


def rest_tip(outside: Outside, axes: Axes, radius_mm: float, zooms: int = ZOOMS) -> Floats:
    """Along (n,) of the rest's tip when the outside lies on it; the rest is round and on the axis.

    The sphere's middle stands at max over the outside of (P - mark).a + sqrt(R^2 - rho^2), which
    also covers a channel that is tighter than the tip and bears on two sides.
    """
    if radius_mm <= 0:
        return axes.hit
    centre = axes.at(axes.hit)[:, :2]
    half = radius_mm
    line = np.linspace(-1.0, 1.0, GRID)
    square = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    for _ in range(zooms):
        xy = centre[:, None, :] + half * square
        middle = _sphere_middle(outside, axes, xy, radius_mm)
        best = np.argmax(middle, axis=1)
        centre = xy[np.arange(len(xy)), best]
        half = half * 2.0 / (GRID - 1)
    return np.asarray(np.max(middle, axis=1) - radius_mm)


def _sphere_middle(outside: Outside, axes: Axes, xy: Floats, radius_mm: float) -> Floats:
    p = np.concatenate([xy, heights(outside, xy)[..., None]], axis=-1) - axes.mark[:, None, :]
    along = np.einsum("nki,ni->nk", p, axes.outward)
    inside = radius_mm**2 - (np.sum(p**2, axis=-1) - along**2)
    return np.where(inside >= 0, along + np.sqrt(np.maximum(inside, 0.0)), -np.inf)
