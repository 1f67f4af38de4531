"""The outside of a plate as a smooth surface: by rule, or led by what the maker measured.

One mechanism for all: heights by rule and heights given are drawn together by a bicubic spline of
least bending energy (`spline`); the surer a height, the greater its weight. Scattered heights lead
the difference to the rule, which is drawn the same way and added.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.geometry.archcheck import check_shape
from graduale.geometry.archdata import (
    SIGMA_GIVEN,
    Heights,
    drawn_lines,
    given_lines,
    heights_of,
    rim_and_field,
    together,
)
from graduale.geometry.archrule import Rule, frame_of
from graduale.geometry.outline import Outline
from graduale.geometry.spline import Net, Surface, fit, net_over
from graduale.records.instrument import ArchShape

STIFFNESS = 200.0  # bending weight against heights weighted 1 / sigma^2 (1/mm2)
NEAR_ENOUGH_MM = 0.04  # the surface passes given heights nearer than this
RIM_SIGMA = 0.1  # mm, of edge and channel where scattered heights lead
MARGIN_MM = 9.0  # of the surface beyond the edge
MOST_UNKNOWNS = 9500


@dataclass(frozen=True, eq=False)
class Arching:
    """Outside height h(x, y) above the plate's own gluing plane, mm, in its outward frame."""

    surface: Surface

    def height(self, xy: ArrayLike) -> Floats:
        """Height (m,) at points (m, 2), mm."""
        return np.asarray(self.surface.values(xy)[:, 0], dtype=np.float64)

    def gradient(self, xy: ArrayLike) -> Floats:
        """Slopes (hx, hy) (m, 2) at points (m, 2)."""
        return self.surface.values(xy, ((1, 0), (0, 1)))

    def hessian(self, xy: ArrayLike) -> Floats:
        """Second derivatives (hxx, hxy, hyy) (m, 3) at points (m, 2), 1/mm."""
        return self.surface.values(xy, ((2, 0), (1, 1), (0, 2)))

    def all_at(self, xy: ArrayLike) -> Floats:
        """Height, gradient and second derivatives at once (m, 6)."""
        return self.surface.values(xy, ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)))

    def slope_deg(self, xy: ArrayLike) -> Floats:
        """Angle between the surface and the gluing plane (m,), degrees."""
        return np.asarray(np.degrees(np.arctan(np.hypot(*self.gradient(xy).T))))

    def normal(self, xy: ArrayLike) -> Floats:
        """Outward unit normals (m, 3)."""
        slope = self.gradient(xy)
        raw = np.column_stack([-slope, np.ones(len(slope))])
        return np.asarray(raw / np.linalg.norm(raw, axis=1)[:, None])

    def curvatures(self, xy: ArrayLike) -> Floats:
        """Principal curvatures (m, 2), 1/mm, the greater first; a crown has negative ones.

        From the first and second fundamental forms (do Carmo, Differential Geometry of Curves and
        Surfaces, section 3-3 [from memory]).
        """
        _h, p, q, r, s, t = self.all_at(xy).T
        w = 1.0 + p * p + q * q
        gauss = (r * t - s * s) / w**2
        mean = ((1.0 + q * q) * r - 2.0 * p * q * s + (1.0 + p * p) * t) / (2.0 * w**1.5)
        root = np.sqrt(np.maximum(mean * mean - gauss, 0.0))
        return np.column_stack([mean + root, mean - root])


def arching_of(shape: ArchShape, outline: Outline) -> Arching:
    """The outside surface of a plate.

    Errors: Refused when the heights are impossible or do not cover the plate.
    """
    check_shape(shape, outline)
    rule = Rule(shape, frame_of(shape, outline))
    net = _net(shape, outline)
    rim, field = rim_and_field(shape, rule, max(1.6, 0.75 * net.step_mm))
    given = given_lines(shape, rule)
    surface = _drawn(net, given, together([drawn_lines(shape, rule), rim, field]))
    if not shape.heights:
        return Arching(surface)
    table = np.array(shape.heights, dtype=np.float64)
    more = table[:, 2] - surface.values(table[:, :2])[:, 0]
    kept = [given, rim] if len(given.z) else [rim]
    still = together([heights_of(k.xy, np.zeros(len(k.z)), RIM_SIGMA) for k in kept])
    change = _drawn(net, heights_of(table[:, :2], more, SIGMA_GIVEN), still)
    return Arching(Surface(net, surface.coefficients + change.coefficients))


def _net(shape: ArchShape, outline: Outline) -> Net:
    low, high = outline.xy.min(axis=0) - MARGIN_MM, outline.xy.max(axis=0) + MARGIN_MM
    step = max(1.5, float(np.sqrt(np.prod(high - low) / MOST_UNKNOWNS)))
    return net_over(low, high, min(step, max(1.5, 0.8 * shape.channel_at_mm)))


def _drawn(net: Net, given: Heights, rest: Heights) -> Surface:
    """The surface through the given heights and near the rest."""
    xy, z = np.vstack([given.xy, rest.xy]), np.concatenate([given.z, rest.z])
    weight = np.concatenate([given.sigma, rest.sigma]) ** -2.0
    surface = fit(net, xy, z, weight, STIFFNESS)
    for _ in range(3):
        if len(given.z) == 0:
            break
        far = np.flatnonzero(np.abs(surface.values(given.xy)[:, 0] - given.z) > NEAR_ENOUGH_MM)
        if len(far) == 0:
            break
        weight[far] *= 30.0
        surface = fit(net, xy, z, weight, STIFFNESS)
    return surface
