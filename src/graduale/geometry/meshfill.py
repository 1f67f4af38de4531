"""Free nodes between fixed ones: a lattice where it is even, evened out by springs.

Springs that only push, after Persson & Strang, 'A simple mesh generator in MATLAB', SIAM Review 46
(2004) [from memory]; here with fixed nodes along every line and no random numbers.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, Ints
from graduale.geometry.meshedges import delaunay, edges_of
from graduale.geometry.meshsize import SizeField

CLEAR = 0.5  # of the local size between a free node and any line
PUSH = 1.15
ROUNDS = 14


@dataclass(frozen=True, eq=False)
class Room:
    """Where free nodes may be: fixed nodes (f, 2), dense points on all lines, an inside test."""

    fixed: Floats
    dense: cKDTree
    field: SizeField
    inside: "Inside"


class Inside:
    """Test whether points lie on the plate and in no opening."""

    def __init__(self, outline: Floats, openings: list[Floats]) -> None:
        self.polygon = shapely.Polygon(outline, list(openings))
        shapely.prepare(self.polygon)

    def __call__(self, xy: Floats) -> NDArray[np.bool_]:
        """Whether points (m, 2) lie inside (m,)."""
        return np.asarray(shapely.contains_xy(self.polygon, xy[:, 0], xy[:, 1]), dtype=bool)


def free_nodes(room: Room) -> Floats:
    """Free nodes (m, 2) that fill the room at the wanted size."""
    free = _start(room)
    for turn in range(ROUNDS):
        free = _pushed(room, free)
        if turn in (3, 7, 10):
            free = _thinned(room, free)
            free = _filled(room, free)
    return free


def _clear(room: Room, xy: Floats, share: float) -> NDArray[np.bool_]:
    away = np.asarray(room.dense.query(xy)[0])
    return np.asarray(away >= share * room.field.at(xy), dtype=bool)


def _lattice(low: Floats, high: Floats, size: float) -> Floats:
    """Equilateral lattice over a box, with a row on y = 0."""
    rise = size * np.sqrt(0.75)
    rows = np.arange(np.floor(low[1] / rise), np.ceil(high[1] / rise) + 1)
    x = np.arange(low[0] - size, high[0] + size, size)
    gx, gy = np.meshgrid(x, rows)
    return np.column_stack([(gx + 0.5 * size * (gy % 2)).ravel(), (gy * rise).ravel()])


def _start(room: Room) -> Floats:
    """Lattices of falling size, each where the wanted size asks for it."""
    low, high = room.fixed.min(axis=0), room.fixed.max(axis=0)
    sizes = [room.field.size_mm]
    while sizes[-1] * 0.8 > room.field.least_mm:
        sizes.append(sizes[-1] * 0.8)
    taken = np.zeros((0, 2))
    for size in sizes:
        nodes = _lattice(low, high, size)
        wanted = room.field.at(nodes)
        upper = np.inf if size == sizes[0] else size / 0.8 * 0.894
        lower = 0.0 if size == sizes[-1] else size * 0.894
        nodes = nodes[(wanted > lower) & (wanted <= upper)]
        if len(nodes):
            nodes = nodes[room.inside(nodes)]
        if len(nodes):
            nodes = nodes[_clear(room, nodes, 0.6)]
        if len(taken) and len(nodes):
            away = np.asarray(cKDTree(taken).query(nodes)[0])
            nodes = nodes[away > 0.75 * room.field.at(nodes)]
        taken = np.vstack([taken, nodes])
    return taken


def _pushed(room: Room, free: Floats) -> Floats:
    """One round of springs between neighbours; a node that comes too near a line stays."""
    if len(free) == 0:
        return free
    xy = np.vstack([room.fixed, free])
    edges = edges_of(delaunay(xy))
    run = xy[edges[:, 1]] - xy[edges[:, 0]]
    length = np.maximum(np.hypot(*run.T), 1e-9)
    size = room.field.at(xy)
    wanted = 0.5 * PUSH * (size[edges[:, 0]] + size[edges[:, 1]])
    force = np.maximum(wanted - length, 0.0)[:, None] * run / length[:, None]
    push = np.zeros_like(xy)
    for axis in range(2):
        push[:, axis] += np.bincount(edges[:, 1], force[:, axis], minlength=len(xy))
        push[:, axis] -= np.bincount(edges[:, 0], force[:, axis], minlength=len(xy))
    step = 0.2 * push[len(room.fixed) :]
    far = np.hypot(*step.T)
    step *= np.minimum(1.0, 0.25 * size[len(room.fixed) :] / np.maximum(far, 1e-12))[:, None]
    moved = free + step
    good = _clear(room, moved, CLEAR)
    return np.where(good[:, None], moved, free)


def _thinned(room: Room, free: Floats) -> Floats:
    """Without the later one of two free nodes that crowd each other."""
    if len(free) < 2:
        return free
    size = room.field.at(free)
    pairs = cKDTree(free).query_pairs(0.62 * float(size.max()), output_type="ndarray")
    if len(pairs) == 0:
        return free
    gap = np.hypot(*(free[pairs[:, 0]] - free[pairs[:, 1]]).T)
    crowded = pairs[gap < 0.62 * np.minimum(size[pairs[:, 0]], size[pairs[:, 1]])]
    gone: set[int] = set()
    for a, b in np.sort(crowded, axis=1)[np.lexsort(np.sort(crowded, axis=1).T[::-1])]:
        if int(a) not in gone:
            gone.add(int(b))
    keep = np.ones(len(free), dtype=bool)
    keep[list(gone)] = False
    return free[keep]


def _filled(room: Room, free: Floats) -> Floats:
    """With a node at the middle of the circumcircle of each triangle that is too large."""
    xy = np.vstack([room.fixed, free])
    triangles = delaunay(xy)
    centre, radius = circumcircles(xy, triangles)
    wanted = room.field.at(np.clip(centre, xy.min(axis=0), xy.max(axis=0)))
    order = np.flatnonzero(radius > 0.82 * wanted)
    if len(order):
        order = order[room.inside(centre[order])]
    if len(order):
        order = order[_clear(room, centre[order], 0.6)]
    order = order[np.argsort(-radius[order] / wanted[order], kind="stable")]
    new: list[Floats] = []
    for i in order:
        if all(np.hypot(*(centre[i] - other)) > 0.8 * wanted[i] for other in new):
            new.append(centre[i])
    return np.vstack([free, *new]) if new else free


def circumcircles(xy: Floats, triangles: Ints) -> tuple[Floats, Floats]:
    """Centres (m, 2) and radii (m,) of the circles through the corners of triangles (m, 3)."""
    a = xy[triangles[:, 0]]
    b, c = xy[triangles[:, 1]] - a, xy[triangles[:, 2]] - a
    twice = 2.0 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    twice = np.where(np.abs(twice) < 1e-12, 1e-12, twice)
    bb, cc = np.sum(b * b, axis=1), np.sum(c * c, axis=1)
    ux = (c[:, 1] * bb - b[:, 1] * cc) / twice
    uy = (b[:, 0] * cc - c[:, 0] * bb) / twice
    return a + np.column_stack([ux, uy]), np.hypot(ux, uy)
