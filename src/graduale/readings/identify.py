"""Weight and tap tones identify the wood: log-normal prior, Gauss-Newton, Laplace posterior.

Of the logarithms of density, six moduli, nu_LR and the scale of the thickness map the greatest
posterior is sought for the weight and the tap tones; its curvature gives the spread (Laplace). ET,
GRT and GLT have hardly any say in the tones of a flat plate and follow through the prior's ratios.
Source of the scheme: Tarantola, Inverse Problem Theory, 2005, chapter 3 (from memory).
"""

from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from graduale.base.arrays import Floats, Ints, freeze
from graduale.base.findings import refuse
from graduale.readings.evidence import Evidence
from graduale.readings.search import RIVAL, Search, Way
from graduale.readings.tapped import NUMBERS, Heard, Tapped
from graduale.records.instrument import Provenance
from graduale.wood.material import Wood
from graduale.wood.prior import NAMES, wood_at
from graduale.words.catalogue import say


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
    """Before and after the taps: mean (9,) and covariance (9, 9) of logarithms in the order of
    NUMBERS.

    mode_of (n,): mode of each tap, -1 none; slopes (k, 9) d log hz / d log number and mass_slopes
    (9,) at the posterior; misfit: root mean square of the residuals of tones and weight in their
    own deviations; rivals: the next best first.
    """

    wood: Wood
    before: Floats
    before_covariance: Floats
    mean: Floats
    covariance: Floats
    modes: tuple[Mode, ...]
    mode_of: Ints
    mass_g: float
    misfit: float
    slopes: Floats
    mass_slopes: Floats
    rivals: tuple[Rival, ...]

    def __post_init__(self) -> None:
        for name in ("before", "before_covariance", "mean", "covariance", "slopes", "mass_slopes"):
            object.__setattr__(self, name, freeze(getattr(self, name)))

    @property
    def spread(self) -> dict[str, float]:
        """Relative spread of every number after the taps."""
        return dict(zip(NUMBERS, np.sqrt(np.diag(self.covariance)).tolist(), strict=True))

    @property
    def spread_before(self) -> dict[str, float]:
        """Relative spread of every number before the taps."""
        return dict(zip(NUMBERS, np.sqrt(np.diag(self.before_covariance)).tolist(), strict=True))


def identify(tapped: Tapped, evidence: Evidence) -> Identified:
    """The wood of a plate from its weight and tap tones.

    Errors: Refused when no possible wood is found.
    """
    search = Search.of(tapped, evidence)
    first = search.heard(search.mean)
    followed = search.followed(first)
    if not followed:
        raise refuse("no-such-wood", "", say("wood.no_such_wood"))
    way = followed[0]
    covariance = search.fit(way.heard, way.logs, way.mode_of)[1]
    rows, target, weight = search.data(way.heard, way.logs, way.mode_of)
    residual = (target - rows @ way.logs) * np.sqrt(weight)
    return Identified(
        _wood(tapped.wood, way.logs[:-1], np.sqrt(np.diag(covariance))[:-1]),
        search.mean,
        search.covariance,
        way.logs,
        covariance,
        _modes(search, way, first, covariance),
        way.mode_of,
        way.heard.mass_g,
        float(np.sqrt(np.mean(residual**2))) if len(residual) else 0.0,
        way.heard.slopes,
        way.heard.mass_slopes,
        _rivals(tapped, followed),
    )


def _modes(search: Search, way: Way, first: Heard, covariance: Floats) -> tuple[Mode, ...]:
    names = search.tapped.names(way.heard)
    overlap = _assurance(way.heard, first).max(axis=1)
    wide = np.einsum("ki,ij,kj->k", way.heard.slopes, covariance, way.heard.slopes)
    spread = way.heard.hz * np.sqrt(wide + search.evidence.model_spread**2)
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


def _rivals(tapped: Tapped, followed: list[Way]) -> tuple[Rival, ...]:
    """The other ways that are nearly as good."""
    near = [way for way in followed[1:] if way.cost - followed[0].cost < RIVAL]
    return tuple(
        Rival(
            way.mode_of,
            way.logs,
            tapped.names(way.heard),
            float(np.exp(0.5 * (way.cost - followed[0].cost))),
        )
        for way in near
    )


def _wood(before: Wood, logs: Floats, spread: Floats) -> Wood:
    """The wood at the posterior, with its spreads and how they are known."""
    wood = wood_at(before, logs)
    numbers = {"density": wood.density_kg_m3, **wood.moduli()}
    found = {name: float(s) for name, s in zip(NAMES, spread, strict=True) if name in numbers}
    source = "weight and tap tones of the plate"
    known = {n: Provenance("measured", source, s * numbers[n]) for n, s in found.items()}
    return replace(
        wood,
        spread=MappingProxyType({**before.spread, **found}),
        known=MappingProxyType({**before.known, **known}),
    )
