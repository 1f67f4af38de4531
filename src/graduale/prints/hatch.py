"""Hatching by plain lines, so that every writer draws it alike."""

import numpy as np
from shapely import LineString, MultiLineString, Polygon, get_parts, unary_union
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.prints.sheet import GREY, Path, ring


def even_odd(rings: tuple[Floats, ...]) -> BaseGeometry:
    """Rings as one area under the even-odd rule."""
    area: BaseGeometry = Polygon()
    for one in rings:
        area = area.symmetric_difference(Polygon(one).buffer(0))
    return area


def hatched(area: BaseGeometry, pitch_mm: float = 2.4, width_mm: float = 0.12) -> Path | None:
    """Lines at 45° over the area; their places do not depend on it, so neighbours line up."""
    if area.is_empty:
        return None
    u0, v0, u1, v1 = area.bounds
    reach = v1 - v0
    step = pitch_mm * np.sqrt(2.0)
    first, last = int((u0 - v1) // step), int((u1 - v0) // step) + 1
    lines = [
        LineString([(k * step + v0 - 1, v0 - 1), (k * step + v0 + reach + 1, v0 + reach + 1)])
        for k in range(first, last + 1)
    ]
    cut = MultiLineString(lines).intersection(area)
    parts = [p for p in get_parts(cut) if isinstance(p, LineString) and p.length > 0.4]
    if not parts:
        return None
    return Path(tuple(ring(p.coords) for p in parts), GREY, width_mm, tag="hatch")


def union(areas: list[BaseGeometry]) -> BaseGeometry:
    """All areas as one."""
    return unary_union(areas) if areas else Polygon()


def borders(area: BaseGeometry) -> tuple[Floats, ...]:
    """Every ring of an area."""
    found: list[Floats] = []
    for part in get_parts(area):
        if isinstance(part, Polygon):
            found.append(np.asarray(part.exterior.coords)[:-1])
            found += [np.asarray(r.coords)[:-1] for r in part.interiors]
    return tuple(found)
