"""Free vibration: lowest modes of K phi = lambda M phi, and the forms from which exact slopes
follow."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.linalg import eigh

from graduale.base.arrays import Floats
from graduale.shell import bending
from graduale.shell.model import Shell
from graduale.shell.solver import Factor, factor

RIGID = 6
SHIFT = (2.0 * np.pi * 20.0) ** 2
_BLOCK = 8
_STEPS = 40
_STILL = 1e-10  # relative change of the wanted values between two steps at which they stand
_SMALL = 400  # freedoms below which a dense solution is cheaper
_DEPENDENT = 1e-13


@dataclass(frozen=True, eq=False)
class Modes:
    """hz (k,), shapes (size, k) with phi^T M phi = 1 (t), rigid motions left out."""

    hz: Floats
    shapes: Floats


def free_modes(
    stiffness: "sp.csc_matrix", mass: "sp.csc_matrix", count: int, *, rigid: int = RIGID
) -> Modes:
    """The first `count` elastic modes of a body held nowhere (rigid=6) or held (rigid=0).

    Hanging freedoms have empty rows and are left out. Cold start from fixed random vectors.
    """
    free = np.flatnonzero((stiffness.diagonal() != 0.0) & (mass.diagonal() != 0.0))
    k, m = (sp.csc_matrix(a[free][:, free]) for a in (stiffness, mass))
    wanted = count + rigid
    if len(free) <= _SMALL:
        values, vectors = eigh(k.toarray(), m.toarray(), subset_by_index=(0, wanted - 1))
    else:
        inverse = factor(sp.csc_matrix(k + SHIFT * m))
        start = np.random.default_rng(1).normal(size=(len(free), _BLOCK))
        values, vectors = lowest(inverse, m, start, wanted)
    shapes = np.zeros((stiffness.shape[0], count))
    shapes[free] = vectors[:, rigid:wanted]
    return Modes(np.sqrt(np.maximum(values[rigid:wanted], 0.0)) / (2.0 * np.pi), shapes)


def lowest(
    inverse: Factor, m: "sp.csc_matrix", start: Floats, wanted: int
) -> tuple[Floats, Floats]:
    """The `wanted` smallest values (wanted,) and vectors (n, wanted) of K x = lambda M x.

    `inverse` factors K + SHIFT M, start (n, b). Errors: RuntimeError when they do not settle.
    """
    values, vectors = leading(lambda v: m @ v, lambda _, mv: inverse.solve(mv), start, wanted)
    return 1.0 / values - SHIFT, vectors


Apply = Callable[[Floats, Floats], Floats]


def leading(
    inner: Callable[[Floats], Floats],
    apply: Apply,
    start: Floats,
    wanted: int,
    still: float = _STILL,
) -> tuple[Floats, Floats]:
    """The `wanted` largest values, falling, and vectors (n, wanted) of an operator.

    inner: v -> N v, an inner product; apply: (v, N v) -> P v, symmetric in it; start (n, b).
    Block Lanczos, all vectors kept orthonormal (Saad, Numerical Methods for Large Eigenvalue
    Problems, ch. 6, from memory). Ends when the values stand still (relative change below
    `still`). Errors: RuntimeError when they do not.
    """
    none = np.empty((len(start), 0))
    basis = _Basis(none, none).joined(inner, start)
    shared, before, done = np.empty((0, 0)), None, 0
    for _ in range(_STEPS):
        fresh = apply(basis.vectors[:, done:], basis.by_inner[:, done:])
        done = basis.vectors.shape[1]
        column = basis.by_inner.T @ fresh  # V^T N P V, the newest block's columns
        size = len(shared)
        shared = np.block([[shared, column[:size]], [column[:size].T, column[size:]]])
        values, mix = eigh(0.5 * (shared + shared.T))
        if done >= wanted:
            now, mix = values[: -wanted - 1 : -1], mix[:, : -wanted - 1 : -1]
            if before is not None and np.all(np.abs(now - before) <= still * np.abs(now)):
                return now, basis.vectors @ mix
            before = now
        basis = basis.joined(inner, fresh)
    raise RuntimeError("the values do not settle")


@dataclass(frozen=True, eq=False)
class _Basis:
    """Orthonormal vectors (n, b) in an inner product N, and N times them."""

    vectors: Floats
    by_inner: Floats

    def joined(self, inner: Callable[[Floats], Floats], new: Floats) -> "_Basis":
        """With new vectors made orthonormal; dependent ones fall away."""
        for _ in range(2):
            new = new - self.vectors @ (self.by_inner.T @ new)
            weighed = inner(new)
            size, mix = eigh(new.T @ weighed)
            good = size > _DEPENDENT * size[-1]
            turn = mix[:, good] / np.sqrt(size[good])
            new, weighed = new @ turn, weighed @ turn
        return _Basis(np.hstack([self.vectors, new]), np.hstack([self.by_inner, weighed]))


def energy_slope_forms(shell: Shell, t_mm: Floats, a: Floats, b: Floats) -> Floats:
    """a^T (dK_e/dt) b for facet vectors a, b (m, 18, k) -> (m, k)."""
    z, plane, offset = shell.to_local
    slope = bending.energy_slopes(shell.parts, t_mm)
    za, zb = z @ a, z @ b
    flex = np.einsum("mik,mij,mjk->mk", za, slope, zb, optimize=True)
    shift = shell.offset(t_mm)[:, None, None]
    dshift = (-0.5 * shell.outward)[:, None, None]
    ma, mb = plane @ a + shift * (offset @ a), plane @ b + shift * (offset @ b)
    ka, kb = shell.membrane_unit @ ma, shell.membrane_unit @ mb
    stretch = np.einsum("mik,mik->mk", ma, kb)
    couple = np.einsum("mik,mik->mk", dshift * (offset @ a), kb)
    couple += np.einsum("mik,mik->mk", dshift * (offset @ b), ka)
    out: Floats = flex + stretch + t_mm[:, None] * couple
    return out


def mass_slope_forms(shell: Shell, t_mm: Floats, a: Floats) -> Floats:
    """a^T (dM_e/dt) a for facet vectors (m, 18, k) -> (m, k)."""
    slope = shell.facet_mass_slope(t_mm)
    out: Floats = np.einsum("mik,mik->mk", a, slope @ a)
    return out
