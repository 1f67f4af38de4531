"""How deep a bit may go: on the real outside, for every point of the bit, many holes at once."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats
from graduale.plan.bits import COARSE_RINGS, Bit, around, end_places, end_points
from graduale.plan.nearest import Outside, feet, foot_step, normals, seeds, signed
from graduale.plan.seat import Axes

Thickness = Callable[[Floats], Floats]  # xy (m, 2) -> mm (m,)
NEVER_MM = 1e3
REFINEMENTS = (1.0, 0.5, 0.25, 0.125, 0.0625)  # the least is found to about 1e-4 mm


@dataclass(frozen=True, eq=False)
class Left:
    """What n holes leave: shortest distance (n,) from the bit's end to the outside (inf where the
    bit does not reach the wood), and where on the bottom of the hole (n, 2)."""

    least_mm: Floats
    at_xy: Floats


def world(axes: Axes, local: Floats, along: Floats) -> Floats:
    """Points (n, k, 3) of the bit's end; local (k, 3) or (n, k, 3), along (n,) or (n, k)."""
    local = np.broadcast_to(local, (len(axes.mark), *local.shape[-2:]))
    s = along[:, None] if along.ndim == 1 else along
    moved = np.einsum("nkj,nji->nki", local, axes.frame)
    return np.asarray(moved + axes.mark[:, None, :] + s[..., None] * axes.outward[:, None, :])


def _reach(bit: Bit, depth_mm: float) -> float:
    return bit.radius_mm + 0.8 * max(depth_mm, 1.0) + 1.0


def _need(need: Thickness, xy: Floats) -> Floats:
    value = np.asarray(need(xy.reshape(-1, 2)), dtype=np.float64).reshape(xy.shape[:-1])
    return np.where(np.isfinite(value), value, NEVER_MM)


def deepest(outside: Outside, axes: Axes, bit: Bit, need: Thickness, over_mm: Floats) -> Floats:
    """How far (n,) along the axis the deepest point of the bit may go, mm.

    Every point of the bit's end keeps at least need(its x, y) + over (n,) to the outside, or
    stays above the inside face, where there is no wood. Negative: the bit may not touch the wood.
    """
    places = end_places(bit)
    local = end_points(bit, places)
    guess = axes.hit - _need(need, axes.mark[:, :2]) - over_mm
    guess = np.maximum(guess, -2.0 * bit.proud_mm - 1.0)
    q = world(axes, local, guess)
    depth = float(np.max(axes.hit - guess, initial=1.0))
    start = seeds(outside, q, axes.at(axes.hit)[:, :2], _reach(bit, min(depth, 12.0)))
    allowed, foot = _allowed(outside, axes, local, need, over_mm, start, guess)
    best = np.argmin(allowed, axis=1)
    rows = np.arange(len(best))
    place, result = places[best], allowed[rows, best]
    for share in REFINEMENTS:
        near = around(place, share)
        begin = np.repeat(foot[rows, best][:, None, :], near.shape[1], axis=1)
        allowed, foot = _allowed(outside, axes, end_points(bit, near), need, over_mm, begin, result)
        best = np.argmin(allowed, axis=1)
        place, result = near[rows, best], np.minimum(result, allowed[rows, best])
    return np.asarray(result)


def _allowed(
    outside: Outside,
    axes: Axes,
    local: Floats,
    need: Thickness,
    over_mm: Floats,
    start: Floats,
    guess: Floats,
) -> tuple[Floats, Floats]:
    """For each point of the end alone: how far (n, k) the bit may go, and its feet (n, k, 2)."""
    local = np.broadcast_to(local, (len(axes.mark), *local.shape[-2:]))
    free = -np.einsum("nkj,nj->nk", local, axes.frame[:, :, 2]) / axes.outward[:, 2:3]
    along = np.repeat(guess[:, None], local.shape[1], axis=1)
    foot, never = start, np.zeros(along.shape, dtype=bool)
    for _ in range(10):
        q = world(axes, local, along)
        foot = foot_step(outside, q.reshape(-1, 3), foot.reshape(-1, 2)).reshape(foot.shape)
        distance = signed(outside, q.reshape(-1, 3), foot.reshape(-1, 2)).reshape(along.shape)
        wanted = _need(need, q[..., :2])
        never |= wanted >= NEVER_MM
        cosine = np.einsum("nki,ni->nk", normals(outside, foot), axes.outward)
        step = np.clip((distance - wanted - over_mm[:, None]) / np.maximum(cosine, 0.3), -3.0, 3.0)
        along = along + np.where(never, 0.0, step)
        if np.max(np.abs(np.where(never, 0.0, step)), initial=0.0) < 1e-7:
            break
    return np.maximum(np.where(never, -np.inf, along), free), foot


def what_is_left(
    outside: Outside, axes: Axes, bit: Bit, along: Floats, need: Thickness | None = None
) -> Left:
    """The least that the bit leaves when its deepest point has gone `along` (n,) mm.

    With `need` the least over need(x, y) of each point instead.
    """
    places = end_places(bit)
    depth = float(np.max(axes.hit - along, initial=1.0))
    q = world(axes, end_points(bit, places), along)
    start = seeds(outside, q, axes.at(axes.hit)[:, :2], _reach(bit, min(depth, 12.0)))
    distance, foot = feet(outside, q, start)
    rows = np.arange(len(along))
    least, best = _least(distance, q, need)
    place, at = places[best], q[rows, best]
    for share in REFINEMENTS:
        near = around(place, share)
        begin = np.repeat(foot[rows, best][:, None, :], near.shape[1], axis=1)
        q = world(axes, end_points(bit, near), along)
        distance, foot = feet(outside, q, begin, 4)
        now, best = _least(distance, q, need)
        place = near[rows, best]
        at = np.where((now <= least)[:, None], q[rows, best], at)
        least = np.minimum(least, now)
    return Left(np.asarray(least), at[:, :2])


def _least(distance: Floats, q: Floats, need: Thickness | None) -> tuple[Floats, NDArray[np.int64]]:
    """Least value (n,) over points in the wood, and which point; inf where none is."""
    value = distance if need is None else distance - _need(need, q[..., :2])
    wet = np.where(q[..., 2] > 0, value, np.inf)
    best = np.argmin(wet, axis=1)
    return wet[np.arange(len(best)), best], best


@dataclass(frozen=True, eq=False)
class Probe:
    """A coarse bit with known feet, for judging small changes of the seat."""

    bit: Bit
    local: Floats
    foot: Floats

    def least(self, outside: Outside, axes: Axes, along: Floats) -> Floats:
        """The least left (n,) over the coarse bit."""
        distance, _ = feet(outside, world(axes, self.local, along), self.foot, 2)
        return np.asarray(np.min(distance, axis=1))


def probe(outside: Outside, axes: Axes, bit: Bit, along: Floats) -> Probe:
    """The probe for holes drilled to `along` (n,)."""
    local = _probe_points(bit)
    q = world(axes, local, along)
    depth = float(np.max(axes.hit - along, initial=1.0))
    start = seeds(outside, q, axes.at(axes.hit)[:, :2], _reach(bit, min(depth, 12.0)), 1.5)
    return Probe(bit, local, feet(outside, q, start, 5)[1])


def _probe_points(bit: Bit) -> Floats:
    """A ball is a radius nearer than its middle everywhere, so its middle alone shows the
    changes."""
    if bit.shape == "ball":
        return np.array([[0.0, 0.0, -bit.radius_mm]])
    return end_points(bit, end_places(bit, COARSE_RINGS))
