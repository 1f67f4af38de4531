"""Named stations of a plate, and the five places of the summary."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import GridMap
from graduale.box.plate import PlateBody
from graduale.records.instrument import Instrument

ROWS = 12
_COLUMNS = ((0.0, "M"), (0.42, "B1"), (-0.42, "T1"), (0.74, "B2"), (-0.74, "T2"))
_CLEAR_MM = 7.5


@dataclass(frozen=True)
class Place:
    """A named place in plan, mm."""

    name: str
    x_mm: float
    y_mm: float


def stations(instrument: Instrument, body: PlateBody) -> tuple[Place, ...]:
    """Rows 1 (lower end) to 12 (neck end); M middle, B toward the bass, T toward the treble."""
    import shapely

    outline, out = body.outline, []
    holes = [shapely.Polygon(r).buffer(2.0) for r in body.openings]
    for row in range(ROWS):
        x = (row + 0.5) / ROWS * instrument.body.length_mm
        bass, treble = (float(v[0]) for v in outline.half_widths(np.array([x])))
        for share, column in _COLUMNS:
            y = share * (bass if share >= 0.0 else treble)
            if float(outline.edge_distance(np.array([[x, y]]))[0]) < _CLEAR_MM:
                continue
            if any(h.contains(shapely.Point(x, y)) for h in holes):
                continue
            out.append(Place(f"{row + 1} {column}", x, y))
    return tuple(out)


def summary_places(instrument: Instrument, body: PlateBody) -> dict[str, Place]:
    """Centre, bouts, flanks at the waist, channel beside the platform at the lower bout, edge."""
    b, inside = instrument.body, body.inside
    half = float(body.outline.half_widths(np.array([b.waist_at_mm]))[0][0])
    wide = float(body.outline.half_widths(np.array([b.lower_at_mm]))[0][0])
    middle = 0.5 * (b.lower_corner_at_mm + b.upper_corner_at_mm)
    return {
        "centre": Place("centre", middle, 0.0),
        "upper bout": Place("upper bout", b.upper_at_mm, 0.0),
        "lower bout": Place("lower bout", b.lower_at_mm, 0.0),
        "bass flank": Place("bass flank", b.waist_at_mm, 0.6 * half),
        "treble flank": Place("treble flank", b.waist_at_mm, -0.6 * half),
        "channel": Place("channel", b.lower_at_mm, wide - inside.platform_mm - 3.0),
        "edge": Place("edge", b.lower_at_mm, wide - 1.0),
    }


def values_at(grid: GridMap, places: Mapping[str, Place]) -> dict[str, float]:
    """Map values at places, mm."""
    xy = np.array([[p.x_mm, p.y_mm] for p in places.values()])
    return {name: float(v) for name, v in zip(places, grid.at(xy), strict=True)}
