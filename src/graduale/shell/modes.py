"""Free vibration: lowest modes of K phi = lambda M phi, and the forms from which exact slopes
follow."""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from graduale.base.arrays import Floats
from graduale.shell import bending
from graduale.shell.model import Shell
from graduale.shell.solver import factor

RIGID = 6
_SHIFT_HZ = 20.0
_GUARD = 4


@dataclass(frozen=True, eq=False)
class Modes:
    """hz (k,), shapes (size, k) with phi^T M phi = 1 (t), rigid motions left out."""

    hz: Floats
    shapes: Floats


def free_modes(
    stiffness: "sp.csc_matrix", mass: "sp.csc_matrix", count: int, *, rigid: int = RIGID
) -> Modes:
    """The first `count` elastic modes of a body held nowhere (rigid=6) or held (rigid=0).

    Hanging freedoms have empty rows and are left out. Cold start with guard vectors each time.
    """
    free = np.flatnonzero((stiffness.diagonal() != 0.0) & (mass.diagonal() != 0.0))
    k, m = (sp.csc_matrix(a[free][:, free]) for a in (stiffness, mass))
    shift = (2.0 * np.pi * _SHIFT_HZ) ** 2
    inverse = factor(sp.csc_matrix(k + shift * m))
    op = sla.LinearOperator(k.shape, matvec=inverse.solve, dtype=np.float64)
    start = np.cos(np.arange(len(free)) * 0.7)  # fixed, so that answers repeat to the byte
    values, vectors = sla.eigsh(
        k, k=count + rigid + _GUARD, M=m, sigma=-shift, OPinv=op, which="LM", v0=start
    )
    order = np.argsort(values)[rigid : rigid + count]
    shapes = np.zeros((stiffness.shape[0], count))
    shapes[free] = vectors[:, order]
    return Modes(np.sqrt(np.maximum(values[order], 0.0)) / (2.0 * np.pi), shapes)


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
