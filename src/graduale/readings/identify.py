"""Weight and tap tones identify the wood: log-normal prior, Gauss-Newton, Laplace posterior.

Of the logarithms of density, six moduli, nu_LR and the scale of the thickness map the greatest
posterior is sought for the weight and the tap tones; its curvature gives the spread (Laplace). ET,
GRT and GLT have hardly any say in the tones of a flat plate and follow through the prior's ratios.
Source of the scheme: Tarantola, Inverse Problem Theory, 2005, chapter 3 (from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from types import MappingProxyType

import numpy as np

from graduale.base.arrays import Floats, Ints, freeze
from graduale.base.findings import Refused, refuse
from graduale.readings.assign import allowed_pairs, assign, cost_of
from graduale.readings.tapped import NUMBERS, Heard, Tapped
from graduale.records.instrument import Provenance
from graduale.wood.material import Wood
from graduale.wood.prior import NAMES, Prior, prior_of, wood_at
from graduale.words.catalogue import say

MODEL_SPREAD = 0.01  # relative, of a computed mode: gaps to the solid model (docs/verification.md)
HERTZ_SPREAD = 0.5  # a tone read to 1 Hz or so [own]
MASS_SPREAD = 0.003  # relative: a kitchen scale, and moisture that comes and goes [own]
MORE_MODES = 6  # computed above the number of taps
_STARTS = (-1.3, 0.0, 1.3)  # deviations of EL, ER, GLR from which assignments are tried
_MOST_WAYS, _WORTH = 4, 10.0  # assignments followed up; how much worse they may look at first
RIVAL = 6.0  # another assignment that costs at most so much more (odds of 20 to 1) is told [own]
_STEPS, _STILL = 8, 1e-3


@dataclass(frozen=True)
class Tap:
    """One tone as heard, Hz, and what the maker took it for (a mode's name), if anything."""

    hz: float
    name: str | None = None


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was measured: taps in the maker's order, mass (None: not weighed), spread of the
    thickness map as a whole (relative), of a computed mode and of one tone."""

    taps: tuple[Tap, ...]
    mass_g: float | None
    thickness_spread: float
    model_spread: float = MODEL_SPREAD
    hertz_spread: float = HERTZ_SPREAD

    @property
    def logs(self) -> Floats:
        """log hz (n,)."""
        return np.log([t.hz for t in self.taps])

    @property
    def deviation(self) -> Floats:
        """Of log hz from the mode's (n,)."""
        hz = np.array([t.hz for t in self.taps])
        return np.hypot(self.model_spread, self.hertz_spread / hz)


@dataclass(frozen=True, eq=False)
class Mode:
    """A mode at the wood found: Hz, spread Hz, name by shape, its tap (or -1).

    overlap: share of its motion that one mode at the wood before the taps has too (modal
    assurance, by mass).
    """

    hz: float
    spread_hz: float
    name: str
    overlap: float
    tap: int


@dataclass(frozen=True, eq=False)
class Rival:
    """Another way to read the taps that fits nearly as well: mode of each tap (n,), logarithms (9,)
    and names of the modes there; odds of the better way against it."""

    mode_of: Ints
    mean: Floats
    names: tuple[str, ...]
    odds: float


@dataclass(frozen=True, eq=False)
class Identified:
    """The posterior of logarithms (9,) with covariance (9, 9) in the order of NUMBERS.

    mode_of (n,): mode of each tap, -1 none; slopes (k, 9) d log hz / d log number and mass_slopes
    (9,) at the posterior; misfit: root mean square of the residuals of tones and weight in their
    own deviations.
    """

    wood: Wood
    prior: Prior
    prior_covariance: Floats
    mean: Floats
    covariance: Floats
    modes: tuple[Mode, ...]
    mode_of: Ints
    mass_g: float
    misfit: float
    slopes: Floats
    mass_slopes: Floats
    rival: Rival | None

    def __post_init__(self) -> None:
        for name in ("prior_covariance", "mean", "covariance", "slopes", "mass_slopes"):
            object.__setattr__(self, name, freeze(getattr(self, name)))

    @property
    def spread(self) -> dict[str, float]:
        """Relative spread of every number after the taps."""
        return dict(zip(NUMBERS, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))

    @property
    def spread_before(self) -> dict[str, float]:
        """Relative spread of every number before the taps."""
        return dict(zip(NUMBERS, np.sqrt(np.diag(self.prior_covariance)).tolist(), strict=True))


def identify(tapped: Tapped, evidence: Evidence) -> Identified:
    """The wood of a plate from its weight and tap tones.

    Errors: Refused when no possible wood is found.
    """
    search = _Search.of(tapped, evidence)
    first = search.heard(search.mean)
    ways = search.ways(first)
    followed = [way for way in (search.follow(logs) for logs in ways) if way is not None]
    if not followed:
        raise refuse("no-such-wood", "", say("wood.no_such_wood"))
    followed.sort(key=lambda way: way.cost)
    return search.result(followed[0], first, search.rival(followed))


@dataclass(frozen=True, eq=False)
class _Way:
    """One assignment followed to its end: logarithms, what is heard there, assignment, cost."""

    logs: Floats
    heard: Heard
    mode_of: Ints
    cost: float


@dataclass(frozen=True, eq=False)
class _Search:
    tapped: Tapped
    evidence: Evidence
    prior: Prior
    mean: Floats  # (9,)
    covariance: Floats  # (9, 9)
    weight: Floats  # its inverse

    @staticmethod
    def of(tapped: Tapped, evidence: Evidence) -> "_Search":
        prior = prior_of(tapped.wood)
        size = len(NUMBERS)
        covariance = np.zeros((size, size))
        covariance[:-1, :-1] = prior.covariance
        covariance[-1, -1] = evidence.thickness_spread**2
        mean = np.append(prior.mean, 0.0)
        return _Search(tapped, evidence, prior, mean, covariance, _inverse(covariance))

    def heard(self, logs: Floats) -> Heard:
        return self.tapped.heard(logs, len(self.evidence.taps) + MORE_MODES)

    def ways(self, first: Heard) -> list[Floats]:
        """Where the cheapest assignments lead by straight slopes, the best first."""
        found: dict[tuple[int, ...], tuple[float, Floats]] = {}
        for start in self._starts():
            mode_of, logs = self.settle(first, self.mean, start, 0.25 * self.covariance)
            predicted = np.log(first.hz) + first.slopes @ (logs - self.mean)
            price = self.price(predicted, logs, mode_of)
            key = tuple(mode_of.tolist())
            if key not in found or price < found[key][0]:
                found[key] = (price, logs)
        best = sorted(found.values(), key=lambda pair: pair[0])
        return [logs for price, logs in best[:_MOST_WAYS] if price < best[0][0] + _WORTH]

    def _starts(self) -> Iterator[Floats]:
        root = np.linalg.cholesky(self.covariance)
        chosen = [NUMBERS.index(n) for n in ("EL", "ER", "GLR")]
        for steps in product(_STARTS, repeat=len(chosen)):
            z = np.zeros(len(NUMBERS))
            z[chosen] = steps
            yield self.mean + root @ z

    def settle(self, heard: Heard, at: Floats, start: Floats, doubt: Floats) -> tuple[Ints, Floats]:
        """Assigns and fits by turns with the slopes at `at`, until the assignment stays."""
        evidence, logs = self.evidence, start
        allowed = allowed_pairs([t.name for t in evidence.taps], self._names(heard))
        before: Ints | None = None
        for _ in range(_STEPS):
            predicted = np.log(heard.hz) + heard.slopes @ (logs - at)
            wide = np.einsum("ki,ij,kj->k", heard.slopes, doubt, heard.slopes)
            deviation = np.sqrt(evidence.deviation[:, None] ** 2 + wide[None, :])
            mode_of = assign(evidence.logs, predicted, deviation, allowed)
            if before is not None and np.array_equal(before, mode_of):
                break
            logs, doubt = self.fit(heard, at, mode_of)
            before = mode_of
        return mode_of, logs

    def _names(self, heard: Heard) -> tuple[str, ...]:
        """Names by shape, where the maker named a tap; else they do not matter."""
        if all(t.name is None for t in self.evidence.taps):
            return ("",) * len(heard.hz)
        return self.tapped.names(heard)

    def fit(self, heard: Heard, at: Floats, mode_of: Ints) -> tuple[Floats, Floats]:
        """One Gauss-Newton step from `at`: logarithms (9,) and their covariance."""
        rows, target, weight = self._data(heard, at, mode_of)
        normal = self.weight + rows.T @ (weight[:, None] * rows)
        right = self.weight @ self.mean + rows.T @ (weight * target)
        covariance = _inverse(normal)
        logs: Floats = covariance @ right
        return logs, covariance

    def _data(self, heard: Heard, at: Floats, mode_of: Ints) -> tuple[Floats, Floats, Floats]:
        """Rows (d, 9), targets and weights (d,) of what was measured, linear in the logarithms."""
        real = np.flatnonzero(mode_of >= 0)
        rows = heard.slopes[mode_of[real]]
        shift = self.evidence.logs[real] - np.log(heard.hz[mode_of[real]])
        target = shift + rows @ at
        weight = self.evidence.deviation[real] ** -2.0
        if self.evidence.mass_g is None:
            return rows, target, weight
        mass = float(np.log(self.evidence.mass_g / heard.mass_g) + heard.mass_slopes @ at)
        rows = np.vstack([rows, heard.mass_slopes])
        return rows, np.append(target, mass), np.append(weight, MASS_SPREAD**-2.0)

    def price(self, predicted: Floats, logs: Floats, mode_of: Ints) -> float:
        """Twice the negative log posterior, but for a constant; the weight is left to the prior."""
        off = logs - self.mean
        evidence = self.evidence
        tones = cost_of(evidence.logs, predicted, evidence.deviation, mode_of)
        return tones + float(off @ self.weight @ off)

    def follow(self, logs: Floats) -> _Way | None:
        """The way to its end with new slopes at every step; None where no wood can be."""
        try:
            heard = self.heard(logs)
            for _ in range(_STEPS):
                mode_of, wanted = self.settle(heard, logs, logs, np.zeros_like(self.covariance))
                step = np.clip(wanted - logs, -0.4, 0.4)
                if np.abs(step).max() < _STILL:
                    break
                logs = logs + step
                heard = self.heard(logs)
        except Refused:
            return None
        return _Way(logs, heard, mode_of, self.price(np.log(heard.hz), logs, mode_of))

    def rival(self, followed: Sequence[_Way]) -> Rival | None:
        """The next best way, where it is nearly as good and another one."""
        best = followed[0]
        for way in followed[1:]:
            more = way.cost - best.cost
            if more < RIVAL and not np.array_equal(way.mode_of, best.mode_of):
                odds = float(np.exp(0.5 * more))
                return Rival(way.mode_of, way.logs, self.tapped.names(way.heard), odds)
        return None

    def result(self, way: _Way, first: Heard, rival: Rival | None) -> Identified:
        covariance = self.fit(way.heard, way.logs, way.mode_of)[1]
        rows, target, weight = self._data(way.heard, way.logs, way.mode_of)
        residual = (target - rows @ way.logs) * np.sqrt(weight)
        spread = np.sqrt(np.diag(covariance))[:-1]
        return Identified(
            _wood(self.tapped.wood, way.logs[:-1], spread),
            self.prior,
            self.covariance,
            way.logs,
            covariance,
            self._modes(way, first, covariance),
            way.mode_of,
            way.heard.mass_g,
            float(np.sqrt(np.mean(residual**2))) if len(residual) else 0.0,
            way.heard.slopes,
            way.heard.mass_slopes,
            rival,
        )

    def _modes(self, way: _Way, first: Heard, covariance: Floats) -> tuple[Mode, ...]:
        names = self.tapped.names(way.heard)
        overlap = _assurance(way.heard, first).max(axis=1)
        wide = np.einsum("ki,ij,kj->k", way.heard.slopes, covariance, way.heard.slopes)
        spread = way.heard.hz * np.sqrt(wide + self.evidence.model_spread**2)
        tap_of = {int(m): i for i, m in enumerate(way.mode_of) if m >= 0}
        return tuple(
            Mode(float(hz), float(s), names[k], float(overlap[k]), tap_of.get(k, -1))
            for k, (hz, s) in enumerate(zip(way.heard.hz, spread, strict=True))
        )


def _assurance(one: Heard, other: Heard) -> Floats:
    """(k, l): squared cosine of every pair of shapes, by the mass of `one`."""
    moving = one.structure.mass(one.t_nodes) @ other.modes.shapes
    cross = (one.modes.shapes.T @ moving) ** 2
    size = np.einsum("sl,sl->l", other.modes.shapes, moving)
    out: Floats = cross / size[None, :]
    return out


def _inverse(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _wood(before: Wood, logs: Floats, spread: Sequence[float] | Floats) -> Wood:
    """The wood at the posterior, with its spreads and how they are known."""
    wood = wood_at(before, logs)
    numbers = {"density": wood.density_kg_m3, "nu_LR": wood.nu_lr, **wood.moduli()}
    found = dict(zip(NAMES, (float(s) for s in spread), strict=True))
    known = {
        name: Provenance(
            "measured", "weight and tap tones of the plate", found[name] * numbers[name]
        )
        for name in NAMES
        if name != "nu_LR"
    }
    own = {name: found[name] for name in known}
    return replace(
        wood,
        spread=MappingProxyType({**before.spread, **own}),
        known=MappingProxyType({**before.known, **known}),
    )
