"""The surface that readings are expected to lie near: zones fitted to the readings themselves.

Beside the platform a plate may rise to it gently, as the maps of this program do, or be cut down
right at its line; whichever lies nearer to the readings is taken.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from graduale.base.arrays import Floats
from graduale.thickness.field import Basis, Layout

THINNEST_MM = 0.3
_ZONES_FROM = 12  # readings: fewer carry one even thickness only
_ZONE_SPREAD_MM = 1.0  # how far zones are expected to lie from one another [own]
_ODD_MM = 0.4  # differences beyond this pull less (a lone thin spot is no zone) [own]


@dataclass(frozen=True, eq=False)
class Expected:
    """A thickness rule of zones (4,): callable on points (n, 2) -> mm (n,). layout: `as_it_is`."""

    layout: Layout
    zones: Floats
    gentle: bool  # rises to the platform gently

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) mm."""
        return _rule(self.layout, xy, gentle=self.gentle)(self.zones)


def as_it_is(layout: Layout) -> Layout:
    """The layout without the rules of a map that is still to be carved."""
    return replace(layout, least_mm=THINNEST_MM, least_channel_mm=THINNEST_MM, steepest=np.inf)


def _rule(layout: Layout, xy: Floats, *, gentle: bool) -> Callable[[Floats], Floats]:
    """Zones (4,) -> thickness (n,) at the points."""
    basis = layout.basis(xy)
    return (basis if gentle else _cut_down(basis, layout, xy)).thickness


def _cut_down(basis: Basis, layout: Layout, xy: Floats) -> Basis:
    """The same zones with no limit but the outside."""
    arching = layout.body.arching
    most = np.maximum(arching.height(xy) * arching.normal(xy)[:, 2], THINNEST_MM)
    low = np.where(basis.seat, basis.lowest, THINNEST_MM)
    return replace(basis, lowest=low, highest=np.where(basis.seat, basis.highest, most))


def expected_of(layout: Layout, xy: Floats, t_mm: Floats) -> Expected:
    """Zones that lie nearest to the readings (n, 2), (n,), one even value for few; odd ones pull
    less. `layout` as from `as_it_is`."""
    found = [_fitted(layout, xy, t_mm, gentle=g) for g in (True, False)]
    return min(found, key=lambda one: one[1])[0]


def _fitted(layout: Layout, xy: Floats, t_mm: Floats, *, gentle: bool) -> tuple[Expected, float]:
    """The best zones of one way of rising to the platform, and their misfit."""
    rule, middle = _rule(layout, xy, gentle=gentle), float(np.median(t_mm))
    start = np.full(4, middle)

    def gaps(zones: Floats) -> Floats:
        near = np.arctan((rule(zones) - t_mm) / _ODD_MM)
        return np.concatenate([near, (zones - middle) / _ZONE_SPREAD_MM / np.sqrt(len(t_mm))])

    if len(t_mm) < _ZONES_FROM:
        return Expected(layout, start, gentle), float(gaps(start) @ gaps(start))
    found = least_squares(gaps, start, bounds=(THINNEST_MM, 15.0))
    return Expected(layout, np.asarray(found.x), gentle), 2.0 * float(found.cost)
