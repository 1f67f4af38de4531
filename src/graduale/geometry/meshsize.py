"""How long the edges of a mesh should be where, and nodes along curves at that spacing."""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, Ints
from graduale.geometry.curves import arc_length, resample, split_ring, turning_deg

GROWTH = 0.3  # of the wanted edge length per mm away from a fine place
SHORT_SHARE = 0.6  # a given piece shorter than this share of the wanted length asks for fine nodes
CROWDED, WIDE = 0.35, 1.45  # of the wanted length: nearer is merged, wider is parted
CORNER_DEG = 20.0  # a ring that turns more in one point keeps that point as a node


@dataclass(frozen=True, eq=False)
class SizeField:
    """Wanted edge length (mm): `size_mm` at large, finer in discs and at openings."""

    size_mm: float
    discs: Floats  # (k, 4): x, y, radius, size
    rings: cKDTree | None  # dense points on the edges of openings
    ring_size_mm: float

    @cached_property
    def _alike(self) -> list[tuple[cKDTree, float, float]]:
        """Centres of discs of equal radius and size."""
        kinds = np.unique(self.discs[:, 2:], axis=0)
        return [
            (
                cKDTree(self.discs[np.all(self.discs[:, 2:] == k, axis=1), :2]),
                float(k[0]),
                float(k[1]),
            )
            for k in kinds
        ]

    def at(self, xy: Floats) -> Floats:
        """Wanted edge length (m,) at points (m, 2)."""
        size = np.full(len(xy), self.size_mm)
        for centres, radius, fine in self._alike:
            reach = radius + max(0.0, self.size_mm - fine) / GROWTH
            away = np.asarray(centres.query(xy, distance_upper_bound=reach)[0])
            size = np.minimum(
                size, fine + GROWTH * np.maximum(0.0, np.minimum(away, reach) - radius)
            )
        if self.rings is not None and self.ring_size_mm < self.size_mm:
            reach = (self.size_mm - self.ring_size_mm) / GROWTH
            away = np.asarray(self.rings.query(xy, distance_upper_bound=reach)[0])
            size = np.minimum(size, self.ring_size_mm + GROWTH * np.minimum(away, reach))
        return size

    @property
    def least_mm(self) -> float:
        """The finest size asked for."""
        sizes = [self.size_mm, *self.discs[:, 3].tolist()]
        return float(min([*sizes, self.ring_size_mm] if self.rings is not None else sizes))


def size_field(
    size_mm: float,
    refine: tuple[tuple[float, float, float, float], ...],
    openings: list[Floats],
    opening_size_mm: float,
) -> SizeField:
    """The size field for a mesh of `size_mm` with discs (x, y, radius, size) and openings."""
    discs = np.array(refine, dtype=np.float64).reshape(-1, 4)
    rings = None
    if openings:
        dense = [resample(np.vstack([r, r[:1]]), 1.0) for r in openings]
        rings = cKDTree(np.vstack(dense))
    return SizeField(size_mm, discs, rings, min(opening_size_mm, size_mm))


def with_short_pieces(field: SizeField, lines: list[tuple[Floats, bool]]) -> SizeField:
    """The field made fine at pieces of fixed lines (points, closed) shorter than it asks for."""
    discs = [field.discs]
    for xy, closed in lines:
        following = np.roll(xy, -1, axis=0) if closed else xy[1:]
        start = xy[: len(following)]
        length = np.hypot(*(following - start).T)
        middle = 0.5 * (start + following)
        short = length < SHORT_SHARE * field.at(middle)
        rows = [middle[short], np.zeros((int(short.sum()), 1)), 1.3 * length[short, None]]
        discs.append(np.column_stack(rows))
    return replace(field, discs=np.vstack(discs))


def nodes_along(xy: Floats, field: SizeField, least: int = 1) -> Floats:
    """Nodes at the wanted spacing along an open polyline (n, 2), both ends kept (k, 2)."""
    fine = resample(xy, min(1.0, 0.25 * field.least_mm), least=2)
    s = arc_length(fine)
    rate = 1.0 / field.at(fine)
    count = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(s))))
    pieces = max(least, round(float(count[-1])))
    at = np.interp(np.linspace(0.0, count[-1], pieces + 1), count, s)
    exact = arc_length(xy)
    out = np.column_stack([np.interp(at, exact, xy[:, 0]), np.interp(at, exact, xy[:, 1])])
    out[0], out[-1] = xy[0], xy[-1]
    return out


def sharp_corners(ring: Floats, field: SizeField) -> Ints:
    """Numbers of the sharp corners of a ring (n, 2); of a crowd (0.3 sizes) only the sharpest."""
    turn = np.abs(turning_deg(ring))
    found = np.flatnonzero(turn > CORNER_DEG)
    kept: list[int] = []
    for i in found[np.argsort(-turn[found], kind="stable")]:
        near = 0.3 * field.at(ring[[i]])[0]
        if all(np.hypot(*(ring[i] - ring[j])) >= near for j in kept):
            kept.append(int(i))
    return np.array(sorted(kept), dtype=np.int64)


def nodes_round(ring: Floats, field: SizeField) -> Floats:
    """Nodes at the wanted spacing round a ring (n, 2), its sharp corners kept (k, 2)."""
    corners = sharp_corners(ring, field)
    least = 5 if len(corners) == 0 else (3 if len(corners) == 1 else 1)
    pieces = [nodes_along(p, field, least) for p in split_ring(ring, corners)]
    return np.vstack([p[:-1] for p in pieces])


def nodes_beside(ring: Floats, line: Floats, field: SizeField) -> Floats:
    """Nodes round a ring, each opposite the middle of a piece of a closed line just inside it.

    ring (n, 2); line (m, 2) closed without repeat; sharp corners of the ring are kept (k, 2).
    """
    corners = sharp_corners(ring, field)
    whole = np.vstack([ring, ring[:1]])
    s = arc_length(whole)
    middles = 0.5 * (line + np.roll(line, -1, axis=0))
    at = s[np.asarray(cKDTree(ring).query(middles)[1])]
    at = np.unique(at)
    if len(corners):
        gap = np.abs(at[:, None] - s[corners][None, :])
        gap = np.minimum(gap, s[-1] - gap).min(axis=1)
        at = at[gap > CROWDED * field.at(whole[np.searchsorted(s, at)])]
    at = np.union1d(at, s[corners])
    at = _evened(at, s[-1], s[corners], whole, s, field)
    return np.column_stack([np.interp(at, s, whole[:, 0]), np.interp(at, s, whole[:, 1])])


def _evened(
    at: Floats, length: float, kept: Floats, whole: Floats, s: Floats, field: SizeField
) -> Floats:
    """Places along a ring with crowded ones merged and wide gaps parted (k,)."""
    sizes = field.at(whole[np.minimum(np.searchsorted(s, at), len(whole) - 1)])
    corner = np.isin(at, kept)
    out: list[tuple[float, float]] = []
    for here, size, sharp in zip(at.tolist(), sizes.tolist(), corner.tolist(), strict=True):
        if not out or sharp or here - out[-1][0] >= CROWDED * size:
            out.append((here, size))
    full: list[float] = []
    for (a, size), (b, _next) in pairwise([*out, (out[0][0] + length, 0.0)]):
        pieces = max(1, int(np.ceil((b - a) / (WIDE * size))))
        full += [(a + (b - a) * k / pieces) % length for k in range(pieces)]
    return np.unique(np.array(full))
