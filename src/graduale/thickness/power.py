"""Power laws about one solved map, and the lightest map that they allow.

Near a map each demand goes as a product of powers of the zone values (stiffness and strength of a
plate are powers of its thickness), its exponents from the exact slopes. In the logarithms the
limits are then linear and the mass is convex, so the lightest map is found without a solve.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from graduale.base.arrays import Floats

_SLACK_G = 3000.0  # mass that a unit of log demand over its limit counts as
_LEAST_LOG_STEP = 1e-9


@dataclass(frozen=True, eq=False)
class PowerLaw:
    """At zones (8,), top then back: log demand (k,) by key, powers (k, 8) = d log J / d log zone,
    mass in g and its slope (8,) g/mm."""

    zones: Floats
    keys: tuple[str, ...]
    log_values: Floats
    powers: Floats
    mass_g: float
    mass_slope: Floats

    def over(self, limits: Mapping[str, float]) -> float:
        """Greatest log of demand over limit at the map itself; -inf without limits."""
        gaps = [
            v - np.log(limits[k])
            for k, v in zip(self.keys, self.log_values, strict=True)
            if k in limits
        ]
        return float(max(gaps, default=-np.inf))


def lightest(
    law: PowerLaw,
    family: Floats,
    limits: Mapping[str, float],
    bounds: Sequence[tuple[float, float]],
    reach: float,
) -> tuple[Floats, float]:
    """The lightest zones (8,) of a family within the limits, and what is missing (log, 0 if
    nothing).

    family (8, p): rows are zones, columns free numbers, one entry a row. bounds: of each free
    number, mm; reach: the most that the log of a number may change.
    """
    owner = family.argmax(axis=1)
    log_now = np.log(law.zones)
    free = np.array([log_now[owner == j].mean() for j in range(family.shape[1])])
    kept = [i for i, k in enumerate(law.keys) if k in limits]
    gaps = np.array([law.log_values[i] - np.log(limits[law.keys[i]]) for i in kept])
    rows = law.powers[kept] @ family
    # demands at the family's own start, which may differ from the map of the law
    gaps = gaps + law.powers[kept] @ (free[owner] - log_now)
    grams = law.mass_slope @ (family * np.exp(free))
    low = np.maximum(np.log([b[0] for b in bounds]) - free, -reach)
    high = np.maximum(np.minimum(np.log([b[1] for b in bounds]) - free, reach), low)
    step, missing = _least_mass(grams, rows, gaps, low, high)
    zones: Floats = np.exp((free + step)[owner])
    return zones, missing


def _least_mass(
    grams: Floats, rows: Floats, gaps: Floats, low: Floats, high: Floats
) -> tuple[Floats, float]:
    """min grams . exp(y) + slack under rows y + gaps <= slack, low <= y <= high."""
    count, whole = len(grams), max(float(grams.sum()), 1e-12)
    weight = max(_SLACK_G / whole, 1.0)  # so that slack and mass are of one size

    def mass(x: Floats) -> tuple[float, Floats]:
        e = grams / whole * np.exp(x[:count])
        return float(e.sum() + x[count]), np.append(e, 1.0)

    matrix = np.column_stack([-rows, np.full(len(rows), 1.0 / weight)])
    start = np.clip(np.zeros(count), low, high)
    slack = weight * max(float(np.max(rows @ start + gaps, initial=0.0)), 0.0)
    limits = {"type": "ineq", "fun": lambda x: matrix @ x - gaps, "jac": lambda x: matrix}
    found = minimize(  # type: ignore[call-overload]  # the stubs know no jac=True with constraints
        mass,
        np.append(start, slack),
        jac=True,
        method="SLSQP",
        bounds=[
            *zip(low, np.maximum(high, low + _LEAST_LOG_STEP), strict=True),
            (0.0, slack + weight),
        ],
        constraints=[limits] if len(rows) else [],
        options={"maxiter": 100, "ftol": 1e-9},
    )
    step = np.clip(found.x[:count], low, high)
    return step, max(float(np.max(rows @ step + gaps, initial=0.0)), 0.0)
