"""Thin spots: readings below the least thickness, below a floor, alone below their neighbours."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.readings.current import Current
from graduale.readings.odd import NARROWEST_MM, WIDEST_MM, is_odd, neighbours
from graduale.records.instrument import PlateName
from graduale.thickness.field import Layout

ONE_SPOT_MM = 12.0  # thin readings closer than this are one spot


@dataclass(frozen=True)
class ThinSpot:
    """The thinnest reading of a spot, and why it is named.

    least_mm: the maker's least there; neighbours_mm: what the readings around say; count: thin
    readings in the spot; nearest_mm: to the nearest reading that is not thin; reach_mm: how far the
    spot may reach at most for all that the readings say (5 to 25).
    """

    plate: PlateName
    x_mm: float
    y_mm: float
    t_mm: float
    least_mm: float
    floor_mm: float | None
    neighbours_mm: float
    count: int
    nearest_mm: float
    reach_mm: float
    below_least: bool
    below_floor: bool
    below_neighbours: bool


def thin_spots(
    now: Current, layout: Layout, expected_mm: Floats, floor_mm: Floats | None = None
) -> tuple[ThinSpot, ...]:
    """Thin spots of one plate, the thinnest first.

    expected_mm (n,): the surface from which the neighbours' differences are taken; floor_mm (n,): a
    floor at each reading, if known.
    """
    least, over = least_at(layout, now.xy), now.t_mm - expected_mm
    usual = neighbours(now.xy, over)
    why = np.column_stack(
        [
            now.t_mm < least,
            np.zeros(len(over), dtype=bool) if floor_mm is None else now.t_mm < floor_mm,
            is_odd(now.xy, over, expected_mm) & (over < usual),
        ]
    )
    thin = np.asarray(why.any(axis=1), dtype=np.bool_)
    out: list[ThinSpot] = []
    left = [int(i) for i in np.argsort(now.t_mm, kind="stable") if thin[i]]
    while left:
        first = left[0]
        gap = np.hypot(*(now.xy - now.xy[first]).T)
        group = [i for i in left if gap[i] <= ONE_SPOT_MM]
        left = [i for i in left if i not in group]
        away = float(gap[~thin].min(initial=np.inf))
        low, under, odd = (bool(why[group, k].any()) for k in range(3))
        out.append(
            ThinSpot(
                now.which,
                float(now.xy[first, 0]),
                float(now.xy[first, 1]),
                float(now.t_mm[first]),
                float(least[first]),
                None if floor_mm is None else float(floor_mm[first]),
                float(expected_mm[first] + usual[first]),
                len(group),
                away,
                float(np.clip(away, NARROWEST_MM, WIDEST_MM)),
                low,
                under,
                odd,
            )
        )
    return tuple(out)


def least_at(layout: Layout, xy: Floats) -> Floats:
    """The maker's least thickness (n,): of the channel beside the platform, else the plate's."""
    inside = layout.body.inside
    channel = layout.basis(xy).weights[:, 3] > 0.5
    return np.where(channel, inside.least_channel_mm, inside.least_mm)
