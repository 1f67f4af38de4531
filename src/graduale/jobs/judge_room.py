"""What may still come off: evenly, by full solves of a coarse box; toward a decided map, by
zone."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from graduale.base.arrays import Floats
from graduale.box.plate import ThicknessAt
from graduale.box.readouts import Reading, Solved, solve
from graduale.box.verdicts import kind_of
from graduale.readings.thin import least_at
from graduale.records.instrument import PlateName
from graduale.thickness.field import ZONES, Layout

_BISECTIONS = 5
_WORTH_MM = 0.05  # less than a caliper can tell


@dataclass(frozen=True)
class Room:
    """An even cut: mm everywhere down to the maker's least, grams, and the read-out that ends it.

    limited_by: key of a verdict, 'least' when the maker's own least thickness ends it first.
    """

    mm: float
    grams: float
    limited_by: str


@dataclass(frozen=True, eq=False)
class Sides:
    """Both boxes at the plates as they are: fine one and its solution, coarse one, limits."""

    fine: Reading
    solved: Solved
    coarse: Reading
    layouts: Mapping[PlateName, Layout]
    rules: Mapping[PlateName, ThicknessAt]
    limits: Mapping[str, float]


def room_of(
    sides: Sides,
    plates: tuple[PlateName, ...],
    rough: Mapping[str, float],
) -> Room:
    """The largest even cut of these plates for which every verdict that holds now still holds.

    `rough`: read-outs of the coarse box as the plates are; they correct coarse by fine. A verdict
    of these plates, or of the body, that fails already leaves no room.
    """
    keys = [k for k in sides.limits if rough.get(k, 0.0) > 0.0]
    fails = [k for k in keys if sides.solved.values[k] > sides.limits[k]]
    own = [k for k in fails if plate_of(k) in (None, *plates)]
    if own:
        worst = max(own, key=lambda k: sides.solved.values[k] / sides.limits[k])
        return Room(0.0, 0.0, worst)
    bound = {k: sides.limits[k] * rough[k] / sides.solved.values[k] for k in keys if k not in fails}
    now = sides.coarse.box.thickness(sides.rules)
    most = _most(sides.coarse, sides, plates, now)
    worst = _first_over(sides.coarse, cut(sides.coarse, sides, plates, now, most), bound)
    if most < _WORTH_MM or not worst:
        return Room(most, _grams(sides, plates, most), "least")
    low, high = 0.0, most
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        over = _first_over(sides.coarse, cut(sides.coarse, sides, plates, now, middle), bound)
        low, high, worst = (low, middle, over) if over else (middle, high, worst)
    return Room(low, _grams(sides, plates, low), worst)


def plate_of(key: str) -> str | None:
    """The plate that a read-out is read on; None for the whole body."""
    if kind_of(key) == "local":
        return key.split(":")[0]
    return "back" if key == "across back" else "top" if key in ("across top", "sag share") else None


def cut(
    reading: Reading, sides: Sides, plates: tuple[PlateName, ...], t_nodes: Floats, less_mm: float
) -> Floats:
    """Nodal thickness (n,) with `less_mm` off the carved part, never below the maker's least."""
    out = np.array(t_nodes)
    for which in plates:
        nodes, carved, least = _carved(reading, sides.layouts[which])
        thinner = np.maximum(out[nodes] - less_mm, np.minimum(out[nodes], least))
        out[nodes] = np.where(carved, thinner, out[nodes])
    return out


def _carved(reading: Reading, layout: Layout) -> tuple[slice, NDArray[np.bool_], Floats]:
    """Nodes of a plate, which of them lie on the carved part, and the maker's least at each."""
    which = layout.body.which
    xy, start = reading.box.plates[which].inside_xy, reading.box.first_node(which)
    inside = shapely.contains_xy(layout.free, xy[:, 0], xy[:, 1])
    return slice(start, start + len(xy)), np.asarray(inside, dtype=np.bool_), least_at(layout, xy)


def _most(reading: Reading, sides: Sides, plates: tuple[PlateName, ...], t_nodes: Floats) -> float:
    """The cut that brings the thickest carved place to the maker's least."""
    over = [0.0]
    for which in plates:
        nodes, carved, least = _carved(reading, sides.layouts[which])
        over.append(float((t_nodes[nodes] - least)[carved].max(initial=0.0)))
    return max(over)


def _first_over(reading: Reading, t_nodes: Floats, bound: Mapping[str, float]) -> str:
    """The read-out that is furthest over its bound; empty when all hold."""
    values = solve(reading, t_nodes, slopes=False).values
    worst = max(bound, key=lambda k: values[k] / bound[k], default="")
    return worst if worst and values[worst] > bound[worst] else ""


def _grams(sides: Sides, plates: tuple[PlateName, ...], less_mm: float) -> float:
    now = sides.solved.t_nodes
    then = cut(sides.fine, sides, plates, now, less_mm)
    return float(sides.fine.box.structure.mass_slope_g() @ (now - then))


@dataclass(frozen=True)
class ZoneToGo:
    """What a zone has over the decided map: mean and least, mm (negative: under it)."""

    zone: str
    mean_mm: float
    least_mm: float


@dataclass(frozen=True)
class ToGo:
    """What is over a decided map: grams in all, zones in the order of the work (most first)."""

    grams: float
    zones: tuple[ZoneToGo, ...]


def to_go(layout: Layout, now: ThicknessAt, target: ThicknessAt, step_mm: float = 4.0) -> ToGo:
    """From the plate as it is to a decided map, on the carved part."""
    low_x, low_y, high_x, high_y = layout.free.bounds
    x, y = np.arange(low_x, high_x, step_mm), np.arange(low_y, high_y, step_mm)
    points = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    area = shapely.difference(
        layout.free, shapely.union_all([shapely.Polygon(r) for r in layout.body.openings])
    )
    points = points[shapely.contains_xy(area, points[:, 0], points[:, 1])]
    over = now(points) - target(points)
    zone = layout.basis(points).weights.argmax(axis=1)
    stretch = 1.0 / layout.body.arching.normal(points)[:, 2]
    volume = float((np.maximum(over, 0.0) * stretch).sum()) * step_mm**2
    grams = volume * layout.body.wood.density_kg_m3 * 1e-6
    rows = [
        ZoneToGo(name, float(over[zone == k].mean()), float(over[zone == k].min()))
        for k, name in enumerate(ZONES)
        if (zone == k).any()
    ]
    return ToGo(grams, tuple(sorted(rows, key=lambda r: -r.mean_mm)))
