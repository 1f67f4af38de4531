"""How sure the figures are, and what a stated confidence takes off the limits.

Like is held against like: the unlucky share of what this instrument may be against the unlucky
share of what the violins of the band may be. With confidence c, z its normal quantile, s the spread
of a demand's logarithm (own: all sources as the file knows them; theirs: the same sources for a
violin of the band whose board nobody measured), own demand x exp(z s_own) must not pass the band's
x exp(z s_theirs):

    limit = greatest / (1 + margin) x min(1, exp(-z (s_own - s_theirs)))

Being surer than the band earns nothing [own]. Strength scatters on both sides. Without a violin
to compare with (sag of a body without post or bar) theirs is zero.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.special import ndtri

from graduale.base.arrays import Floats
from graduale.thickness.sources import Source
from graduale.wood.scatter import NAMES
from graduale.wood.species import STRENGTHS

SHOWN_Z = 1.6448536269514722  # screens show the 90 % interval
_STRONG = np.array([NAMES.index(s) for s in STRENGTHS])
_REST = np.array([i for i in range(len(NAMES)) if NAMES[i] not in STRENGTHS])


@dataclass(frozen=True, eq=False)
class Theirs:
    """The violin of the band: spread of the logarithm by key; by plate and key the effects of its
    board (14,), and under 'covariance' that of an unmeasured board."""

    spread: Mapping[str, float]
    wood: Mapping[str, Mapping[str, Floats]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Doubt:
    """All sources of one instrument over the logarithms of its figures `names` (n,)."""

    names: tuple[str, ...]
    sources: tuple[Source, ...]
    theirs: Theirs
    confidence: float

    @cached_property
    def at(self) -> dict[str, int]:
        """Where a figure stands."""
        return {name: i for i, name in enumerate(self.names)}

    @cached_property
    def variances(self) -> dict[str, Floats]:
        """By source: variance of every figure's logarithm (n,)."""
        return {s.key: s.variance() for s in self.sources}

    @property
    def z(self) -> float:
        """Quantile of the confidence, one-sided."""
        return float(ndtri(self.confidence))

    def spread(self, name: str, instead: Mapping[str, Floats] | None = None) -> float:
        """Spread of a figure's logarithm; instead: other variances (n,) by source."""
        i = self.at[name]
        return float(np.sqrt(sum(v[i] for v in {**self.variances, **(instead or {})}.values())))

    def interval(self, name: str, value: float) -> tuple[float, float]:
        """The 90 % interval of a figure that is `value`."""
        step = SHOWN_Z * self.spread(name)
        return value * float(np.exp(-step)), value * float(np.exp(step))

    def sure(self, instead: Mapping[str, Floats] | None = None) -> dict[str, float]:
        """By read-out: the factor on its limit at this confidence, at most 1."""
        out = {}
        for name in self.names:
            if name.startswith(("mass ", "tone ")):
                continue
            theirs = 0.0 if name == "sag share" else self.theirs.spread.get(name)
            if theirs is not None:
                more = self.spread(name, instead) - theirs
                out[name] = min(1.0, float(np.exp(-self.z * more)))
        return out

    def ratio_spread(self, name: str, *, same_wood: bool) -> float | None:
        """Spread of the ratio's logarithm to one violin of the band: its wood independent of ours,
        or cut from the same boards; strength left out, as a comparison of elastic wood."""
        if name not in self.theirs.spread or name not in self.at:
            return None
        i, total = self.at[name], 0.0
        for source in self.sources:
            which = source.key.removesuffix(" wood")
            if which not in self.theirs.wood or source.group != "wood":
                total += float(self.variances[source.key][i])
                continue
            ours, other = source.effects[_REST, i], self.theirs.wood[which][name][_REST]
            cov = source.cov[np.ix_(_REST, _REST)]
            if same_wood:
                total += float((ours - other) @ cov @ (ours - other))
            else:
                total += float(ours @ cov @ ours + other @ self._unmeasured(which) @ other)
        return float(np.sqrt(total))

    def _unmeasured(self, which: str) -> Floats:
        out: Floats = self.theirs.wood[which]["covariance"].reshape(len(NAMES), -1)
        inner: Floats = out[np.ix_(_REST, _REST)]
        return inner

    def left(self, instead: Mapping[str, Floats]) -> dict[str, Floats]:
        """Variances (n,) of the sources whose covariance is `instead`."""
        return {s.key: s.variance(instead[s.key]) for s in self.sources if s.key in instead}

    def combined(self, weights: Mapping[str, Floats], instead: Mapping[str, Floats]) -> Floats:
        """Spread (m,) of sums of the figures' logarithms, weights (m,) by name, strengths as in
        `draws`; instead: other covariances by source."""
        rows = np.array(list(weights.values())).reshape(len(weights), -1)
        columns = [self.at[name] for name in weights]
        total = np.zeros(rows.shape[1])
        for source in self.sources:
            cov = instead.get(source.key, source.cov)
            if source.params == NAMES:
                cov = _without_strength(cov)
            through = source.effects[:, columns] @ rows
            total += np.einsum("pm,pq,qm->m", through, cov, through)
        return np.sqrt(np.maximum(total, 0.0))

    def draws(self, count: int, seed: int) -> Floats:
        """Seeded draws of the figures' logarithms (count, n), strengths at what the rest of the
        board says of them: what full knowledge of the instrument could turn out to be."""
        dice = np.random.default_rng(seed)
        out = np.zeros((count, len(self.names)))
        for source in self.sources:
            cov = source.cov
            if source.params == NAMES:
                cov = _without_strength(cov)
            root = _root(cov)
            out += dice.standard_normal((count, len(cov))) @ root.T @ source.effects
        return out


def _without_strength(cov: Floats) -> Floats:
    """The covariance with each strength at its expectation given the rest of the board."""
    inner = cov[np.ix_(_REST, _REST)]
    rule = np.zeros((len(NAMES), len(_REST)))
    rule[_REST] = np.eye(len(_REST))
    rule[_STRONG] = cov[np.ix_(_STRONG, _REST)] @ np.linalg.pinv(inner)
    out: Floats = rule @ inner @ rule.T
    return out


def _root(cov: Floats) -> Floats:
    values, vectors = np.linalg.eigh(cov)
    out: Floats = vectors * np.sqrt(np.maximum(values, 0.0))
    return out
