"""Shortest distance from points inside a plate to its outside: what a caliper reads.

Newton's method on the stationarity of the squared distance to (x, y, h(x, y)), safeguarded by a
damped Gauss-Newton step, from several starting feet; the least of the results is kept.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.geometry.arching import Arching

ROUNDS = 30
NEAR_MM = 1e-10
CORRECTIONS = 15
EXACT_MM = 1e-6
ThicknessAt = Callable[[Floats], Floats]


def shortest_distance(arching: Arching, points: ArrayLike) -> tuple[Floats, Floats]:
    """Distance (m,) from points (m, 3) under the outside to it, and the foot in plan (m, 2), mm.

    Points above the outside give their distance too, unsigned.
    """
    pts = np.atleast_2d(np.asarray(points, dtype=np.float64))
    plan, z = pts[:, :2], pts[:, 2]
    slope = arching.gradient(plan)
    depth = np.abs(arching.height(plan) - z)
    share = 1.0 / (1.0 + np.sum(slope**2, axis=1))
    best, foot = np.full(len(pts), np.inf), plan.copy()
    along = np.hypot(*slope.T)[:, None]
    aside = np.column_stack([-slope[:, 1], slope[:, 0]]) / np.maximum(along, 1e-9)
    downhill = slope / np.maximum(along, 1e-9)
    starts = [plan - (depth * share)[:, None] * slope, plan]
    starts += [plan + k * depth[:, None] * downhill for k in (-0.9, 0.6)]
    starts += [plan + k * depth[:, None] * aside for k in (-0.6, 0.6)]
    for start in starts:
        found = _newton(arching, pts, start)
        distance = np.sqrt(_squared(arching, pts, found))
        nearer = distance < best - 1e-12
        best, foot = np.where(nearer, distance, best), np.where(nearer[:, None], found, foot)
    return best, foot


def _squared(arching: Arching, pts: Floats, foot: Floats) -> Floats:
    rise = arching.height(foot) - pts[:, 2]
    return np.asarray(np.sum((foot - pts[:, :2]) ** 2, axis=1) + rise**2)


def _newton(arching: Arching, pts: Floats, start: Floats) -> Floats:
    """Feet (m, 2) of a local least distance, from the given starts."""
    foot = start.copy()
    value = _squared(arching, pts, foot)
    active = np.arange(len(pts))
    damp = np.zeros(len(pts))
    for _ in range(ROUNDS):
        if len(active) == 0:
            break
        step = _step(arching, pts[active], foot[active], damp[active])
        tried = foot[active] + step
        new = _squared(arching, pts[active], tried)
        better = new <= value[active] + 1e-15
        taken = active[better]
        foot[taken], value[taken] = tried[better], new[better]
        damp[taken] *= 0.2
        refused = active[~better]
        damp[refused] = np.maximum(4.0 * damp[refused], 0.25)
        moving = (np.hypot(*step.T) > NEAR_MM) & (damp[active] < 1e8)
        active = active[moving]
    return foot


def _step(arching: Arching, pts: Floats, foot: Floats, damp: Floats) -> Floats:
    """The Newton step (m, 2), or the Gauss-Newton step where the true Hessian is not positive."""
    h, p, q, r, s, t = arching.all_at(foot).T
    e = h - pts[:, 2]
    gx = foot[:, 0] - pts[:, 0] + e * p
    gy = foot[:, 1] - pts[:, 1] + e * q
    a, b, c = 1.0 + p * p, p * q, 1.0 + q * q
    full = [a + e * r, b + e * s, c + e * t]
    sound = (full[0] > 0.1) & (full[0] * full[2] - full[1] ** 2 > 0.05)
    a, b, c = (np.where(sound, f, g) for f, g in zip(full, (a, b, c), strict=True))
    a, c = a + damp, c + damp
    det = a * c - b * b
    step = np.column_stack([b * gy - c * gx, b * gx - a * gy]) / det[:, None]
    far = np.hypot(*step.T)
    return np.asarray(step * np.minimum(1.0, 3.0 / np.maximum(far, 1e-12))[:, None])


def inside_from_thickness(arching: Arching, thickness: ThicknessAt, xy: ArrayLike) -> Floats:
    """Height (m,) of the inside face at xy (m, 2), so that the shortest distance is `thickness`.

    thickness: callable (m, 2) -> (m,) mm, belonging to the point of the inside face. The inside
    cannot pass the gluing plane: it is held at 0.
    """
    plan = np.atleast_2d(np.asarray(xy, dtype=np.float64))
    depth = vertical_from_shortest(arching, plan, thickness(plan))
    return np.maximum(arching.height(plan) - depth, 0.0)


def shortest_from_vertical(arching: Arching, xy: ArrayLike, vertical_mm: ArrayLike) -> Floats:
    """Shortest distance (m,) to the outside from `vertical_mm` (m,) straight below it at xy."""
    plan = np.atleast_2d(np.asarray(xy, dtype=np.float64))
    z = arching.height(plan) - np.asarray(vertical_mm, dtype=np.float64)
    return shortest_distance(arching, np.column_stack([plan, z]))[0]


def vertical_from_shortest(arching: Arching, xy: ArrayLike, shortest_mm: ArrayLike) -> Floats:
    """Vertical depth (m,) below the outside at xy (m, 2) where the shortest distance is as given.

    Newton's method: the distance grows with depth by the cosine of the slope at the foot.
    """
    plan = np.atleast_2d(np.asarray(xy, dtype=np.float64))
    want = np.broadcast_to(np.asarray(shortest_mm, dtype=np.float64), (len(plan),))
    outside = arching.height(plan)
    depth = want / np.cos(np.radians(arching.slope_deg(plan)))
    active = np.arange(len(plan))
    for _ in range(CORRECTIONS):
        below = np.column_stack([plan[active], outside[active] - depth[active]])
        have, foot = shortest_distance(arching, below)
        miss = want[active] - have
        open_ = np.abs(miss) > EXACT_MM
        active, miss, foot = active[open_], miss[open_], foot[open_]
        if len(active) == 0:
            break
        steep = np.cos(np.radians(arching.slope_deg(foot)))
        depth[active] = np.maximum(depth[active] + miss / steep, 0.0)
    return np.asarray(depth)
