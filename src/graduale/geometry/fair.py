"""A fair curve through a few points: the curvature changes as little as it can.

Curves of least curvature variation after Moreton & Sequin, 'Functional optimization for fair
surface design', Computer Graphics 26 (1992) [from memory]: where a circle fits, a circle comes
out. The unknowns are the curvature at evenly spaced places and the length of each stretch; the
places and directions asked for are met exactly.
"""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats

PIECES = 48  # of each stretch
ROUNDS = 60


@dataclass(frozen=True)
class Way:
    """A point the curve passes (mm) and, when asked for, its direction there (degrees from +x)."""

    x_mm: float
    y_mm: float
    direction_deg: float | None = None


@dataclass(frozen=True, eq=False)
class _Problem:
    ways: tuple[Way, ...]
    start: Floats  # (2,)
    theta0: float
    scale: float


def fair_curve(ways: tuple[Way, ...]) -> Floats:
    """Points (k, 2) of the fair curve through `ways`; the first must have a direction.

    The points asked for are points of the result. Errors: ValueError when no such curve is found.
    """
    if ways[0].direction_deg is None:
        raise ValueError("the first point of a fair curve needs a direction")
    start = np.array([ways[0].x_mm, ways[0].y_mm])
    chords = _chords(ways)
    problem = _Problem(ways, start, np.radians(ways[0].direction_deg), float(np.mean(chords)))
    return _solve(problem, chords)


def _chords(ways: tuple[Way, ...]) -> Floats:
    xy = np.array([(w.x_mm, w.y_mm) for w in ways])
    return np.asarray(np.hypot(*np.diff(xy, axis=0).T))


def _first_guess(p: _Problem, chords: Floats) -> tuple[Floats, Floats]:
    xy = np.array([(w.x_mm, w.y_mm) for w in p.ways])
    heading = np.unwrap(np.arctan2(*np.diff(xy, axis=0).T[::-1]))
    angles = [p.theta0]
    for i, way in enumerate(p.ways[1:], start=1):
        if way.direction_deg is not None:
            angles.append(np.radians(way.direction_deg))
        elif i < len(heading):
            angles.append(0.5 * (heading[i - 1] + heading[i]))
        else:
            angles.append(2.0 * heading[-1] - angles[-1])
    turn = np.diff(angles)
    length = chords * np.clip(1.0 + turn**2 / 24.0, 1.0, 1.6)
    kappa = turn / length
    nodes = np.concatenate([np.full(PIECES, k) for k in kappa] + [kappa[-1:]])
    for j in range(1, len(turn)):
        nodes[j * PIECES] = 0.5 * (kappa[j - 1] + kappa[j])
    return nodes, length


def _angles(kappa: Floats, length: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Weights of the curvatures in the direction at mid-pieces (N, N+1) and at nodes, and steps."""
    stretches = len(length)
    count = stretches * PIECES
    ds = np.repeat(length / PIECES, PIECES)
    half = np.zeros((count, count + 1))
    rows = np.arange(count)
    half[rows, rows] = half[rows, rows + 1] = 0.5
    node = np.zeros((count + 1, count + 1))
    node[1:] = np.cumsum(half * ds[:, None], axis=0)
    own = np.zeros((count, count + 1))
    own[rows, rows], own[rows, rows + 1] = 3.0 / 8.0, 1.0 / 8.0
    mid = node[:-1] + own * ds[:, None]
    turn = (half @ kappa) * ds  # of each piece
    node_by_length = np.zeros((count + 1, stretches))
    mid_by_length = np.zeros((count, stretches))
    for j in range(stretches):
        inside = slice(j * PIECES, (j + 1) * PIECES)
        part = np.zeros(count)
        part[inside] = turn[inside] / length[j]
        node_by_length[1:, j] = np.cumsum(part)
        mid_by_length[:, j] = node_by_length[:-1, j]
        mid_by_length[inside, j] += (own[inside] @ kappa) / PIECES
    return mid, mid_by_length, node, node_by_length, ds


def _misses(p: _Problem, kappa: Floats, length: Floats) -> tuple[Floats, Floats, Floats]:
    """What the curve misses (c,), its derivative (c, unknowns), and the points (N+1, 2)."""
    mid, mid_l, node, node_l, ds = _angles(kappa, length)
    theta = p.theta0 + mid @ kappa
    way = np.column_stack([np.cos(theta), np.sin(theta)])
    normal = np.column_stack([-np.sin(theta), np.cos(theta)])
    xy = np.vstack([p.start, p.start + np.cumsum(way * ds[:, None], axis=0)])
    at_node = p.theta0 + node @ kappa
    values: list[float] = []
    rows: list[Floats] = []
    for k, w in enumerate(p.ways[1:], start=1):
        end = k * PIECES
        for axis, target in enumerate((w.x_mm, w.y_mm)):
            lever = ds[:end] * normal[:end, axis]
            by_length = lever @ mid_l[:end]
            for j in range(k):
                inside = slice(j * PIECES, (j + 1) * PIECES)
                by_length[j] += np.sum(way[inside, axis]) / PIECES
            values.append((xy[end, axis] - target) / p.scale)
            rows.append(np.concatenate([lever @ mid[:end], by_length]) / p.scale)
        if w.direction_deg is not None:
            values.append(at_node[end] - np.radians(w.direction_deg))
            rows.append(np.concatenate([node[end], node_l[end]]))
    return np.array(values), np.array(rows), xy


def _change(kappa: Floats, length: Floats) -> tuple[Floats, Floats]:
    """Weighted changes of curvature (N,) whose squares are summed, and their derivative."""
    count = len(kappa) - 1
    weight = np.repeat(length, PIECES) * np.sqrt(PIECES)
    step = np.diff(kappa)
    rows = np.arange(count)
    by = np.zeros((count, count + 1 + len(length)))
    by[rows, rows], by[rows, rows + 1] = -weight, weight
    by[rows, count + 1 + rows // PIECES] = step * np.sqrt(PIECES)
    return weight * step, by


def _solve(p: _Problem, chords: Floats) -> Floats:
    kappa, length = _first_guess(p, chords)
    count = len(kappa)
    damp = 1e-3
    for _ in range(ROUNDS):
        miss, by_miss, _xy = _misses(p, kappa, length)
        change, by_change = _change(kappa, length)
        unknowns = count + len(length)
        scale = np.concatenate([np.full(count, 1.0 / p.scale), length])
        by_miss, by_change = by_miss * scale, by_change * scale
        system = np.zeros((unknowns + len(miss), unknowns + len(miss)))
        system[:unknowns, :unknowns] = by_change.T @ by_change + damp * np.eye(unknowns)
        system[unknowns:, :unknowns], system[:unknowns, unknowns:] = by_miss, by_miss.T
        right = -np.concatenate([by_change.T @ change, miss])
        step = np.linalg.solve(system, right)[:unknowns]
        step *= min(1.0, 0.3 / max(1e-12, float(np.abs(step[count:]).max())))
        step *= min(1.0, 3.0 / max(1e-12, float(np.abs(step[:count]).max())))
        kappa = kappa + step[:count] * scale[:count]
        length = length * np.exp(step[count:])
        if float(np.abs(step).max()) < 1e-9:
            break
    miss, _rows, xy = _misses(p, kappa, length)
    if not np.all(np.isfinite(xy)) or float(np.abs(miss).max()) > 1e-5:
        raise ValueError("no fair curve passes these points in these directions")
    return xy
