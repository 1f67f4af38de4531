"""Straight beams glued off a shell (a bar): Timoshenko stiffness, lumped mass, exact slopes.

Source of the 12 x 12 matrix: J. S. Przemieniecki, Theory of Matrix Structural Analysis (1968),
ch. 5 (with the shear terms phi = 12 E I / (G A_s L^2)), from memory.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats, Ints
from graduale.shell.bending import SHEAR_FACTOR
from graduale.shell.model import Links, Pattern, cross_matrix

_DRILL_MASS = 1e-3  # mm2, a trace of inertia that keeps the mass matrix regular


@dataclass(frozen=True, eq=False)
class Beams:
    """Beams between shell nodes, their axis carried `lift0 + t` mm along `inward` off the facet
    nodes.

    nodes (n, 3) of the whole shell; pairs (b, 2); inward (b, 3) unit vectors from the plate to
    the bar; width, height (b,) mm; lift0 (b,): distance of the bar's middle from the nodes at t =
    0; e_mpa, g_mpa scalars; density t/mm3. Thickness t (b,) is that of the plate under each beam.
    """

    nodes: Floats
    pairs: Ints
    inward: Floats
    width: Floats
    height: Floats
    lift0: Floats
    e_mpa: float
    g_mpa: float
    density: float
    links: Links

    @cached_property
    def length(self) -> Floats:
        """(b,) mm."""
        out: Floats = np.linalg.norm(self._span, axis=1)
        return out

    @cached_property
    def _span(self) -> Floats:
        out: Floats = self.nodes[self.pairs[:, 1]] - self.nodes[self.pairs[:, 0]]
        return out

    @cached_property
    def axes(self) -> Floats:
        """(b, 3, 3) rows: along, across (in the plate), toward the bar."""
        along = self._span / self.length[:, None]
        up = self.inward - np.einsum("bi,bi->b", self.inward, along)[:, None] * along
        up /= np.linalg.norm(up, axis=1, keepdims=True)
        return np.stack([along, np.cross(up, along), up], axis=1)

    @cached_property
    def local(self) -> Floats:
        """(b, 12, 12) stiffness in the beam's axes."""
        area = self.width * self.height
        upright = self.width * self.height**3 / 12.0  # bending toward the bar
        flat = self.height * self.width**3 / 12.0
        twist = _torsion(self.width, self.height)
        k = np.zeros((len(self.length), 12, 12))
        _spring(k, 0, self.e_mpa * area / self.length)
        _spring(k, 3, self.g_mpa * twist / self.length)
        shear = self.g_mpa * SHEAR_FACTOR * area
        _flexure(k, (2, 4, 8, 10), -1.0, self.e_mpa * upright, shear, self.length)
        _flexure(k, (1, 5, 7, 11), 1.0, self.e_mpa * flat, shear, self.length)
        return k

    @cached_property
    def weights(self) -> Floats:
        """(b, 12, 12) lumped mass in the beam's axes."""
        half = 0.5 * self.density * self.width * self.height * self.length
        spin = (self.width**2 + self.height**2) / 12.0 + _DRILL_MASS
        row = np.stack([half, half, half, half * spin, half * spin, half * spin], axis=1)
        return np.apply_along_axis(np.diag, 1, np.concatenate([row, row], axis=1))

    @cached_property
    def _levers(self) -> tuple[Floats, Floats]:
        """Local motion = (L0 + t L1) x master freedoms of both ends, each (b, 12, 12)."""
        base = np.zeros((len(self.pairs), 12, 12))
        slope = np.zeros_like(base)
        for end in range(2):
            arm = self.links.arm[self.pairs[:, end]] + self.lift0[:, None] * self.inward
            base[:, 6 * end : 6 * end + 6, 6 * end : 6 * end + 6] = _arm_motion(self.axes, arm)
            moved = _arm_motion(self.axes, self.inward) - _arm_motion(self.axes, 0.0 * arm)
            slope[:, 6 * end : 6 * end + 6, 6 * end : 6 * end + 6] = moved
        return base, slope

    @cached_property
    def freedoms(self) -> Ints:
        """(b, 12)."""
        masters = self.links.master[self.pairs]
        return (6 * masters[:, :, None] + np.arange(6)).reshape(len(self.pairs), 12)

    @cached_property
    def pattern(self) -> Pattern:
        """Where the beam matrices go."""
        return Pattern.of(self.freedoms, 6 * len(self.nodes))

    def blocks(self, t_mm: Floats, *, mass: bool = False) -> Floats:
        """Stiffness or mass of each beam in master freedoms at plate thickness t (b,), (b, 12,
        12)."""
        base, slope = self._levers
        lever = base + t_mm[:, None, None] * slope
        out: Floats = np.swapaxes(lever, 1, 2) @ (self.weights if mass else self.local) @ lever
        return out

    def stiffness(self, t_mm: Floats) -> "sp.csc_matrix":
        """K at plate thickness t (b,)."""
        return self.pattern.gather(self.blocks(t_mm))

    def mass(self, t_mm: Floats) -> "sp.csc_matrix":
        """M at plate thickness t (b,)."""
        return self.pattern.gather(self.blocks(t_mm, mass=True))

    def slope_forms(self, t_mm: Floats, a: Floats, b: Floats, *, mass: bool = False) -> Floats:
        """a^T (dK/dt) b (or dM/dt) for full vectors (size, k) -> (b, k)."""
        core = self.weights if mass else self.local
        base, slope = self._levers
        va, vb = a[self.freedoms], b[self.freedoms]
        lever = base + t_mm[:, None, None] * slope
        la, lb, sa, sb = lever @ va, lever @ vb, slope @ va, slope @ vb
        out: Floats = np.einsum("bik,bik->bk", sa, core @ lb)
        out += np.einsum("bik,bik->bk", sb, core @ la)
        return out

    def end_force(self, t_mm: Floats, u: Floats) -> Floats:
        """Axial force (b, k) in N, tension positive, for full vectors (size, k)."""
        base, slope = self._levers
        move = (base + t_mm[:, None, None] * slope) @ u[self.freedoms]
        stiff = self.e_mpa * self.width * self.height / self.length
        out: Floats = stiff[:, None] * (move[:, 6] - move[:, 0])
        return out

    def mass_g(self) -> float:
        """Mass of all beams in g."""
        return float(np.sum(self.density * self.width * self.height * self.length) * 1e6)


def _torsion(width: Floats, height: Floats) -> Floats:
    """Torsion constant of a rectangle; Roark, Formulas for Stress and Strain (from memory)."""
    a, b = np.maximum(width, height), np.minimum(width, height)
    out: Floats = a * b**3 * (1.0 / 3.0 - 0.21 * b / a * (1.0 - (b / a) ** 4 / 12.0))
    return out


def _spring(k: Floats, i: int, stiff: Floats) -> None:
    k[:, i, i] = k[:, i + 6, i + 6] = stiff
    k[:, i, i + 6] = k[:, i + 6, i] = -stiff


def _flexure(
    k: Floats, at: tuple[int, int, int, int], sign: float, ei: Floats, shear: Floats, length: Floats
) -> None:
    phi = 12.0 * ei / (shear * length**2)
    base = ei / ((1.0 + phi) * length**3)
    push, couple = 12.0 * base, sign * 6.0 * length * base
    near, far = (4.0 + phi) * length**2 * base, (2.0 - phi) * length**2 * base
    values = [
        [push, couple, -push, couple],
        [couple, near, -couple, far],
        [-push, -couple, push, -couple],
        [couple, far, -couple, near],
    ]
    for i, row in zip(at, values, strict=True):
        for j, value in zip(at, row, strict=True):
            k[:, i, j] = value


def _arm_motion(axes: Floats, arm: Floats) -> Floats:
    """(b, 6, 6): motion in beam axes at `arm` from a node's freedoms."""
    out = np.zeros((len(arm), 6, 6))
    out[:, :3, :3] = out[:, 3:, 3:] = axes
    out[:, :3, 3:] = -axes @ cross_matrix(arm)
    return out
