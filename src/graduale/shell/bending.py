"""The discrete Kirchhoff-Mindlin triangle (DKMT): bending with transverse shear.

Source: I. Katili, 'A new discrete Kirchhoff-Mindlin element based on Mindlin-Reissner plate theory
and assumed shear strain fields, part I', Int. J. Numer. Meth. Engng 36 (1993) 1859-1883; it goes
over into the discrete Kirchhoff triangle of Batoz (1980) as the plate gets thin. Here with general
moduli: the side factor phi uses bending and shear stiffness along that side.

Freedoms (w, theta_x, theta_y) at each corner, right-handed rotations; u = z theta_y, v = -z
theta_x. The operators are split so that thickness enters by three factors g_k = 1/(1 + c_k t^2) a
facet: curvature = k0 + sum_k g_k c_k(q) r_k, shear = sum_k (1 - g_k) s_k(q) (-2/3) r_k.
"""

from dataclasses import dataclass, fields

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.shell.facets import area, shape_gradients

SHEAR_FACTOR = 5.0 / 6.0
# Mid-side points, exact for the quadratic products.
_POINTS = np.array([[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]])


@dataclass(frozen=True, eq=False)
class Bending:
    """Fixed parts of the bending element, for m facets.

    generalised (m, 6, 9): rows k0 (3 constant curvatures) and r (3 side quantities) from the
    freedoms; bend (m, 6, 6) and shear (m, 3, 3): unit-thickness energies; side_factor (m, 3): phi
    = factor t^2; corner_side (m, 3, 3, 3): curvature [xx, yy, 2xy] at each corner of each unit side
    quantity, linear in between; mean_shear (m, 2, 3): mean shear strain of each where 1 - g = 1.
    """

    generalised: Floats
    bend: Floats
    shear: Floats
    side_factor: Floats
    corner_side: Floats
    mean_shear: Floats

    def only(self, facets: Ints) -> "Bending":
        """Those of some facets (k,)."""
        return Bending(*(getattr(self, f.name)[facets] for f in fields(self)))


def bending_of(xy: Floats, q_mpa: Floats, h_mpa: Floats) -> Bending:
    """The fixed parts: corners (m, 3, 2), plane stress (m, 3, 3), transverse shear (m, 2, 2)
    moduli."""
    surface = area(xy)
    grad = shape_gradients(xy)
    cos, sin, length = _side_directions(xy)
    generalised = np.concatenate([_constant_curvature(grad), _side_rows(cos, sin, length)], axis=1)
    columns = _side_columns(grad, cos, sin, _POINTS)
    bend = _bend_energy(columns, q_mpa, surface)
    side = _side_shear(cos, sin)
    shear = _shear_energy(side, h_mpa, surface)
    factor = _side_factor(cos, sin, length, q_mpa, h_mpa)
    at_corners = _side_columns(grad, cos, sin, np.eye(3))
    return Bending(generalised, bend, shear, factor, at_corners, -2.0 / 3.0 * side.mean(axis=1))


def _side_directions(xy: Floats) -> tuple[Floats, Floats, Floats]:
    """cos, sin, length of the sides 12, 23, 31, each (m, 3)."""
    along = np.roll(xy, -1, axis=1) - xy
    length = np.linalg.norm(along, axis=2)
    return along[:, :, 0] / length, along[:, :, 1] / length, length


def _constant_curvature(grad: Floats) -> Floats:
    """Curvature of the linear rotations, beta_x = theta_y, beta_y = -theta_x: (m, 3, 9)."""
    out = np.zeros((len(grad), 3, 9))
    for i in range(3):
        out[:, 0, 3 * i + 2] = grad[:, i, 0]
        out[:, 1, 3 * i + 1] = -grad[:, i, 1]
        out[:, 2, 3 * i + 2] = grad[:, i, 1]
        out[:, 2, 3 * i + 1] = -grad[:, i, 0]
    return out


def _side_rows(cos: Floats, sin: Floats, length: Floats) -> Floats:
    """r_k = -3/(2 L) [w_j - w_i + L/2 (beta_si + beta_sj)], (m, 3, 9)."""
    out = np.zeros((len(cos), 3, 9))
    for k in range(3):
        i, j = k, (k + 1) % 3
        factor = -1.5 / length[:, k]
        out[:, k, 3 * i] -= factor
        out[:, k, 3 * j] += factor
        for corner in (i, j):
            out[:, k, 3 * corner + 2] += -0.75 * cos[:, k]
            out[:, k, 3 * corner + 1] += 0.75 * sin[:, k]
    return out


def _side_columns(grad: Floats, cos: Floats, sin: Floats, points: Floats) -> Floats:
    """Curvature of a unit side quantity at three points: (m, points, 3 curvatures, 3 sides)."""
    out = np.empty((len(grad), 3, 3, 3))
    for q, shape in enumerate(points):
        for k in range(3):
            i, j = k, (k + 1) % 3
            p = 4.0 * (shape[i] * grad[:, j] + shape[j] * grad[:, i])
            out[:, q, 0, k] = p[:, 0] * cos[:, k]
            out[:, q, 1, k] = p[:, 1] * sin[:, k]
            out[:, q, 2, k] = p[:, 1] * cos[:, k] + p[:, 0] * sin[:, k]
    return out


def _side_shear(cos: Floats, sin: Floats) -> Floats:
    """Shear strain (x, y) at the three points of a unit shear along each side: (m, points, 2,
    3)."""
    corner = np.zeros((len(cos), 3, 2, 3))
    for i in range(3):
        a, b = i, (i + 2) % 3  # the sides that meet at corner i
        det = cos[:, a] * sin[:, b] - cos[:, b] * sin[:, a]
        corner[:, i, 0, a], corner[:, i, 0, b] = sin[:, b] / det, -sin[:, a] / det
        corner[:, i, 1, a], corner[:, i, 1, b] = -cos[:, b] / det, cos[:, a] / det
    out: Floats = np.einsum("qi,mick->mqck", _POINTS, corner)
    return out


def _bend_energy(columns: Floats, q_mpa: Floats, surface: Floats) -> Floats:
    """(m, 6, 6) over k0 and r: integral of curvature^T Q curvature."""
    mean = columns.mean(axis=1)
    out = np.empty((len(columns), 6, 6))
    out[:, :3, :3] = q_mpa
    out[:, :3, 3:] = q_mpa @ mean
    out[:, 3:, :3] = np.swapaxes(out[:, :3, 3:], 1, 2)
    out[:, 3:, 3:] = np.einsum("mqak,mab,mqbl->mkl", columns, q_mpa, columns, optimize=True) / 3.0
    return out * surface[:, None, None]


def _shear_energy(side: Floats, h_mpa: Floats, surface: Floats) -> Floats:
    """(m, 3, 3) over r, for 1 - g = 1 on every side; shear along a side is -(2/3)(1 - g) r."""
    total = np.einsum("mqak,mab,mqbl->mkl", side, h_mpa, side, optimize=True) / 3.0
    out: Floats = total * (SHEAR_FACTOR * 4.0 / 9.0 * surface)[:, None, None]
    return out


def _side_factor(cos: Floats, sin: Floats, length: Floats, q_mpa: Floats, h_mpa: Floats) -> Floats:
    """phi_k / t^2 = Q_ss / (5/6 H_ss L^2), (m, 3)."""
    strain = np.stack([cos**2, sin**2, 2.0 * cos * sin], axis=2)
    along = np.stack([cos, sin], axis=2)
    q_ss = np.einsum("mka,mab,mkb->mk", strain, q_mpa, strain, optimize=True)
    h_ss = np.einsum("mka,mab,mkb->mk", along, h_mpa, along, optimize=True)
    out: Floats = q_ss / (SHEAR_FACTOR * h_ss * length**2)
    return out


def energies(parts: Bending, t_mm: Floats) -> Floats:
    """(m, 6, 6) energy over the generalised quantities at thickness t (m,)."""
    g = 1.0 / (1.0 + parts.side_factor * (t_mm**2)[:, None])
    scale = np.concatenate([np.ones_like(g), g], axis=1)
    out: Floats = (
        parts.bend * scale[:, :, None] * scale[:, None, :] * (t_mm**3 / 12.0)[:, None, None]
    )
    free = 1.0 - g
    out[:, 3:, 3:] += parts.shear * free[:, :, None] * free[:, None, :] * t_mm[:, None, None]
    return out


def energy_slopes(parts: Bending, t_mm: Floats) -> Floats:
    """d energies / dt, (m, 6, 6)."""
    t2 = (t_mm**2)[:, None]
    g = 1.0 / (1.0 + parts.side_factor * t2)
    dg = -2.0 * parts.side_factor * t_mm[:, None] * g**2
    one, zero = np.ones_like(g), np.zeros_like(g)
    scale, dscale = np.concatenate([one, g], axis=1), np.concatenate([zero, dg], axis=1)
    outer = scale[:, :, None] * scale[:, None, :]
    douter = dscale[:, :, None] * scale[:, None, :] + scale[:, :, None] * dscale[:, None, :]
    cubic, square = (t_mm**3 / 12.0)[:, None, None], (t_mm**2 / 4.0)[:, None, None]
    out: Floats = parts.bend * (outer * square + douter * cubic)
    free, dfree = 1.0 - g, -dg
    spread = free[:, :, None] * free[:, None, :]
    dspread = dfree[:, :, None] * free[:, None, :] + free[:, :, None] * dfree[:, None, :]
    out[:, 3:, 3:] += parts.shear * (spread + dspread * t_mm[:, None, None])
    return out


def curvature_rows(parts: Bending, t_mm: Floats, shares: Floats) -> tuple[Floats, Floats]:
    """Curvature [xx, yy, 2xy] over the generalised quantities at a point of each facet, and its
    slope by t, both (m, 3, 6); shares (m, 3) of the corners."""
    g, dg = _side_share(parts, t_mm)
    side = np.einsum("mc,mcak->mak", shares, parts.corner_side)
    unit, nil = np.broadcast_to(np.eye(3), (len(t_mm), 3, 3)), np.zeros((len(t_mm), 3, 3))
    rows = np.concatenate([unit, side * g[:, None, :]], axis=2)
    return rows, np.concatenate([nil, side * dg[:, None, :]], axis=2)


def shear_rows(parts: Bending, t_mm: Floats) -> tuple[Floats, Floats]:
    """Mean transverse shear strain [1n, 2n] over the generalised quantities, and its slope by t,
    both (m, 2, 6)."""
    g, dg = _side_share(parts, t_mm)
    nil = np.zeros((len(t_mm), 2, 3))
    rows = np.concatenate([nil, parts.mean_shear * (1.0 - g)[:, None, :]], axis=2)
    return rows, np.concatenate([nil, -parts.mean_shear * dg[:, None, :]], axis=2)


def _side_share(parts: Bending, t_mm: Floats) -> tuple[Floats, Floats]:
    """g and dg/dt of the three sides, (m, 3)."""
    g = 1.0 / (1.0 + parts.side_factor * (t_mm**2)[:, None])
    return g, -2.0 * parts.side_factor * t_mm[:, None] * g**2
