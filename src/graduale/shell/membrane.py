"""The optimal membrane triangle with drilling freedoms (OPT).

Source: C. A. Felippa, 'A study of optimal membrane triangles with drilling freedoms',
Comput. Methods Appl. Mech. Engrg. 192 (2003) 2125-2168. Freedoms (u, v, theta_z) at each corner.
Differences follow the paper: x_ij = x_i - x_j; l21 is the side from corner 1 to corner 2.
"""

import numpy as np

from graduale.base.arrays import Floats
from graduale.shell.facets import area

_ALPHA_B = 1.5
_BETA = (1.0, 2.0, 1.0, 0.0, 1.0, -1.0, -1.0, -1.0, -2.0)
_LEAST_BETA0 = 0.01


def strain_operator(xy: Floats) -> Floats:
    """Mean membrane strain [xx, yy, 2xy] from the 9 freedoms: corners (m, 3, 2) -> (m, 3, 9).

    The transposed force-lumping matrix L of the paper over the volume.
    """
    x, y = xy[:, :, 0], xy[:, :, 1]
    out = np.zeros((len(xy), 3, 9))
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        y_jk, x_kj = y[:, j] - y[:, k], x[:, k] - x[:, j]
        y_ik, y_ji = y[:, i] - y[:, k], y[:, j] - y[:, i]
        x_ki, x_ij = x[:, k] - x[:, i], x[:, i] - x[:, j]
        out[:, 0, 3 * i] = out[:, 2, 3 * i + 1] = y_jk
        out[:, 1, 3 * i + 1] = out[:, 2, 3 * i] = x_kj
        out[:, 0, 3 * i + 2] = _ALPHA_B / 6.0 * y_jk * (y_ik - y_ji)
        out[:, 1, 3 * i + 2] = _ALPHA_B / 6.0 * x_kj * (x_ki - x_ij)
        out[:, 2, 3 * i + 2] = _ALPHA_B / 3.0 * (x_ki * y_ik - x_ij * y_ji)
    return out / (2.0 * area(xy))[:, None, None]


def stiffness(xy: Floats, q_mpa: Floats) -> Floats:
    """Stiffness for unit thickness, corners (m, 3, 2), plane stress moduli (m, 3, 3) -> (m, 9,
    9)."""
    surface = area(xy)
    mean = strain_operator(xy)
    basic: Floats = np.einsum("m,mki,mkl,mlj->mij", surface, mean, q_mpa, mean, optimize=True)
    return basic + _higher_order(xy, surface, q_mpa)


def _higher_order(xy: Floats, surface: Floats, q_mpa: Floats) -> Floats:
    beta0 = np.maximum(0.5 * (1.0 - 4.0 * _poisson_squared(q_mpa)), _LEAST_BETA0)
    natural = _natural_transform(xy, surface)
    e_nat = np.einsum("mki,mkl,mlj->mij", natural, q_mpa, natural, optimize=True)
    q1, q2, q3 = _corner_matrices(xy, surface)
    k_theta = np.zeros_like(e_nat)
    for side in (0.5 * (q1 + q2), 0.5 * (q2 + q3), 0.5 * (q3 + q1)):
        k_theta += np.einsum("mki,mkl,mlj->mij", side, e_nat, side, optimize=True)
    k_theta *= (0.75 * beta0 * surface)[:, None, None]
    to_theta = _deviatoric_rotation(xy, surface)
    out: Floats = np.einsum("mki,mkl,mlj->mij", to_theta, k_theta, to_theta, optimize=True)
    return out


def _poisson_squared(q_mpa: Floats) -> Floats:
    """nu12 nu21 of the plane stress moduli."""
    out: Floats = q_mpa[:, 0, 1] ** 2 / (q_mpa[:, 0, 0] * q_mpa[:, 1, 1])
    return out


def _sides(xy: Floats) -> tuple[Floats, Floats, Floats]:
    """Squared lengths of the sides 21, 32, 13, each (m,)."""
    d = [xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 1], xy[:, 0] - xy[:, 2]]
    l21, l32, l13 = (np.einsum("mi,mi->m", v, v) for v in d)
    return l21, l32, l13


def _corner_matrices(xy: Floats, surface: Floats) -> tuple[Floats, Floats, Floats]:
    l21, l32, l13 = _sides(xy)
    b1, b2, b3, b4, b5, b6, b7, b8, b9 = _BETA
    layouts = (
        ((b1, b2, b3), (b4, b5, b6), (b7, b8, b9)),
        ((b9, b7, b8), (b3, b1, b2), (b6, b4, b5)),
        ((b5, b6, b4), (b8, b9, b7), (b2, b3, b1)),
    )
    scale = 2.0 / 3.0 * surface[:, None] / np.stack([l21, l32, l13], axis=1)
    first, second, third = (scale[:, :, None] * np.array(rows) for rows in layouts)
    return first, second, third


def _natural_transform(xy: Floats, surface: Floats) -> Floats:
    """Natural strains along the sides -> Cartesian strains, (m, 3, 3)."""
    l21, l32, l13 = _sides(xy)
    x, y = xy[:, :, 0], xy[:, :, 1]

    def dx(i: int, j: int) -> Floats:
        out: Floats = x[:, i - 1] - x[:, j - 1]
        return out

    def dy(i: int, j: int) -> Floats:
        out: Floats = y[:, i - 1] - y[:, j - 1]
        return out

    rows = [
        [dy(2, 3) * dy(1, 3) * l21, dy(3, 1) * dy(2, 1) * l32, dy(1, 2) * dy(3, 2) * l13],
        [dx(2, 3) * dx(1, 3) * l21, dx(3, 1) * dx(2, 1) * l32, dx(1, 2) * dx(3, 2) * l13],
        [
            (dy(2, 3) * dx(3, 1) + dx(3, 2) * dy(1, 3)) * l21,
            (dy(3, 1) * dx(1, 2) + dx(1, 3) * dy(2, 1)) * l32,
            (dy(1, 2) * dx(2, 3) + dx(2, 1) * dy(3, 2)) * l13,
        ],
    ]
    out: Floats = np.moveaxis(np.array(rows), 2, 0) / (4.0 * surface**2)[:, None, None]
    return out


def _deviatoric_rotation(xy: Floats, surface: Floats) -> Floats:
    """Corner rotations less the mean rotation of the linear triangle, (m, 3, 9)."""
    x, y = xy[:, :, 0], xy[:, :, 1]
    out = np.zeros((len(xy), 3, 9))
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        out[:, :, 3 * i] = ((x[:, k] - x[:, j]) / (4.0 * surface))[:, None]
        out[:, :, 3 * i + 1] = ((y[:, k] - y[:, j]) / (4.0 * surface))[:, None]
        out[:, i, 3 * i + 2] = 1.0
    return out
