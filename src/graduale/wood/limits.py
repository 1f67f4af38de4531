"""Strength of wood: Norris's criterion with its exact gradient, time under load, slope of grain."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from graduale.base.arrays import Floats

Planes = NDArray[np.int64]
PLANES = ("LR", "LT", "RT")
_PAIRS = ((0, 1, 5), (0, 2, 4), (1, 2, 3))  # two normal stresses and the shear of each plane

# EN 1995-1-1 table 3.1, solid timber, service classes 1 and 2; table 3.2 for K_DEF; clause 2.4.1.
K_MOD = {"permanent": 0.60, "long": 0.70, "medium": 0.80, "short": 0.90, "instantaneous": 1.10}
K_DEF = {1: 0.60, 2: 0.80, 3: 2.00}  # by service class
GAMMA_M = 1.3


@dataclass(frozen=True)
class Strength:
    """Short-term strength in MPa, all positive. Tension along the grain equals `mor`.

    `comp_across` is a stress at the proportional limit: beyond it the wood dents, not splits.
    """

    mor: float
    comp_along: float
    tens_across: float
    comp_across: float
    shear_along: float
    rolling_shear: float

    def times(self, factor: float) -> "Strength":
        """All values times one factor."""
        return Strength(
            self.mor * factor,
            self.comp_along * factor,
            self.tens_across * factor,
            self.comp_across * factor,
            self.shear_along * factor,
            self.rolling_shear * factor,
        )


def norris_planes(sigma: ArrayLike, strength: Strength) -> tuple[Floats, Floats]:
    """Norris's sum in each plane. sigma (m, 6) MPa [LL, RR, TT, RT, LT, LR] -> (m, 3), (m, 3, 6).

    In the plane of axes a, b: (sa/Fa)^2 - sa sb/(Fa Fb) + (sb/Fb)^2 + (tab/Fab)^2, F by the sign
    of its stress. The second result is d(sum)/d(sigma). Source: C. B. Norris, Strength of
    orthotropic materials subjected to combined stresses, FPL report 1816 (1962).
    """
    s = np.asarray(sigma, dtype=np.float64).reshape(-1, 6)
    tension = np.array([strength.mor, strength.tens_across, strength.tens_across])
    crush = np.array([strength.comp_along, strength.comp_across, strength.comp_across])
    shear = {5: strength.shear_along, 4: strength.shear_along, 3: strength.rolling_shear}
    inverse = 1.0 / np.where(s[:, :3] >= 0.0, tension, crush)
    used = s[:, :3] * inverse
    index = np.zeros((len(s), 3))
    slope = np.zeros((len(s), 3, 6))
    for plane, (a, b, t) in enumerate(_PAIRS):
        u, v, w = used[:, a], used[:, b], s[:, t] / shear[t]
        index[:, plane] = u * u - u * v + v * v + w * w
        slope[:, plane, a] = (2.0 * u - v) * inverse[:, a]
        slope[:, plane, b] = (2.0 * v - u) * inverse[:, b]
        slope[:, plane, t] = 2.0 * w / shear[t]
    return index, slope


def norris(sigma: ArrayLike, strength: Strength) -> tuple[Floats, Floats]:
    """Greatest of Norris's three sums and its gradient: sigma (m, 6) -> (m,), (m, 6).

    The factor on all loads at which the criterion is met is 1/sqrt(index) (`load_factor`).
    At a tie of two planes the gradient is that of the first.
    """
    index, slope = norris_planes(sigma, strength)
    worst = np.argmax(index, axis=1)
    rows = np.arange(len(index))
    return index[rows, worst], slope[rows, worst]


def load_factor(index: ArrayLike) -> Floats:
    """Factor on all loads at which the criterion is met; infinite where there is no stress."""
    value = np.asarray(index, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / np.sqrt(value))


def governing(sigma: ArrayLike, strength: Strength) -> tuple[tuple[str, str], ...]:
    """Plane and kind of what governs, for (m, 6) stresses.

    Kind: 'break' (along the grain), 'split' (tension across), 'dent' (compression across),
    'shear' (along the grain) or 'rolling' (across the grain).
    """
    s = np.asarray(sigma, dtype=np.float64).reshape(-1, 6)
    index, _ = norris_planes(s, strength)
    return tuple(
        (PLANES[p], _kind(row, p, strength))
        for row, p in zip(s, np.argmax(index, axis=1), strict=True)
    )


def _kind(row: Floats, plane: int, strength: Strength) -> str:
    a, b, t = _PAIRS[plane]
    parts = {("rolling" if t == 3 else "shear"): abs(row[t]) / _shear_limit(t, strength)}
    for axis in (a, b):
        name, limit = _normal_limit(axis, row[axis] >= 0.0, strength)
        parts[name] = max(parts.get(name, 0.0), abs(row[axis]) / limit)
    return max(parts, key=lambda name: parts[name])


def _shear_limit(component: int, strength: Strength) -> float:
    return strength.rolling_shear if component == 3 else strength.shear_along


def _normal_limit(axis: int, tension: bool, strength: Strength) -> tuple[str, float]:
    if axis == 0:
        return "break", strength.mor if tension else strength.comp_along
    return ("split", strength.tens_across) if tension else ("dent", strength.comp_across)


def lognormal_quantile(mean: float, spread: float, z: float) -> float:
    """Value at `z` standard deviations of a lognormal of this mean and relative spread.

    With v the coefficient of variation: median = mean/sqrt(1+v^2), deviation of the logarithm
    sqrt(ln(1+v^2)).
    """
    variance = math.log1p(spread * spread)
    return mean * math.exp(-0.5 * variance + z * math.sqrt(variance))


def f05(mean: float, spread: float) -> float:
    """5th percentile of a lognormal strength (z = -1.6449)."""
    return lognormal_quantile(mean, spread, -1.6448536269514722)


def load_duration(seconds: float) -> float:
    """Strength left after `seconds` of constant load over that of a 7.5 minute test (about 1).

    Source: L. W. Wood, Relation of strength of wood to duration of load, FPL R1916 (1951):
    108.4/x^0.04635 + 18.3 percent. Errors: ValueError below or at zero.
    """
    if not seconds > 0.0:
        raise ValueError(f"time under load must be above zero, not {seconds}")
    return float(108.4 / seconds**0.04635 + 18.3) / 100.0


def hankinson(along: float, across: float, angle_deg: float, power: float = 2.0) -> float:
    """Strength at an angle to the grain: PQ/(P sin^n + Q cos^n), angle in degrees.

    Source: Wood Handbook FPL-GTR-190 eq. 5-2 (Hankinson).
    """
    s = abs(math.sin(math.radians(angle_deg))) ** power
    c = abs(math.cos(math.radians(angle_deg))) ** power
    return float(along * across / (along * s + across * c))
