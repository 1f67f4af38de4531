"""Two floor maps at zero margin: how thin one spot alone, and how thin all at once.

lone spot: a disc of 10 mm radius thinned alone. Each demand goes as a power of the disc's
thickness, its exponent taken from the exact slopes (first order in the logarithm; a full solve
judges it in the tests). joint: the target less the largest even reduction for which all verdicts
still hold (full solves).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

from graduale.base.arrays import Floats
from graduale.box.readouts import Reading, Solved, solve
from graduale.box.spots import Spot
from graduale.records.instrument import PlateName
from graduale.thickness.field import Field, Layout

LONE_RADIUS_MM = 10.0
_LEAST_EXPONENT = 0.02
_LOWEST_MM = 1.0  # the power law is not trusted further down [own]
_BISECTIONS = 6
_MOST_MM = 2.5
_PLATES: tuple[PlateName, PlateName] = ("top", "back")


@dataclass(frozen=True, eq=False)
class LoneFloor:
    """At each spot (s,): the floor in mm and the read-out that sets it."""

    spots: tuple[Spot, ...]
    floor_mm: Floats
    governs: tuple[str, ...]

    def at(self, xy: Floats) -> Floats:
        """Floor between the spots: linear, nearest outside them."""
        places = np.array([[s.x_mm, s.y_mm] for s in self.spots])
        inside = LinearNDInterpolator(places, self.floor_mm)(xy)
        outside = NearestNDInterpolator(places, self.floor_mm)(xy)
        return np.where(np.isfinite(inside), inside, outside)


def lone_floor(
    reading: Reading, solved: Solved, limits: Mapping[str, float], which: PlateName
) -> LoneFloor:
    """Floors at the press spots of one plate; `limits` at zero margin, in demand units."""
    box = reading.box
    spots, start = reading.cases.spots[which], box.first_node(which)
    plate = box.plates[which]
    slopes = solved.slopes
    assert slopes is not None
    keys = [k for k in limits if k in solved.values]
    power = np.array([slopes[k] * solved.t_nodes / solved.values[k] for k in keys])
    room = np.log(np.array([limits[k] / solved.values[k] for k in keys]))
    floors, governs = [], []
    for spot in spots:
        gap = np.hypot(*(plate.inside_xy - [spot.x_mm, spot.y_mm]).T)
        nodes = start + np.flatnonzero(gap <= LONE_RADIUS_MM)
        thick = float(solved.t_nodes[nodes].mean())
        exponent = -power[:, nodes].sum(axis=1)
        acts = exponent > _LEAST_EXPONENT
        factor = np.exp(-np.maximum(room[acts], 0.0) / exponent[acts])
        best = int(np.argmax(factor)) if acts.any() else -1
        floors.append(max(_LOWEST_MM, thick * float(factor[best])) if best >= 0 else _LOWEST_MM)
        governs.append(keys[int(np.flatnonzero(acts)[best])] if best >= 0 else "")
    return LoneFloor(spots, np.array(floors), tuple(governs))


def joint_reduction(
    reading: Reading,
    fields: Mapping[PlateName, Field],
    limits: Mapping[str, float],
    corrections: Mapping[str, float],
) -> float:
    """Largest even reduction in mm of both plates for which all verdicts hold (bisection, full
    solves).

    corrections: factors on the read-outs of this (coarse) box.
    """
    keys = [k for k in limits if k in corrections]

    def holds(less: float) -> bool:
        thinner = thinned(fields, less)
        values = solve(reading, reading.box.thickness(thinner), slopes=False).values
        return all(values[k] * corrections[k] <= limits[k] for k in keys)

    low, high = 0.0, _MOST_MM
    if not holds(0.0):
        return 0.0
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def thinned(fields: Mapping[PlateName, Field], less_mm: float) -> dict[PlateName, Field]:
    """The same rules with every zone reduced evenly; no least thickness holds."""
    return {w: _free_layout(fields[w].layout).at(fields[w].zones - less_mm) for w in _PLATES}


def _free_layout(layout: Layout) -> Layout:
    return replace(layout, least_mm=0.5, least_channel_mm=0.5)
