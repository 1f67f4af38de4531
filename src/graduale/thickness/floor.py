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
_NEAR_MM = 0.04
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
    """Largest even reduction in mm of both plates for which all verdicts hold, to 0.04 mm (a
    bracket drawn together along the chord, full solves).

    corrections: factors on the read-outs of this (coarse) box.
    """
    keys = [k for k in limits if k in corrections]

    def over(less: float) -> float:
        """Greatest log of demand over limit; rises as the plates get thinner."""
        thinner = thinned(fields, less)
        values = solve(reading, reading.box.thickness(thinner), slopes=False).values
        shares = [values[k] * corrections[k] / limits[k] for k in keys]
        return float(np.log(max(shares, default=1e-300)))

    low, high, below, above = 0.0, _MOST_MM, over(0.0), np.inf
    if below > 0.0:
        return 0.0
    # demands go about as the square of the thickness
    thin = min(float(fields[w].zones.mean()) for w in _PLATES)
    guess = thin * (1.0 - np.exp(0.5 * below)) + 0.5 * _NEAR_MM
    while high - low > _NEAR_MM:
        at = float(np.clip(guess, low + 0.1 * _NEAR_MM, high - 0.1 * _NEAR_MM))
        now = over(at)
        low, below, high, above = (at, now, high, above) if now <= 0.0 else (low, below, at, now)
        if np.isfinite(above):
            chord = low + (high - low) * below / (below - above)
            # a little to the side that closes the bracket
            guess = chord + (0.4 if at == low else -0.4) * _NEAR_MM
            if high - low > 4.0 * _NEAR_MM and not low < guess < high:
                guess = 0.5 * (low + high)
        else:
            guess = low + max(2.0 * _NEAR_MM, 0.5 * (high - low) * 0.3)
    return low


def thinned(fields: Mapping[PlateName, Field], less_mm: float) -> dict[PlateName, Field]:
    """The same rules with every zone reduced evenly; no least thickness holds."""
    return {w: _free_layout(fields[w].layout).at(fields[w].zones - less_mm) for w in _PLATES}


def _free_layout(layout: Layout) -> Layout:
    return replace(layout, least_mm=0.5, least_channel_mm=0.5)
