"""Exact elasticity of flat layers of wood by Fourier series: no plate theory in it.

A periodic plate carries the same load in every cell. Each harmonic exp(i(px + qy)) has its own
displacement through the thickness, in eight Legendre polynomials of each layer. Any constant 6 x 6
stiffness may be given, so also grain that slopes in the plate. Source of the problem: N. J. Pagano,
J. Composite Materials 3 (1969) 398 and 4 (1970) 20; the supported plate of those papers is the cell
of twice the size with loads of alternating sign.
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from scipy.special import j1

from graduale.base.arrays import Floats

_DEGREES = 8


@dataclass(frozen=True, eq=False)
class Layers:
    """From the lowest up: stiffness (k, 6, 6) MPa [xx, yy, zz, yz, xz, xy], thickness (k,) mm."""

    stiffness: Floats
    thickness: Floats


def respond(layers: Layers, p: float, q: float, down: complex) -> "Through":
    """One harmonic of pressure `down` on the upper face."""
    count = len(layers.thickness)
    size = 3 * (count * (_DEGREES - 1) + 1)
    whole, force = np.zeros((size, size), complex), np.zeros(size, complex)
    z, weight = legendre.leggauss(_DEGREES + 4)
    for k in range(count):
        strain = _strain(z, layers.thickness[k], p, q)
        w = 0.5 * layers.thickness[k] * weight
        block = np.einsum("zai,ab,zbj,z->ij", strain.conj(), layers.stiffness[k], strain, w)
        at = _numbers(k)
        whole[np.ix_(at, at)] += block
    force[-1] = -down
    solution = np.linalg.solve(whole, force)
    return Through(layers, p, q, solution)


@dataclass(frozen=True, eq=False)
class Through:
    """One harmonic solved: what it is through the thickness."""

    layers: Layers
    p: float
    q: float
    solution: "np.typing.NDArray[np.complex128]"

    def stress(self, layer: int, z: float) -> "np.typing.NDArray[np.complex128]":
        """(6,) at z = -1 (bottom) to 1 (top) of a layer."""
        strain = _strain(np.array([z]), self.layers.thickness[layer], self.p, self.q)[0]
        return self.layers.stiffness[layer] @ (strain @ self.solution[_numbers(layer)])

    def displacement(self, layer: int, z: float) -> "np.typing.NDArray[np.complex128]":
        """(3,)."""
        values, _ = _shapes(np.array([z]))
        return values[0] @ self.solution[_numbers(layer)].reshape(_DEGREES, 3)


def _numbers(layer: int) -> "np.typing.NDArray[np.int64]":
    first = 3 * layer * (_DEGREES - 1)
    return np.arange(first, first + 3 * _DEGREES)


def _shapes(z: Floats) -> tuple[Floats, Floats]:
    """Values and slopes (n, degrees) through [-1, 1]; the first is 1 at -1, the last 1 at +1, the
    others vanish at both ends (so that layers join)."""
    basis = np.eye(_DEGREES)
    inner = [basis[k] - basis[k % 2] for k in range(2, _DEGREES)]
    ends = [0.5 * (basis[0] - basis[1]), 0.5 * (basis[0] + basis[1])]
    rows = [ends[0], *inner, ends[1]]
    values = np.stack([legendre.legval(z, c) for c in rows], axis=1)
    slopes = np.stack([legendre.legval(z, legendre.legder(c)) for c in rows], axis=1)
    return values, slopes


def _strain(z: Floats, thick: float, p: float, q: float) -> "np.typing.NDArray[np.complex128]":
    """(n, 6, 3 x degrees)."""
    value, slope = _shapes(z)
    slope = slope * 2.0 / thick
    out = np.zeros((len(z), 6, _DEGREES, 3), complex)
    out[:, 0, :, 0], out[:, 1, :, 1], out[:, 2, :, 2] = 1j * p * value, 1j * q * value, slope
    out[:, 3, :, 1], out[:, 3, :, 2] = slope, 1j * q * value
    out[:, 4, :, 0], out[:, 4, :, 2] = slope, 1j * p * value
    out[:, 5, :, 0], out[:, 5, :, 1] = 1j * q * value, 1j * p * value
    return out.reshape(len(z), 6, 3 * _DEGREES)


@dataclass(frozen=True, eq=False)
class Cell:
    """A load on the middle of a periodic cell, held up by an even pressure from below.

    size (2,) mm; amplitude by harmonic, of p, q (m,): only half of them, the rest are conjugates;
    even: force over the cell's area.
    """

    size: tuple[float, float]
    p: Floats
    q: Floats
    amplitude: Floats
    even: float

    @staticmethod
    def of(size: tuple[float, float], load: Floats, harmonics: int, n: float) -> "Cell":
        """`load` (2,) sides of a rectangle in mm that carries n newtons evenly."""
        k = np.arange(-harmonics, harmonics + 1)
        a, b = (g.ravel() for g in np.meshgrid(k, k, indexing="ij"))
        half = (a > 0) | ((a == 0) & (b > 0))
        p, q = 2.0 * np.pi * a[half] / size[0], 2.0 * np.pi * b[half] / size[1]
        shape = np.sinc(p * load[0] / (2 * np.pi)) * np.sinc(q * load[1] / (2 * np.pi))
        even = n / (size[0] * size[1])
        return Cell(size, p, q, even * shape, even)

    def solve(self, layers: Layers) -> list[Through]:
        """Every harmonic."""
        both = zip(self.p, self.q, self.amplitude, strict=True)
        return [respond(layers, float(p), float(q), complex(f)) for p, q, f in both]

    def disc_mean(self, values: Floats, radius_mm: float, at: tuple[float, float]) -> Floats:
        """Mean over a disc about `at` (from the load's middle) of harmonics (m, c) -> (c,)."""
        k = np.hypot(self.p, self.q) * radius_mm
        window = 2.0 * j1(k) / k * np.exp(1j * (self.p * at[0] + self.q * at[1]))
        return 2.0 * np.real(window @ values)

    def load_mean(self, values: Floats) -> Floats:
        """Mean over the loaded rectangle of harmonics (m, c) -> (c,)."""
        window = self.amplitude / self.even
        return 2.0 * np.real(window @ values)
