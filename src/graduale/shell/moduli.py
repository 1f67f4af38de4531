"""How modes move with the moduli: the energy of given shapes when the facets are of other wood.

By Rayleigh's quotient the slope of an eigenvalue to any number p of the wood is exact with the old
shape: d lambda/dp = phi^T (dK/dp) phi for phi^T M phi = 1. The forms below give phi^T K(p) phi
without assembling K(p), so that a central difference over p costs no solve.
"""

import numpy as np

from graduale.base.arrays import Floats
from graduale.shell import bending, membrane
from graduale.shell.model import Shell


def shape_energies(
    shell: Shell, t_mm: Floats, shapes: Floats, q_mpa: Floats, h_mpa: Floats
) -> Floats:
    """phi^T K phi (k,) of shapes (size, k) at facet thickness (m,), the facets' wood replaced.

    q_mpa (m, 3, 3) plane stress and h_mpa (m, 2, 2) transverse shear moduli in the triads. Beams
    and springs are not in it. N mm.
    """
    z, plane, offset = shell.to_local
    a = shell.gather(shapes)
    parts = bending.bending_of(shell.corners, q_mpa, h_mpa)
    flexed = z @ a
    total: Floats = np.sum(flexed * (bending.energies(parts, t_mm) @ flexed), axis=(0, 1))
    drawn = plane @ a + shell.offset(t_mm)[:, None, None] * (offset @ a)
    stiff = t_mm[:, None, None] * membrane.stiffness(shell.corners, q_mpa)
    out: Floats = total + np.sum(drawn * (stiff @ drawn), axis=(0, 1))
    return out
