"""Level lines and filled bands of a map, cut exactly at the plate's outline."""

from itertools import pairwise
from typing import Any

import contourpy
import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage
from shapely import LineString, MultiLineString, Polygon, get_parts, line_merge, unary_union
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats, GridMap

FINE = 3  # the grid is refined so many times before lines are drawn


def plate_area(outline: ArrayLike, openings: tuple[ArrayLike, ...] = ()) -> BaseGeometry:
    """The plate as an area in the body frame, openings taken out."""
    area: BaseGeometry = Polygon(np.asarray(outline)).buffer(0)
    holes = [Polygon(np.asarray(o)).buffer(0) for o in openings]
    return area.difference(unary_union(holes)) if holes else area


def filled_out(grid: GridMap) -> GridMap:
    """The map without gaps on a finer grid: carried on straight for three steps off the plate,
    beyond that by the nearest value.

    Only for drawing up to the outline; nothing off the plate is shown.
    Errors: ValueError when the map has no value.
    """
    values = grid.values
    if not np.isfinite(values).any():
        raise ValueError("the map has no value")
    for _ in range(3):
        values = _carried_on(values)
    bad = ~np.isfinite(values)
    near = ndimage.distance_transform_edt(bad, return_distances=False, return_indices=True)
    values = values[tuple(near)]
    x = np.linspace(grid.x_mm[0], grid.x_mm[-1], FINE * (len(grid.x_mm) - 1) + 1)
    y = np.linspace(grid.y_mm[0], grid.y_mm[-1], FINE * (len(grid.y_mm) - 1) + 1)
    xx, yy = np.meshgrid(x, y, indexing="ij")
    points = np.column_stack([xx.ravel(), yy.ravel()])
    fine = GridMap(grid.x_mm, grid.y_mm, values).at(points).reshape(xx.shape)
    return GridMap(x, y, ndimage.gaussian_filter(fine, 1.2, mode="nearest"))


def _carried_on(values: Floats) -> Floats:
    """One more ring of cells, each the mean of the straight lines that run into it."""
    wide = np.pad(values, 2, constant_values=np.nan)
    nx, ny = values.shape
    total, count = np.zeros((nx, ny)), np.zeros((nx, ny))
    for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)):
        one = wide[2 + i : 2 + i + nx, 2 + j : 2 + j + ny]
        two = wide[2 + 2 * i : 2 + 2 * i + nx, 2 + 2 * j : 2 + 2 * j + ny]
        guess = 2 * one - two
        good = np.isfinite(guess)
        total += np.where(good, guess, 0.0)
        count += good
    fresh = ~np.isfinite(values) & (count > 0)
    low, high = np.nanmin(values), np.nanmax(values)
    mean = np.clip(total / np.maximum(count, 1), low, high)
    return np.where(fresh, mean, values)


def levels_between(grid: GridMap, step_mm: float) -> tuple[float, ...]:
    """Multiples of `step_mm` strictly inside the range of the map."""
    low, high = float(np.nanmin(grid.values)), float(np.nanmax(grid.values))
    first, last = int(np.floor(low / step_mm)) + 1, int(np.ceil(high / step_mm)) - 1
    return tuple(round(k * step_mm, 6) for k in range(first, last + 1))


def level_lines(
    grid: GridMap, levels: tuple[float, ...], area: BaseGeometry, least_mm: float = 6.0
) -> dict[float, tuple[Floats, ...]]:
    """(k, 2) lines in the body frame for each level; scraps below `least_mm` are left out."""
    full = filled_out(grid)
    maker = contourpy.contour_generator(full.x_mm, full.y_mm, full.values.T)
    found: dict[float, tuple[Floats, ...]] = {}
    for level in levels:
        lines = [LineString(np.asarray(p)) for p in _polylines(maker.lines(level))]
        cut = MultiLineString(lines).intersection(area) if lines else MultiLineString()
        found[level] = tuple(
            np.asarray(part.simplify(0.05).coords)
            for part in _joined(cut)
            if part.length >= least_mm
        )
    return found


def _polylines(lines: Any) -> list[Floats]:
    """The library's lines (its default form: one array a line)."""
    return [np.asarray(p, dtype=np.float64) for p in lines if len(p) > 1]


def _joined(geometry: BaseGeometry) -> list[LineString]:
    merged = line_merge(geometry) if geometry.geom_type == "MultiLineString" else geometry
    return [p for p in get_parts(merged) if isinstance(p, LineString)]


def bands(
    grid: GridMap, edges: tuple[float, ...], area: BaseGeometry
) -> tuple[tuple[Floats, ...], ...]:
    """For each band between two edges its rings (even-odd), cut at the plate; open ends."""
    full = filled_out(grid)
    x, y, z = full.x_mm, full.y_mm, full.values.T
    maker = contourpy.contour_generator(x, y, z, fill_type="OuterOffset")
    ends = (-1e9, *edges[1:-1], 1e9)
    found = []
    for low, high in pairwise(ends):
        pieces = _polygons(maker.filled(low, high))
        found.append(_rings(unary_union(pieces).intersection(area) if pieces else Polygon()))
    return tuple(found)


def _polygons(filled: Any) -> list[BaseGeometry]:
    points, offsets = filled
    pieces: list[BaseGeometry] = []
    for pts, off in zip(points, offsets, strict=True):
        rings = [pts[a:b] for a, b in pairwise(off)]
        pieces.append(Polygon(rings[0], rings[1:]).buffer(0))
    return pieces


def _rings(geometry: BaseGeometry) -> tuple[Floats, ...]:
    rings: list[Floats] = []
    for part in get_parts(geometry):
        if isinstance(part, Polygon) and part.area > 0.01:
            rings.append(np.asarray(part.exterior.coords)[:-1])
            rings += [np.asarray(r.coords)[:-1] for r in part.interiors]
    return tuple(rings)
