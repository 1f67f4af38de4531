"""Stress on one face, averaged over a disc, as a linear read-out of the displacement; its slopes.

Components, not peaks, are averaged: raw peaks diverge with the mesh, a disc of fixed radius does
not.
"""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.shell import bending
from graduale.shell.model import Shell


@dataclass(frozen=True, eq=False)
class Disc:
    """facets (d,), weights (d,) summing to 1; face (d,) +1 on the n side, -1 on the other;
    turn (d, s, 3): stress in the facet [11, 22, 12] -> the components that are averaged."""

    facets: Ints
    weights: Floats
    face: Floats
    turn: Floats


def stress(shell: Shell, t_mm: Floats, disc: Disc, u: Floats) -> Floats:
    """Averaged components (s, k) in MPa for displacements (size, k)."""
    op = operator(shell, t_mm, disc)
    local = u[shell.freedoms[disc.facets]]
    out: Floats = np.einsum("dsj,djk->sk", op, local, optimize=True)
    return out


def pull_back(shell: Shell, t_mm: Floats, disc: Disc, weight: Floats) -> Floats:
    """d (weight . stress) / du, (size, k) for weights (s, k)."""
    op = operator(shell, t_mm, disc)
    values = np.einsum("dsj,sk->djk", op, weight, optimize=True)
    out = np.zeros((shell.size, weight.shape[1]))
    np.add.at(out, shell.freedoms[disc.facets], values)
    return out


def explicit_slopes(shell: Shell, t_mm: Floats, disc: Disc, u: Floats, weight: Floats) -> Floats:
    """d (weight . stress) / dt at fixed u, (m, k); weight (s, k), u (size, k)."""
    z, _, offset = (part[disc.facets] for part in shell.to_local)
    sub = _only(shell, disc.facets)
    t = t_mm[disc.facets]
    mean = shell.mean_strain[disc.facets]
    dmembrane = (-0.5 * shell.outward[disc.facets])[:, None, None] * (mean @ offset)
    rows, slopes = (
        f(sub, t) @ z for f in (bending.mean_curvature_rows, bending.mean_curvature_slopes)
    )
    half = (0.5 * disc.face)[:, None, None]
    dstrain = dmembrane + half * (rows + t[:, None, None] * slopes)
    op = disc.weights[:, None, None] * (disc.turn @ shell.q_mpa[disc.facets] @ dstrain)
    local = u[shell.freedoms[disc.facets]]
    out = np.zeros((len(t_mm), u.shape[1]))
    np.add.at(out, disc.facets, np.einsum("dsj,djk,sk->dk", op, local, weight, optimize=True))
    return out


def operator(shell: Shell, t_mm: Floats, disc: Disc) -> Floats:
    """Each facet's share (d, s, 18) of the averaged components, from its freedoms."""
    z, plane, offset = (part[disc.facets] for part in shell.to_local)
    t = t_mm[disc.facets]
    shift = shell.offset(t_mm)[disc.facets][:, None, None]
    membrane = shell.mean_strain[disc.facets] @ (plane + shift * offset)
    curve = bending.mean_curvature_rows(_only(shell, disc.facets), t) @ z
    strain = membrane + (0.5 * disc.face * t)[:, None, None] * curve
    out: Floats = disc.weights[:, None, None] * (disc.turn @ shell.q_mpa[disc.facets] @ strain)
    return out


def membrane_force(shell: Shell, t_mm: Floats, u: Floats) -> Floats:
    """N [11, 22, 12] per facet in N/mm, (m, 3), for one displacement (size,)."""
    _, plane, offset = shell.to_local
    local = u[shell.freedoms][:, :, None]
    middle = (plane + shell.offset(t_mm)[:, None, None] * offset) @ local
    out: Floats = t_mm[:, None] * (shell.q_mpa @ (shell.mean_strain @ middle))[:, :, 0]
    return out


def _only(shell: Shell, facets: Ints) -> bending.Bending:
    p = shell.parts
    return bending.Bending(
        p.generalised[facets],
        p.bend[facets],
        p.shear[facets],
        p.side_factor[facets],
        p.mean_side[facets],
    )
