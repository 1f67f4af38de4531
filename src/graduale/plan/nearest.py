"""Shortest distance from points in the wood to the outside of the plate, many points at once."""

from typing import Protocol

import numpy as np

from graduale.base.arrays import Floats

STEP_LIMIT_MM = 2.0


class Outside(Protocol):
    """The outside of a plate over its own gluing plane; smooth, also a little beyond the edge."""

    def height(self, xy: Floats) -> Floats:
        """Outward height (m,) at xy (m, 2), mm."""
        ...

    def gradient(self, xy: Floats) -> Floats:
        """Slope (m, 2) = dh/dx, dh/dy."""
        ...

    def hessian(self, xy: Floats) -> Floats:
        """Second derivatives (m, 3) = hxx, hxy, hyy, 1/mm."""
        ...

    def all_at(self, xy: Floats) -> Floats:
        """Height, gradient and second derivatives at once (m, 6)."""
        ...


def heights(outside: Outside, xy: Floats) -> Floats:
    """Heights (...,) at xy (..., 2)."""
    return np.asarray(outside.height(xy.reshape(-1, 2)), dtype=np.float64).reshape(xy.shape[:-1])


def normals(outside: Outside, xy: Floats) -> Floats:
    """Outward unit normals (..., 3) at xy (..., 2)."""
    g = np.asarray(outside.gradient(xy.reshape(-1, 2)), dtype=np.float64)
    n = np.column_stack([-g, np.ones(len(g))])
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    return np.asarray(n.reshape(*xy.shape[:-1], 3))


def slopes_deg(outside: Outside, xy: Floats) -> Floats:
    """Angles (...,) between the outside and the gluing plane."""
    return np.asarray(np.degrees(np.arccos(np.clip(normals(outside, xy)[..., 2], -1.0, 1.0))))


def foot_step(outside: Outside, q: Floats, xy: Floats) -> Floats:
    """One Newton step from xy (m, 2) toward the foot of the shortest distance from q (m, 3).

    Where the full second derivative is not positive the curvature of the outside is left out.
    """
    all_six = np.asarray(outside.all_at(xy))
    g, c = all_six[:, 1:3], all_six[:, 3:]
    dz = all_six[:, 0] - q[:, 2]
    b = xy - q[:, :2] + dz[:, None] * g
    flat = np.column_stack([1 + g[:, 0] ** 2, g[:, 0] * g[:, 1], 1 + g[:, 1] ** 2])
    full = flat + dz[:, None] * c
    good = (full[:, 0] * full[:, 2] - full[:, 1] ** 2 > 0.05) & (full[:, 0] > 0.05)
    a = np.where(good[:, None], full, flat)
    det = a[:, 0] * a[:, 2] - a[:, 1] ** 2
    step = np.column_stack(
        [a[:, 2] * b[:, 0] - a[:, 1] * b[:, 1], a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]]
    )
    step /= -det[:, None]
    size = np.linalg.norm(step, axis=1, keepdims=True)
    return np.asarray(xy + step * np.minimum(1.0, STEP_LIMIT_MM / np.maximum(size, 1e-300)))


def feet(outside: Outside, q: Floats, xy: Floats, rounds: int = 8) -> tuple[Floats, Floats]:
    """Distances (...,) and feet (..., 2) of points q (..., 3), started at xy (..., 2).

    A point outside the wood has a negative distance.
    """
    shape = q.shape[:-1]
    flat_q, flat_xy = q.reshape(-1, 3), xy.reshape(-1, 2)
    for _ in range(rounds):
        flat_xy = foot_step(outside, flat_q, flat_xy)
    distance = signed(outside, flat_q, flat_xy)
    return distance.reshape(shape), flat_xy.reshape(*shape, 2)


def signed(outside: Outside, q: Floats, xy: Floats) -> Floats:
    """Distances (m,) from q (m, 3) to the outside over xy (m, 2), negative from above the
    outside."""
    drop = np.column_stack([xy - q[:, :2], np.asarray(outside.height(xy)) - q[:, 2]])
    side = np.sign(drop[:, 2] + 1e-12)  # the foot lies outward of a point in the wood
    return np.asarray(np.linalg.norm(drop, axis=1) * side)


def seeds(
    outside: Outside, q: Floats, centre: Floats, reach_mm: float, step_mm: float = 1.0
) -> Floats:
    """For each hole the nearest of a square of outside points as start, so that no foot is missed.

    q (n, k, 3), centre (n, 2) -> xy (n, k, 2).
    """
    count = 2 * int(np.ceil(reach_mm / step_mm)) + 1
    line = np.linspace(-reach_mm, reach_mm, count)
    square = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2)
    xy = centre[:, None, :] + square
    surface = np.concatenate([xy, heights(outside, xy)[..., None]], axis=-1)
    # |q - s|^2 without |q|^2, which is the same for every s
    score = np.sum(surface**2, axis=-1)[:, None, :] - 2 * q @ np.swapaxes(surface, 1, 2)
    best = np.argmin(score, axis=-1)
    return np.asarray(np.take_along_axis(xy, best[..., None], axis=1))
