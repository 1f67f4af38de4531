"""Small tools for polylines: length, resampling, corners, crossings."""

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from graduale.base.arrays import Floats, Ints


def as_points(points: ArrayLike) -> Floats:
    """Points as a float array (n, 2). Errors: ValueError when the shape is another."""
    xy = np.array(points, dtype=np.float64)
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise ValueError(f"points of shape {xy.shape} where (n, 2) is needed")
    return xy


def drop_repeats(xy: Floats, closed: bool, nearer_than: float = 1e-6) -> Floats:
    """The points (n, 2) without those that lie on their predecessor (in a ring also the last)."""
    if len(xy) < 2:
        return xy
    keep = np.ones(len(xy), dtype=bool)
    keep[1:] = np.hypot(*np.diff(xy, axis=0).T) > nearer_than
    out = xy[keep]
    if closed and len(out) > 1 and np.hypot(*(out[0] - out[-1])) <= nearer_than:
        out = out[:-1]
    return np.asarray(out, dtype=np.float64)


def signed_area(ring: Floats) -> float:
    """Area of a ring (n, 2), positive when it runs counter-clockwise (mm2)."""
    x, y = ring[:, 0], ring[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def counter_clockwise(ring: Floats) -> Floats:
    """The ring (n, 2) running counter-clockwise, its first point kept."""
    if signed_area(ring) >= 0.0:
        return ring
    return np.asarray(np.roll(ring[::-1], 1, axis=0), dtype=np.float64)


def arc_length(xy: Floats) -> Floats:
    """Length along an open polyline (n, 2) at each point (n,), from 0 (mm)."""
    steps = np.hypot(*np.diff(xy, axis=0).T)
    return np.concatenate(([0.0], np.cumsum(steps)))


def turning_deg(ring: Floats) -> Floats:
    """Signed change of direction at each point of a ring (n, 2) -> (n,), degrees, left positive."""
    before = ring - np.roll(ring, 1, axis=0)
    after = np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = np.sum(before * after, axis=1)
    return np.asarray(np.degrees(np.arctan2(cross, dot)))


def resample(xy: Floats, step: float, least: int = 1) -> Floats:
    """Points about `step` apart along an open polyline, both ends kept (k, 2)."""
    s = arc_length(xy)
    pieces = max(least, round(float(s[-1]) / step))
    at = np.linspace(0.0, s[-1], pieces + 1)
    out = np.column_stack([np.interp(at, s, xy[:, 0]), np.interp(at, s, xy[:, 1])])
    out[0], out[-1] = xy[0], xy[-1]
    return out


def split_ring(ring: Floats, breaks: Ints) -> list[Floats]:
    """The open pieces of a ring between the points numbered `breaks`, ends shared."""
    if len(breaks) == 0:
        return [np.vstack([ring, ring[:1]])]
    start = np.roll(ring, -int(breaks[0]), axis=0)
    cuts = [int(b - breaks[0]) for b in breaks] + [len(ring)]
    whole = np.vstack([start, start[:1]])
    return [whole[a : b + 1] for a, b in pairwise(cuts)]


def resample_ring(ring: Floats, step: float, breaks: Ints) -> Floats:
    """A ring resampled to about `step`, the points numbered `breaks` kept exactly (k, 2)."""
    pieces = [
        resample(p, step, least=1 if len(breaks) > 1 else 3) for p in split_ring(ring, breaks)
    ]
    return np.vstack([p[:-1] for p in pieces])


def smooth_through(xy: Floats, step: float) -> Floats:
    """A natural cubic through an open polyline (n, 2), at points about `step` apart (k, 2)."""
    if len(xy) < 3:
        return resample(xy, step)
    s = arc_length(xy)
    pieces = max(1, round(float(s[-1]) / step))
    out = np.asarray(CubicSpline(s, xy, bc_type="natural")(np.linspace(0.0, s[-1], 8 * pieces)))
    out[0], out[-1] = xy[0], xy[-1]
    return resample(out, step)
