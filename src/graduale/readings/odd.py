"""Readings that stand alone, far from what their neighbours say: a slip of the gouge, a lump.

They would spoil the length scales of the map, and the map would smear them. So they are taken out
of the kriging and carried as cones: full at the reading, nothing at the nearest other reading.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, freeze

NEIGHBOURS = 6
NEIGHBOUR_REACH_MM = 45.0
SAME_PLACE_MM = 1.0
DROP_MM, DROP_SHARE = 0.4, 0.15  # off the neighbours' middle by both [own]
WIDEST_MM, NARROWEST_MM = 25.0, 5.0


@dataclass(frozen=True, eq=False)
class Odd:
    """Lone readings: places (o, 2), difference from the smooth map (o,), radius of cone (o,)."""

    places: Floats
    off_mm: Floats
    radius_mm: Floats

    def __post_init__(self) -> None:
        count = len(self.off_mm)
        object.__setattr__(self, "places", freeze(self.places, (count, 2)))
        object.__setattr__(self, "off_mm", freeze(self.off_mm, (count,)))
        object.__setattr__(self, "radius_mm", freeze(self.radius_mm, (count,)))

    def off(self, xy: Floats) -> Floats:
        """Difference (n,) from the smooth map; where cones meet, the one that makes it thinner."""
        each = [o * self._share(xy, k) for k, o in enumerate(self.off_mm)]
        low = np.min([np.zeros(len(xy)), *each], axis=0)
        high = np.max([np.zeros(len(xy)), *each], axis=0)
        out: Floats = np.where(low < 0.0, low, high)
        return out

    def doubt(self, xy: Floats) -> Floats:
        """Standard deviation (n,): nothing at the readings, half the difference between them."""
        out = np.zeros(len(xy))
        for k, o in enumerate(self.off_mm):
            share = self._share(xy, k)
            out = np.maximum(out, 2.0 * abs(o) * share * (1.0 - share))
        return out

    def _share(self, xy: Floats, k: int) -> Floats:
        away = np.hypot(*(xy - self.places[k]).T)
        out: Floats = np.clip(1.0 - away / self.radius_mm[k], 0.0, None)
        return out


def is_odd(xy: Floats, over_mm: Floats, expected_mm: Floats) -> NDArray[np.bool_]:
    """Which readings (n,) stand alone. over_mm (n,): differences from the expected surface (n,)."""
    usual = neighbours(xy, over_mm)
    gap = np.abs(over_mm - usual)
    out: NDArray[np.bool_] = (gap > DROP_MM) & (gap > DROP_SHARE * (expected_mm + usual))
    return out


def cones_at(xy: Floats, odd: NDArray[np.bool_]) -> Floats:
    """Radius of the cone of each odd reading (o,): as far as the nearest other reading."""
    gap = _gaps(xy)[odd]
    gap[gap <= SAME_PLACE_MM] = np.inf
    out: Floats = np.clip(gap.min(axis=1, initial=np.inf), NARROWEST_MM, WIDEST_MM)
    return out


def neighbours(xy: Floats, values: Floats) -> Floats:
    """Middle (median) of the nearest values at other places (n, 2) around each one (n,)."""
    out = np.array(values)
    for i, row in enumerate(_gaps(xy)):
        order = np.argsort(row, kind="stable")
        order = order[row[order] > SAME_PLACE_MM]
        near = order[row[order] <= NEIGHBOUR_REACH_MM][:NEIGHBOURS]
        used = near if len(near) >= 3 else order[:3]
        if len(used):
            out[i] = np.median(values[used])
    return out


def _gaps(xy: Floats) -> Floats:
    out: Floats = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    return out
