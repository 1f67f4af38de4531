"""The search for the wood: which tap is which mode, and Gauss-Newton for each way to read them.

Assignments are tried from many woods about the one expected, by straight slopes; the likeliest are
followed with new modes and slopes at every step.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, Ints
from graduale.base.findings import Refused
from graduale.readings.assign import allowed_pairs, assign, cost_of
from graduale.readings.evidence import MASS_SPREAD, Evidence
from graduale.readings.tapped import NUMBERS, Heard, Tapped
from graduale.wood.prior import prior_of

MORE_MODES = 6  # computed above the number of taps
RIVAL = 6.0  # another way that costs at most so much more (odds of 20 to 1) is told [own]
_STARTS = (-1.6, -0.8, 0.0, 0.8, 1.6)  # deviations of EL, ER, GLR from which ways are tried
_NEAR = 0.06  # of the variance: how far from such a beginning the wood may be
_WORTH = 10.0  # how much worse a way may look at first and be followed
_ROUNDS, _MOST_WAYS = 3, 4
_STEPS, _STILL, _LONGEST = 8, 3e-3, 0.4
Key = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Way:
    """One way to read the taps, followed to its end: logarithms (9,), what is heard there, mode of
    each tap (n,), cost (twice the negative log posterior, but for a constant)."""

    logs: Floats
    heard: Heard
    mode_of: Ints
    cost: float


@dataclass(frozen=True, eq=False)
class Search:
    """A plate, its evidence, and the prior of all nine numbers: mean, covariance, its inverse."""

    tapped: Tapped
    evidence: Evidence
    mean: Floats
    covariance: Floats
    weight: Floats

    @staticmethod
    def of(tapped: Tapped, evidence: Evidence) -> "Search":
        """The prior of the plate's wood, and the thickness as the evidence has it."""
        prior, size = prior_of(tapped.wood), len(NUMBERS)
        covariance = np.zeros((size, size))
        covariance[:-1, :-1] = prior.covariance
        covariance[-1, -1] = evidence.thickness_spread**2
        mean = np.append(prior.mean, 0.0)
        return Search(tapped, evidence, mean, covariance, _inverse(covariance))

    def heard(self, logs: Floats) -> Heard:
        """Modes, a few more than taps, with slopes."""
        return self.tapped.heard(logs, len(self.evidence.taps) + MORE_MODES)

    def followed(self, first: Heard) -> list[Way]:
        """Ways followed to their end, the cheapest first. New ones are looked for from the wood
        before the taps, then again from the best wood found: where tones cross, straight slopes
        reach only so far."""
        done: dict[Key, Way] = {}
        tried: set[Key] = set()
        heard, at, worth = first, self.mean, _WORTH
        for _ in range(_ROUNDS):
            ways = [w for w in self.ways(heard, at, worth) if w[0] not in tried]
            for key, logs in ways[:_MOST_WAYS]:
                tried.add(key)
                way = self.follow(logs)
                if way is not None:
                    done[tuple(way.mode_of.tolist())] = way
            if not ways or not done:
                break
            best = min(done.values(), key=lambda way: way.cost)
            tried.add(tuple(best.mode_of.tolist()))
            heard, at, worth = best.heard, best.logs, RIVAL
        return sorted(done.values(), key=lambda way: way.cost)

    def ways(self, heard: Heard, at: Floats, worth: float) -> list[tuple[Key, Floats]]:
        """Assignments and where they lead by the slopes at `at`, the cheapest first; those that
        cost at most `worth` more than the cheapest."""
        found: dict[Key, tuple[float, Floats]] = {}
        allowed = self._allowed(heard)
        for start in self._starts():
            mode_of, logs = self._settle(heard, allowed, at, start, _NEAR * self.covariance)
            predicted = np.log(heard.hz) + heard.slopes @ (logs - at)
            price = self._price(predicted, logs, mode_of)
            key = tuple(mode_of.tolist())
            if key not in found or price < found[key][0]:
                found[key] = (price, logs)
        most = min(price for price, _ in found.values()) + worth
        good = [(price, key) for key, (price, _) in found.items() if price < most]
        return [(key, found[key][1]) for _, key in sorted(good)]

    def _starts(self) -> Iterator[Floats]:
        root = np.linalg.cholesky(self.covariance)
        chosen = [NUMBERS.index(n) for n in ("EL", "ER", "GLR")]
        for steps in product(_STARTS, repeat=len(chosen)):
            z = np.zeros(len(NUMBERS))
            z[chosen] = steps
            yield self.mean + root @ z

    def _allowed(self, heard: Heard) -> NDArray[np.bool_]:
        """Which tap may be which mode (n, k), by the names the maker gave."""
        wanted = [t.name for t in self.evidence.taps]
        named = any(name is not None for name in wanted)
        names = self.tapped.names(heard) if named else ("",) * len(heard.hz)
        return allowed_pairs(wanted, names)

    def _settle(
        self,
        heard: Heard,
        allowed: NDArray[np.bool_],
        at: Floats,
        start: Floats,
        doubt: Floats,
    ) -> tuple[Ints, Floats]:
        """Assigns and fits by turns with the slopes at `at`, until the assignment stays."""
        evidence, logs = self.evidence, start
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

    def fit(self, heard: Heard, at: Floats, mode_of: Ints) -> tuple[Floats, Floats]:
        """One Gauss-Newton step from `at`: logarithms (9,) and their covariance (9, 9)."""
        rows, target, weight = self.data(heard, at, mode_of)
        normal = self.weight + rows.T @ (weight[:, None] * rows)
        right = self.weight @ self.mean + rows.T @ (weight * target)
        covariance = _inverse(normal)
        return covariance @ right, covariance

    def data(self, heard: Heard, at: Floats, mode_of: Ints) -> tuple[Floats, Floats, Floats]:
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

    def _price(self, predicted: Floats, logs: Floats, mode_of: Ints) -> float:
        """Cost of a way; the weight, alike for all, is left out."""
        off = logs - self.mean
        tones = cost_of(self.evidence.logs, predicted, self.evidence.deviation, mode_of)
        return tones + float(off @ self.weight @ off)

    def follow(self, logs: Floats) -> Way | None:
        """To its end with new slopes at every step; None where no wood can be."""
        sure = np.zeros_like(self.covariance)
        try:
            heard = self.heard(logs)
            for _ in range(_STEPS):
                mode_of, wanted = self._settle(heard, self._allowed(heard), logs, logs, sure)
                step = np.clip(wanted - logs, -_LONGEST, _LONGEST)
                if np.abs(step).max() < _STILL:
                    break
                logs = logs + step
                heard = self.heard(logs)
        except Refused:
            return None
        return Way(logs, heard, mode_of, self._price(np.log(heard.hz), logs, mode_of))


def _inverse(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)
