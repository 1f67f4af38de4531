"""Strains that the wood takes by itself (drying): the nodal forces they make, the stress they
leave."""

import numpy as np

from graduale.base.arrays import Floats
from graduale.shell.model import Shell
from graduale.shell.stress import Disc, stress


def shrink_load(shell: Shell, t_mm: Floats, strain: Floats) -> Floats:
    """Nodal forces (size,) that hold back free strains [11, 22, 12] (m, 3), even through the
    thickness."""
    _, plane, offset = shell.to_local
    middle = plane + shell.offset(t_mm)[:, None, None] * offset
    force = np.einsum("mij,mj->mi", shell.q_mpa, strain) * (t_mm * shell.surface)[:, None]
    nodal = np.einsum("mkj,mak,ma->mj", middle, shell.mean_strain, force, optimize=True)
    out = np.zeros(shell.size)
    np.add.at(out, shell.freedoms, nodal)
    return out


def shrink_stress(shell: Shell, t_mm: Floats, disc: Disc, u: Floats, strain: Floats) -> Floats:
    """Averaged components (s,) in MPa under displacement u (size,) with the free strains taken
    off."""
    turn = disc.turn * disc.weights[:, None, None]
    q_mpa, free = shell.q_mpa[disc.facets], strain[disc.facets]
    held = np.einsum("dsi,dij,dj->s", turn, q_mpa, free, optimize=True)
    out: Floats = stress(shell, t_mm, disc, u[:, None])[:, 0] - held
    return out
