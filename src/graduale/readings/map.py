"""The thickness of a plate everywhere, from readings here and there, with its doubt.

Kriging of the difference from an expected surface (a rule for the thickness, e.g. the decided map,
or zones fitted to the readings themselves); readings that stand alone are laid over it as cones.
Edge, platform and block seats are finished: there the thickness is the outside height. Nowhere is
the plate thicker than its outside allows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, GridMap
from graduale.box.plate import ThicknessAt
from graduale.geometry.grid import plate_grid
from graduale.readings.current import Current
from graduale.readings.expected import THINNEST_MM, as_it_is, expected_of
from graduale.readings.kriging import Kriged, Scales, fit, next_places
from graduale.readings.odd import Odd, cones_at, is_odd
from graduale.thickness.field import Layout

SAME_MM = 0.5  # readings closer than this are repeats of one place
MOST_PLACES = 500
_MOST_ODD = 0.25  # of the readings: more do not stand alone, the plate is uneven


@dataclass(frozen=True, eq=False)
class Places:
    """Points xy (n, 2) of a plate with what does not change as readings come: expected thickness,
    outside height, greatest thickness square to the surface (n,) mm, finished part."""

    xy: Floats
    expected: Floats
    height: Floats
    highest: Floats
    seat: NDArray[np.bool_]


def places_of(layout: Layout, expected: ThicknessAt, xy: Floats) -> Places:
    """Points xy (n, 2) prepared, to be asked of many maps with the same expected surface."""
    arching = layout.body.arching
    height = np.maximum(arching.height(xy), THINNEST_MM)
    highest = np.maximum(height * arching.normal(xy)[:, 2], THINNEST_MM)
    carved = shapely.contains_xy(layout.free, xy[:, 0], xy[:, 1])
    return Places(xy, expected(xy), height, highest, ~carved)


@dataclass(frozen=True, eq=False)
class PlateMap:
    """A plate as read: callable on points (n, 2) of the inside face -> thickness (n,) mm."""

    layout: Layout
    expected: ThicknessAt
    kriged: Kriged
    odd: Odd

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) mm."""
        return self.at(places_of(self.layout, self.expected, xy))

    def at(self, places: Places) -> Floats:
        """Thickness (n,) mm at prepared places."""
        return self._kept(places, self.odd.off(places.xy))

    def smooth(self, xy: Floats) -> Floats:
        """Thickness (n,) mm without the readings that stand alone."""
        return self._kept(places_of(self.layout, self.expected, xy), np.zeros(len(xy)))

    def doubt(self, xy: Floats) -> Floats:
        """Standard deviation (n,) mm of the thickness; 0 where the plate counts as finished."""
        between = np.hypot(self.kriged.predict(xy)[1], self.odd.doubt(xy))
        carved = shapely.contains_xy(self.layout.free, xy[:, 0], xy[:, 1])
        return np.where(carved, between, 0.0)

    def _kept(self, at: Places, off: Floats) -> Floats:
        """The map with `off` (n,) added, within what the outside allows."""
        t = at.expected + self.kriged.mean(at.xy) + off
        return np.where(at.seat, at.height, np.clip(t, THINNEST_MM, at.highest))

    @cached_property
    def usual_doubt_mm(self) -> float:
        """Root mean square of the doubt over the carved part."""
        points = self._carved(6.0)
        return float(np.sqrt((self.kriged.predict(points)[1] ** 2).mean()))

    def on_grid(self, values: ThicknessAt, step_mm: float = 2.0) -> GridMap:
        """Any rule on the plate's grid, NaN off the plate."""
        grid = plate_grid(self.layout.body.outline, step_mm)
        return grid.map_of(values(grid.points))

    def measure_next(self, caliper_mm: float, count: int = 3) -> tuple[Floats, Floats]:
        """Where more readings help most (k, 2); share of the doubt that each takes away (k,)."""
        points = self._carved(6.0)
        return next_places(self.kriged, points, points, caliper_mm, count)

    def _carved(self, step_mm: float) -> Floats:
        """Grid points on the carved part, openings left out, (n, 2)."""
        body = self.layout.body
        points = plate_grid(body.outline, step_mm).points
        holes = shapely.union_all([shapely.Polygon(ring) for ring in body.openings])
        area = shapely.difference(self.layout.free, holes)
        found: Floats = points[shapely.contains_xy(area, points[:, 0], points[:, 1])]
        return found


@dataclass(frozen=True, eq=False)
class Pinned:
    """A map held down to given thicknesses (s,) within discs (s,) around places (s, 2)."""

    base: ThicknessAt
    places: Floats
    t_mm: Floats
    radius_mm: Floats

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) mm."""
        out = np.array(self.base(xy))
        for place, t, radius in zip(self.places, self.t_mm, self.radius_mm, strict=True):
            near = np.hypot(*(xy - place).T) <= radius
            out[near] = np.minimum(out[near], t)
        return out


def map_of(
    now: Current,
    layout: Layout,
    caliper_mm: float,
    expected: ThicknessAt | None = None,
    scales: Scales | None = None,
) -> PlateMap:
    """The map of one plate's readings. Without an expected surface, zones are fitted first; with
    `scales` those are taken instead of the likeliest ones."""
    free = as_it_is(layout)
    surface = expected if expected is not None else expected_of(free, now.xy, now.t_mm)
    there = surface(now.xy)
    values = now.t_mm - there
    odd = is_odd(now.xy, values, there)
    if odd.mean() > _MOST_ODD:
        odd[:] = False
    known = merged(now.xy[~odd], values[~odd], caliper_mm)
    kriged = fit(*known) if scales is None else Kriged(*known, scales)
    places = now.xy[odd]
    off = values[odd] - kriged.predict(places)[0]
    return PlateMap(free, surface, kriged, Odd(places, off, cones_at(now.xy, odd)))


def merged(xy: Floats, values: Floats, caliper_mm: float) -> tuple[Floats, Floats, Floats]:
    """Repeats as one place with their mean: places (k, 2), means (k,), scatter of the means (k,).

    The scatter of one reading is the caliper's, or more when the repeats disagree more (pooled).
    Very many readings are gathered in wider places, so that at most 500 are left.
    """
    groups = _groups(xy, SAME_MM)
    one = max(caliper_mm, _pooled(values, groups))
    width = SAME_MM
    while len(groups) > MOST_PLACES:
        width *= 1.5
        groups = _groups(xy, width)
    places = np.array([xy[g].mean(axis=0) for g in groups])
    means = np.array([values[g].mean() for g in groups])
    return places, means, one / np.sqrt([len(g) for g in groups])


def _groups(xy: Floats, width_mm: float) -> list[list[int]]:
    """Indices by place: each joins the first place within `width_mm`."""
    tree, taken, out = cKDTree(xy), set[int](), list[list[int]]()
    for i, place in enumerate(xy):
        if i in taken:
            continue
        group = [int(j) for j in sorted(tree.query_ball_point(place, width_mm)) if j not in taken]
        taken.update(group)
        out.append(group)
    return out


def _pooled(values: Floats, groups: Sequence[Sequence[int]]) -> float:
    """Standard deviation of repeats about their means, over all places; 0 without repeats."""
    freedom = sum(len(g) - 1 for g in groups)
    if freedom == 0:
        return 0.0
    square = sum(float(((values[list(g)] - values[list(g)].mean()) ** 2).sum()) for g in groups)
    return float(np.sqrt(square / freedom))
