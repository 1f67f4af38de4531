"""Block compliance turned into facets, and stresses of a facet turned back into the board.

Voigt order of the board [LL, RR, TT, RT, LT, LR]; of a facet [11, 22, nn, 2n, 1n, 12]; shear
strains are engineering strains. Triads are rows e1, e2, n; axes are rows L, R, T; one frame.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.records.instrument import PlateName, Side

_SHEARS = ((1, 2), (0, 2), (0, 1))
_PLANE = [0, 1, 5]  # 11, 22, 12
_CROSS = [4, 3]  # 1n, 2n
_UNDONE = 2.0 / 3.0


def board_axes(
    ring_angle_deg: float,
    runout_deg: float,
    plate: PlateName,
    side: Side,
    one_piece: bool,
) -> Floats:
    """Rows L, R, T (3, 3) in the plate's own outward frame: x to the neck, y to the bass, outward.

    At 0 degrees the board is quarter-sawn: R along y, T outward. A positive ring angle tilts R
    outward toward the bass; with a centre joint it is mirrored on the treble half. A positive
    runout lets the grain rise outward toward the neck, on both halves alike. The outward frame of
    the back is left-handed in the body (outward is -z); the definition is the same for both plates
    and stays in outward coordinates (`to_body` turns it). T = L x R in this frame's components.
    Errors: ValueError for another plate or side.
    """
    if plate not in ("top", "back") or side not in ("bass", "treble"):
        raise ValueError(f"no such half: {plate}, {side}")
    mirrored = side == "treble" and not one_piece
    ring = math.radians(-ring_angle_deg if mirrored else ring_angle_deg)
    rise = math.radians(runout_deg)
    c, s, cb, sb = math.cos(rise), math.sin(rise), math.cos(ring), math.sin(ring)
    return np.array([[c, 0.0, s], [-s * sb, cb, c * sb], [-s * cb, -sb, c * cb]])


def to_body(vectors: ArrayLike, plate: PlateName) -> Floats:
    """Vectors (..., 3) of a plate's outward frame in the body frame: on the back z flips."""
    out = np.array(vectors, dtype=np.float64)
    if plate == "back":
        out[..., 2] *= -1.0
    return out


def strain_map(axes: ArrayLike, triads: ArrayLike) -> Floats:
    """(m, 6, 6): facet strains = map x board strains. axes (3, 3) or (m, 3, 3), triads (m, 3, 3).

    Facet stiffness needs S' = M S M^T, and board stresses are M^T x facet stresses.
    """
    a = _cosines(axes, triads)
    out = np.empty((len(a), 6, 6))
    out[:, :3, :3] = a * a
    for column, (k, j) in enumerate(_SHEARS):
        out[:, :3, 3 + column] = a[:, :, k] * a[:, :, j]
    for row, (p, q) in enumerate(_SHEARS):
        out[:, 3 + row, :3] = 2.0 * a[:, p, :] * a[:, q, :]
        for column, (k, j) in enumerate(_SHEARS):
            cross = a[:, p, k] * a[:, q, j] + a[:, p, j] * a[:, q, k]
            out[:, 3 + row, 3 + column] = cross
    return out


def _cosines(axes: ArrayLike, triads: ArrayLike) -> Floats:
    """Direction cosines (m, 3, 3): [facet axis, board axis]."""
    board = np.asarray(axes, dtype=np.float64)
    facets = np.atleast_3d(np.asarray(triads, dtype=np.float64)).reshape(-1, 3, 3)
    return np.asarray(facets @ np.swapaxes(board, -1, -2))


def turned_compliance(compliance: Floats, axes: ArrayLike, triads: ArrayLike) -> Floats:
    """Board compliance (6, 6) 1/MPa in every facet: (m, 6, 6), order [11, 22, nn, 2n, 1n, 12]."""
    turn = strain_map(axes, triads)
    return np.asarray(turn @ compliance @ np.swapaxes(turn, 1, 2))


def condensed(turned: Floats) -> tuple[Floats, Floats]:
    """Plane stress Q (m, 3, 3) [11, 22, 12] and transverse shear H (m, 2, 2) [1n, 2n], MPa.

    Q inverts the in-plane block of the turned compliance (nn, 1n, 2n stresses zero). H carries no
    shear factor; it inverts S_ss - 2/3 S_sp Q S_ps, where S_ps couples in-plane stress with shear
    (a sloping grain). Shear then also stretches, and the stress that undoes this stiffens: with
    the factor 5/6 the energy is (6/5 S_ss - 4/5 S_sp Q S_ps) Q^2/2t, exact to the second power of
    thickness over length for a strip without membrane force [own derivation; judged by exact 3-D
    solutions]. Without coupling it is the inverse of S_ss.
    """
    plane = inverse(turned[:, _PLANE][:, :, _PLANE])
    cross = turned[:, _CROSS][:, :, _CROSS]
    couple = coupling(turned)
    undone = np.swapaxes(couple, 1, 2) @ plane @ couple
    return plane, inverse(cross - _UNDONE * undone)


def coupling(turned: Floats) -> Floats:
    """S_ps (m, 3, 2), 1/MPa: in-plane strain [11, 22, 12] by a unit transverse shear [1n, 2n]."""
    return np.asarray(turned[:, _PLANE][:, :, _CROSS])


def inverse(blocks: Floats) -> Floats:
    """Inverse of every block (m, k, k)."""
    return np.asarray(np.linalg.inv(blocks), dtype=np.float64)


def board_stress_map(axes: ArrayLike, triads: ArrayLike) -> Floats:
    """(m, 6, 5): board stresses = map x facet stresses [11, 22, 12, 1n, 2n]."""
    turn = np.swapaxes(strain_map(axes, triads), 1, 2)
    return np.asarray(turn[:, :, [*_PLANE, *_CROSS]])


def stress_to_board(
    sigma: ArrayLike, axes: ArrayLike, triads: ArrayLike, shear: ArrayLike | None = None
) -> Floats:
    """Facet stresses (m, 3) [11, 22, 12] with shear (m, 2) [1n, 2n] -> board (m, 6), MPa."""
    plane = np.asarray(sigma, dtype=np.float64).reshape(-1, 3)
    cross = np.zeros((len(plane), 2)) if shear is None else np.asarray(shear, dtype=np.float64)
    both = np.concatenate([plane, cross.reshape(-1, 2)], axis=1)
    return np.asarray(np.einsum("mij,mj->mi", board_stress_map(axes, triads), both))


def across_modulus(er: float, et: float, grt: float, nu_rt: float, angle_deg: float) -> float:
    """Modulus (MPa) in the R-T plane at an angle from R toward T (degrees).

    1/E = c^4/ER + s^4/ET + c^2 s^2 (1/GRT - 2 nuRT/ER).
    """
    c2 = math.cos(math.radians(angle_deg)) ** 2
    s2 = 1.0 - c2
    return 1.0 / (c2 * c2 / er + s2 * s2 / et + c2 * s2 * (1.0 / grt - 2.0 * nu_rt / er))
