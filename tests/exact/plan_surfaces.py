"""Outsides with known formulas for the tests of guide holes: a plane and sums of cosines."""

import math
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats


@dataclass(frozen=True)
class Plane:
    """h falls toward +y by tan(slope); h0 at y = 0."""

    slope_deg: float
    h0_mm: float = 12.0

    def height(self, xy: Floats) -> Floats:
        return self.h0_mm - math.tan(math.radians(self.slope_deg)) * xy[:, 1]

    def gradient(self, xy: Floats) -> Floats:
        return np.tile([0.0, -math.tan(math.radians(self.slope_deg))], (len(xy), 1))

    def hessian(self, xy: Floats) -> Floats:
        return np.zeros((len(xy), 3))

    def all_at(self, xy: Floats) -> Floats:
        return np.column_stack([self.height(xy), self.gradient(xy), self.hessian(xy)])


@dataclass(frozen=True)
class Waves:
    """h = base + sum of a cos(k.x + phase); waves rows (a, kx, ky, phase)."""

    base_mm: float
    waves: tuple[tuple[float, float, float, float], ...]

    def _parts(self, xy: Floats) -> tuple[Floats, Floats, Floats]:
        w = np.array(self.waves)
        angle = xy @ w[:, 1:3].T + w[:, 3]
        return w, np.cos(angle), np.sin(angle)

    def height(self, xy: Floats) -> Floats:
        w, c, _ = self._parts(xy)
        return self.base_mm + c @ w[:, 0]

    def gradient(self, xy: Floats) -> Floats:
        w, _, s = self._parts(xy)
        return -s @ (w[:, :1] * w[:, 1:3])

    def hessian(self, xy: Floats) -> Floats:
        w, c, _ = self._parts(xy)
        a, kx, ky = w[:, 0], w[:, 1], w[:, 2]
        return -c @ np.column_stack([a * kx * kx, a * kx * ky, a * ky * ky])

    def all_at(self, xy: Floats) -> Floats:
        return np.column_stack([self.height(xy), self.gradient(xy), self.hessian(xy)])


def narrow_arch(half_width_mm: float = 26.0, rise_mm: float = 9.0) -> Waves:
    """A cosine across the plate: rise at the middle, nothing at the half width."""
    return Waves(rise_mm / 2, ((rise_mm / 2, 0.0, math.pi / half_width_mm, 0.0),))


def bumpy(seed: int, height_mm: float = 12.0) -> Waves:
    """A random plate-like outside with slopes up to about 25 degrees and both signs of
    curvature."""
    rng = np.random.default_rng(seed)
    waves = [(3.0 * rng.uniform(0.5, 1.0), 0.0, math.pi / 26, 0.0)]
    for _ in range(4):
        length = rng.uniform(30.0, 70.0)
        turn = rng.uniform(0, 2 * math.pi)
        k = 2 * math.pi / length
        size = rng.uniform(0.2, 0.8)
        waves.append((size, k * math.cos(turn), k * math.sin(turn), rng.uniform(0, 2 * math.pi)))
    return Waves(height_mm, tuple(waves))
