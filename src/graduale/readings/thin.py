"""Thin spots: readings below the least thickness, below a floor, or well below their neighbours."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.readings.current import Current
from graduale.records.instrument import PlateName
from graduale.thickness.field import Layout

ONE_SPOT_MM = 12.0  # thin readings closer than this are one spot
NEIGHBOURS = 6
NEIGHBOUR_REACH_MM = 45.0
DROP_MM, DROP_SHARE = 0.4, 0.15  # below the neighbours' middle by both [own]
DISC_MM = 8.0  # a thin spot reaches at most this far from its reading
_LEAST_DISC_MM = 4.0


@dataclass(frozen=True)
class ThinSpot:
    """The thinnest reading of a spot; `least_mm` the maker's least there; neighbours' middle.

    count: thin readings in the spot; disc_mm: how far it is taken to reach (half way to the next
    reading that is not thin, 8 at most); below_least, below_floor, below_neighbours: why it is named.
    """

    plate: PlateName
    x_mm: float
    y_mm: float
    t_mm: float
    least_mm: float
    floor_mm: float | None
    neighbours_mm: float
    count: int
    disc_mm: float
    nearest_mm: float
    below_least: bool
    below_floor: bool
    below_neighbours: bool


def thin_spots(
    now: Current, layout: Layout, expected_mm: Floats, floor_mm: Floats | None = None
) -> tuple[ThinSpot, ...]:
    """Thin spots of one plate, the thinnest first.

    expected_mm (n,): the surface from which the neighbours' differences are taken; floor_mm (n,): a floor
    at each reading, if known.
    """
    least = least_at(layout, now.xy)
    usual = expected_mm + neighbours(now.xy, now.t_mm - expected_mm)
    low = now.t_mm < least
    under = np.zeros(len(low), dtype=bool) if floor_mm is None else now.t_mm < floor_mm
    drop = usual - now.t_mm
    odd = (drop > DROP_MM) & (drop > DROP_SHARE * usual)
    thin = low | under | odd
    out = []
    left = [int(i) for i in np.argsort(now.t_mm, kind="stable") if thin[i]]
    while left:
        first = left[0]
        gap = np.hypot(*(now.xy - now.xy[first]).T)
        group = [i for i in left if gap[i] <= ONE_SPOT_MM]
        left = [i for i in left if i not in group]
        sound = gap[~thin]
        away = float(sound.min()) if len(sound) else np.inf
        out.append(
            ThinSpot(
                now.which,
                float(now.xy[first, 0]),
                float(now.xy[first, 1]),
                float(now.t_mm[first]),
                float(least[first]),
                None if floor_mm is None else float(floor_mm[first]),
                float(usual[first]),
                len(group),
                float(np.clip(0.5 * away, _LEAST_DISC_MM, DISC_MM)),
                away,
                bool(low[group].any()),
                bool(under[group].any()),
                bool(odd[group].any()),
            )
        )
    return tuple(out)


def least_at(layout: Layout, xy: Floats) -> Floats:
    """The maker's least thickness (n,): that of the channel beside the platform, else the plate's."""
    inside = layout.body.inside
    channel = layout.basis(xy).weights[:, 3] > 0.5
    return np.where(channel, inside.least_channel_mm, inside.least_mm)


def neighbours(xy: Floats, values: Floats) -> Floats:
    """Middle (median) of the nearest values at other places (n, 2) around each one (n,)."""
    gap = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    out = np.array(values)
    for i, row in enumerate(gap):
        order = np.argsort(row, kind="stable")
        order = order[row[order] > 1.0]
        near = order[row[order] <= NEIGHBOUR_REACH_MM][:NEIGHBOURS]
        used = near if len(near) >= 3 else order[:3]
        if len(used):
            out[i] = np.median(values[used])
    return out
