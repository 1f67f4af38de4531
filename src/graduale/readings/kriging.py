"""Gaussian-process regression in the plane (kriging) with an unknown constant and known scatter.

Source: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning (R&W): covariance
eq. 4.17, unknown constant with a flat prior eqs. 2.42 and 2.45, left-out predictions as eq. 5.12
(with an unknown constant: Dubrule 1983, Math. Geology 15:687).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from graduale.base.arrays import Floats, freeze

_ROOT5 = float(np.sqrt(5.0))
_JITTER = 1e-12  # of the sill squared


@dataclass(frozen=True)
class Scales:
    """Length scales along and across the grain and standard deviation of what is mapped, mm."""

    along_mm: float
    across_mm: float
    sill_mm: float

    def covariance(self, a: Floats, b: Floats) -> Floats:
        """Matern 5/2 between places a (n, 2) and b (m, 2) -> (n, m), mm2. R&W eq. 4.17."""
        gap = (a[:, None, :] - b[None, :, :]) / (self.along_mm, self.across_mm)
        s = _ROOT5 * np.sqrt(np.einsum("nmi,nmi->nm", gap, gap))
        out: Floats = self.sill_mm**2 * (1.0 + s + s * s / 3.0) * np.exp(-s)
        return out


@dataclass(frozen=True)
class Bounds:
    """Where the scales are looked for: across the grain mm, along / across, sill mm."""

    across_mm: tuple[float, float] = (5.0, 60.0)
    longer: tuple[float, float] = (1.0, 4.0)
    sill_mm: tuple[float, float] = (0.05, 3.0)


@dataclass(frozen=True, eq=False)
class Kriged:
    """A fitted map: places xy (n, 2), values (n,) and their scatter (n,) in mm, scales."""

    xy: Floats
    values: Floats
    scatter: Floats
    scales: Scales

    def __post_init__(self) -> None:
        count = len(self.values)
        object.__setattr__(self, "xy", freeze(self.xy, (count, 2)))
        object.__setattr__(self, "values", freeze(self.values, (count,)))
        object.__setattr__(self, "scatter", freeze(self.scatter, (count,)))

    @cached_property
    def _factor(self) -> tuple[Floats, bool]:
        square = self.scales.covariance(self.xy, self.xy)
        square[np.diag_indices_from(square)] += self.scatter**2 + _JITTER * self.scales.sill_mm**2
        found: tuple[Floats, bool] = cho_factor(square, lower=True)
        return found

    def _solve(self, right: Floats) -> Floats:
        out: Floats = cho_solve(self._factor, right)
        return out

    @cached_property
    def _ones(self) -> Floats:
        """K^-1 1 (n,)."""
        return self._solve(np.ones(len(self.values)))

    @cached_property
    def constant_mm(self) -> float:
        """The unknown constant, by generalised least squares."""
        return float(self._ones @ self.values / self._ones.sum())

    @cached_property
    def _pull(self) -> Floats:
        return self._solve(self.values - self.constant_mm)

    def mean(self, at: Floats) -> Floats:
        """Mean (m,) at places (m, 2) alone. R&W eq. 2.42."""
        out: Floats = self.constant_mm + self.scales.covariance(at, self.xy) @ self._pull
        return out

    def predict(self, at: Floats) -> tuple[Floats, Floats]:
        """Mean and standard deviation (m,) at places (m, 2), without scatter. R&W eq. 2.42."""
        across = self.scales.covariance(at, self.xy)
        mean: Floats = self.constant_mm + across @ self._pull
        variance = self.scales.sill_mm**2 - np.einsum("mn,nm->m", across, self._solve(across.T))
        variance += (1.0 - across @ self._ones) ** 2 / self._ones.sum()
        return mean, np.sqrt(np.maximum(variance, 0.0))

    def posterior(self, a: Floats, b: Floats) -> Floats:
        """Covariance (n, m) of the map between places, mm2, given the readings."""
        ka, kb = self.scales.covariance(a, self.xy), self.scales.covariance(b, self.xy)
        out: Floats = self.scales.covariance(a, b) - ka @ self._solve(kb.T)
        out += np.outer(1.0 - ka @ self._ones, 1.0 - kb @ self._ones) / self._ones.sum()
        return out

    def left_out(self) -> tuple[Floats, Floats]:
        """What all other readings say of each one: mean, sd (n,), its own scatter included."""
        inverse = self._solve(np.eye(len(self.values)))
        inverse -= np.outer(self._ones, self._ones) / self._ones.sum()
        spread = np.diag(inverse)
        return self.values - inverse @ self.values / spread, 1.0 / np.sqrt(spread)

    def log_likelihood(self) -> float:
        """Log marginal likelihood of the readings, the constant integrated out. R&W eq. 2.45."""
        count = len(self.values)
        fit = float((self.values - self.constant_mm) @ self._pull)
        roots = 2.0 * float(np.log(np.diag(self._factor[0])).sum())
        seen = float(np.log(self._ones.sum()))
        return -0.5 * (fit + roots + seen + (count - 1) * float(np.log(2.0 * np.pi)))


def fit(xy: Floats, values: Floats, scatter: Floats, bounds: Bounds | None = None) -> Kriged:
    """Scales by greatest marginal likelihood within the bounds, from several starts.

    xy (n, 2), values (n,), scatter (n,) in mm. Errors: ValueError for fewer than three readings.
    """
    if len(values) < 3:
        raise ValueError("at least three readings are needed")
    limits = bounds or Bounds()
    box: Floats = np.log(np.array([limits.across_mm, limits.longer, limits.sill_mm]))
    pairs = [(float(low), float(high)) for low, high in box]

    def of(p: Floats) -> Kriged:
        across, longer, sill = (float(v) for v in np.exp(p))
        return Kriged(xy, values, scatter, Scales(longer * across, across, sill))

    def short(p: Floats) -> float:
        return -of(p).log_likelihood()

    shares = [(0.35, 0.5, 0.5), (0.7, 0.5, 0.7), (0.15, 0.3, 0.6)]
    starts = [box[:, 0] + np.array(s) * (box[:, 1] - box[:, 0]) for s in shares]
    found = [minimize(short, s, method="L-BFGS-B", bounds=pairs) for s in starts]
    best = min(found, key=lambda one: float(one.fun))
    return of(np.asarray(best.x))


def next_places(
    kriged: Kriged, candidates: Floats, over: Floats, scatter_mm: float, count: int
) -> tuple[Floats, Floats]:
    """Where readings would take away most doubt: places (k, 2), share of the summed variance (k,).

    One after the other, each with the earlier ones taken as read; `over` (m, 2) is where the doubt
    is summed. Cohn 1996, Neural Networks 9:1071 (expected reduction of the mean variance).
    """
    cross = kriged.posterior(over, candidates)
    own = kriged.posterior(candidates, candidates)
    total = float((kriged.predict(over)[1] ** 2).sum())
    places, gains = [], []
    for _ in range(min(count, len(candidates))):
        seen = np.diag(own) + scatter_mm**2
        gain = (cross**2).sum(axis=0) / seen
        best = int(np.argmax(gain))
        places.append(candidates[best])
        gains.append(float(gain[best]) / max(total, 1e-12))
        column, row = cross[:, best].copy(), own[best].copy()
        cross = cross - np.outer(column, row) / seen[best]
        own = own - np.outer(row, row) / seen[best]
    return np.array(places).reshape(-1, 2), np.array(gains)
