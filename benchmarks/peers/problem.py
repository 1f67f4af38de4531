"""The task all peers solve: first eight tones of a free carved plate of full size, twice.

Body, arching, spruce board and thickness rule of the referee's VIOLIN plate; the second map is the
first with a hollow scraped into it. Units N, mm, MPa, t.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.plate import PlateShell
from graduale.geometry.mesh import PlateMesh, mesh_plate
from tests.outside.referee.plates import VIOLIN

COUNT = 8
Map = Callable[[Floats], Floats]


def first_map(xy: Floats) -> Floats:
    """Thickness (n,) at inside points (n, 2)."""
    return VIOLIN.thickness(xy)


def second_map(xy: Floats) -> Floats:
    """After a scrape: a hollow of 0.3 mm, 40 mm wide, beside the middle."""
    away = np.sum((xy - np.array([210.0, 30.0])) ** 2, axis=1)
    return VIOLIN.thickness(xy) - 0.3 * np.exp(-away / (2.0 * 20.0**2))


MAPS = (first_map, second_map)


def mesh(size_mm: float) -> PlateMesh:
    """An even mesh: nothing is refined."""
    return mesh_plate(VIOLIN.outline.xy, (), size_mm)


def lifted(size_mm: float) -> PlateShell:
    """The middle surface on such a mesh, moduli in every facet (the block's wood turned)."""
    return VIOLIN.shell_on(mesh(size_mm)).lifted


@dataclass(frozen=True, eq=False)
class Surface:
    """Nodes on the middle surface (n, 3) with normals and thickness; triangles (m, 3 or 6)."""

    nodes: Floats
    normals: Floats
    thickness: Floats
    triangles: Ints


def surface(size_mm: float, rule: Map, *, quadratic: bool) -> Surface:
    """Middle surface of a map; with nodes in the middle of the sides for quadratic triangles."""
    flat = mesh(size_mm)
    xy, tri = flat.xy, flat.triangles
    if quadratic:
        sides = np.sort(np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]]), axis=1)
        pairs, place = np.unique(sides, axis=0, return_inverse=True)
        middle = place.reshape(3, -1).T + len(xy)
        xy, tri = np.concatenate([xy, xy[pairs].mean(axis=1)]), np.hstack([tri, middle])
    height, normal = VIOLIN.arching.height(xy), VIOLIN.arching.normal(xy)
    inside = xy
    for _ in range(4):
        t = np.minimum(rule(inside), height)
        inside = xy - t[:, None] * normal[:, :2]
    outer = np.column_stack([xy, height])
    return Surface(outer - 0.5 * t[:, None] * normal, normal, t, tri)
