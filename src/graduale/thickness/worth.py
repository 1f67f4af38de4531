"""What knowing more is worth: the decided thickness if more were known, and the wood let go.

Around the decided map the demands are linear in the logarithm (their exact slopes); the least mass
that meets the limits is then a small linear programme in the few numbers of the map.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import linprog

from graduale.base.arrays import Floats

_REACH_MM = 1.5  # the slopes are not trusted further [own]
_PENALTY = 1e4  # g for a unit of logarithm over a limit that cannot be met
_ACTIVE = 1e-6


@dataclass(frozen=True, eq=False)
class Near:
    """The decided map and what surrounds it.

    keys (k,): gated read-outs that thickness can meet; slopes (k, p): d ln J / d number; room (k,):
    ln(limit / J); grams (p,): d mass / d number; lowest (p,): least steps down, mm; wide (8, p):
    zones of top and back from the numbers.
    """

    keys: tuple[str, ...]
    slopes: Floats
    room: Floats
    grams: Floats
    lowest: Floats
    wide: Floats

    def best(self, shift: Floats | None = None) -> tuple[Floats, Floats]:
        """Steps (p,) in mm to the least mass when demands are up by `shift` (k,) logarithms, and
        the weight of each limit (k,), g for a unit of logarithm."""
        room = self.room if shift is None else self.room - shift
        count = len(self.grams)
        cost = np.concatenate([self.grams, [_PENALTY]])
        rows = np.column_stack([self.slopes, -np.ones(len(self.keys))])
        bounds = [(max(-_REACH_MM, low), _REACH_MM) for low in self.lowest] + [(0.0, None)]
        found = linprog(cost, A_ub=rows, b_ub=room, bounds=bounds, method="highs")
        steps = np.asarray(found.x, dtype=np.float64)[:count]
        return steps, -np.asarray(found.ineqlin.marginals)

    @cached_property
    def now(self) -> Floats:
        """Steps (p,) from the decided map to this programme's own best: rounding and curvature."""
        return self.best()[0]

    def let_go_g(self, shift: Floats) -> float:
        """Wood let go when the limits rise by -shift."""
        return float(self.grams @ (self.now - self.best(shift)[0]))

    def spread_of_zones(self, shifts: Floats) -> tuple[Floats, dict[str, Floats]]:
        """From seeded shifts (d, k) of the demands: zones' steps (d, 8) in mm, and by governing key
        the mean response of the zones (8,) to its logarithm."""
        found = [self.best(shift) for shift in shifts]
        zones = np.array([self.wide @ (step - self.now) for step, _ in found])
        weights = np.array([w for _, w in found])
        often = [k for k in range(len(self.keys)) if (weights[:, k] > _ACTIVE).mean() > 0.05]
        if not often:
            return zones, {}
        seen = shifts[:, often] - shifts[:, often].mean(axis=0)
        rule = np.linalg.lstsq(seen, zones - zones.mean(axis=0), rcond=1e-3)[0]
        return zones, {self.keys[k]: rule[i] for i, k in enumerate(often)}


@dataclass(frozen=True)
class Measure:
    """Something that can be measured, and what it would do.

    key: of its text; plate: None for the body; mass, governs, zones: share of the doubt that goes,
    of the plate's mass, the governing verdict's ratio, the zone that is doubted most; let_go_g:
    wood that the decision would let go.
    """

    key: str
    plate: str | None
    mass: float
    governs: float
    zones: float
    let_go_g: float


def ranked(found: list[Measure]) -> tuple[Measure, ...]:
    """The most worth first: wood let go in steps of 0.05 g, then the shares of doubt that go."""

    def worth(m: Measure) -> tuple[float, float, str]:
        return (-round(m.let_go_g / 0.05), -(m.governs + m.zones + m.mass), m.key)

    return tuple(sorted(found, key=worth))


def share_gone(before: float, after: float) -> float:
    """Share of a spread that goes."""
    return 0.0 if before <= 0.0 else max(0.0, 1.0 - after / before)


def room_of(
    values: Mapping[str, float], limits: Mapping[str, float], keys: tuple[str, ...]
) -> Floats:
    """ln(limit / J) by key."""
    return np.array([np.log(limits[k] / max(values[k], 1e-300)) for k in keys])
