"""Stress on one face, averaged over a disc, as a linear read-out of the displacement; its slopes.

Components, not peaks, are averaged: raw peaks diverge with the mesh, a disc of fixed radius does
not.

Plane sections do not stay plane where shear changes: soft shear warps the section. `refined` adds
what the warping does on a face, from the parabola of shear through the thickness [own derivation;
for an isotropic strip under an even load it is Timoshenko's sigma = 6M/t^2 + 0.1 q E/G]:

    strain = e0 + z k + S_ps tau + sym grad d,  d = -(z/5) S_ss tau + (t^2/12) S_sp Q k,

z = t/2 or -t/2, with tau the mean shear stress, k the curvature, S_ss and S_ps the compliance for
shear and its coupling with in-plane stress where the grain slopes in the facet.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.shell import bending
from graduale.shell.bending import SHEAR_FACTOR
from graduale.shell.facets import shape_gradients
from graduale.shell.model import Shell

_CENTRE = np.full(3, 1.0 / 3.0)


@dataclass(frozen=True, eq=False)
class Warped:
    """facets (k,) in and around a disc, on the disc's face (k,); reach (k, s, 2): averaged
    components by a unit of d [1, 2] in each; owner (k,): which disc, where several lie side by
    side."""

    facets: Ints
    face: Floats
    reach: Floats
    owner: Ints


@dataclass(frozen=True, eq=False)
class Disc:
    """facets (d,), weights (d,) summing to 1; face (d,) +1 on the n side, -1 on the other;
    turn (d, s, 3): stress in the facet [11, 22, 12] -> the components that are averaged.

    middle (d, 3): shares of the corners at the middle of what each facet has of the disc, None for
    the facets' own middles. warped: None for plane sections, else from `refined`.
    """

    facets: Ints
    weights: Floats
    face: Floats
    turn: Floats
    middle: Floats | None = None
    warped: Warped | None = None


def disc_of(
    shell: Shell, points: tuple[Ints, Floats], first: int, face: float, turn: Floats
) -> Disc:
    """A refined disc from sample points: their facets (p,) and shares (p, 3); `first` is added to
    the facet numbers; turn (d, s, 3) goes with the sorted facets."""
    facets, place, counts = np.unique(points[0], return_inverse=True, return_counts=True)
    middle = np.zeros((len(facets), 3))
    np.add.at(middle, place.ravel(), points[1])
    whole = np.full(len(facets), face)
    plain = Disc(facets + first, counts / counts.sum(), whole, turn, middle / counts[:, None])
    return refined(shell, plain)


def refined(shell: Shell, disc: Disc, owner: Ints | None = None) -> Disc:
    """The disc with the warping of sections; d is averaged to the nodes by area, then derived.

    owner (d,): which disc a facet belongs to, where several lie side by side in one.
    """
    facets, size = disc.facets, len(shell.nodes)
    own = np.zeros(len(facets), dtype=np.int64) if owner is None else owner
    grad, axes = shape_gradients(shell.corners[facets]), shell.triads[facets][:, :2]
    strain = np.zeros((len(facets), 3, 3, 2))  # corner, strain, d
    strain[:, :, 0, 0] = strain[:, :, 2, 1] = grad[:, :, 0]
    strain[:, :, 1, 1] = strain[:, :, 2, 0] = grad[:, :, 1]
    there = disc.weights[:, None, None] * (disc.turn @ shell.q_mpa[facets])
    by_corner = there[:, None] @ strain @ axes[:, None]
    keys, place = np.unique(own[:, None] * size + shell.triangles[facets], return_inverse=True)
    by_node = np.zeros((len(keys), disc.turn.shape[1], 3))
    np.add.at(by_node, place.ravel(), by_corner.reshape(-1, *by_corner.shape[2:]))
    smooth = shell.smoothing[keys % size].tocoo()
    pairs = (keys // size)[smooth.row] * len(shell.triangles) + smooth.col
    wide, spot = np.unique(pairs, return_inverse=True)
    inside = np.swapaxes(shell.triads[smooth.col][:, :2], 1, 2)
    reach = np.zeros((len(wide), disc.turn.shape[1], 2))
    np.add.at(reach, spot, smooth.data[:, None, None] * (by_node[smooth.row] @ inside))
    whose = wide // len(shell.triangles)
    face = disc.face[np.searchsorted(own, whose)]
    return replace(disc, warped=Warped(wide % len(shell.triangles), face, reach, whose))


def stress(shell: Shell, t_mm: Floats, disc: Disc, u: Floats) -> Floats:
    """Averaged components (s, k) in MPa for displacements (size, k)."""
    out = np.zeros((disc.turn.shape[1], u.shape[1]))
    for facets, op, _, _ in operators(shell, t_mm, disc):
        out += np.einsum("dsj,djk->sk", op, u[shell.freedoms[facets]], optimize=True)
    return out


def pull_back(shell: Shell, t_mm: Floats, disc: Disc, weight: Floats) -> Floats:
    """d (weight . stress) / du, (size, k) for weights (s, k)."""
    out = np.zeros((shell.size, weight.shape[1]))
    for facets, op, _, _ in operators(shell, t_mm, disc):
        values = np.einsum("dsj,sk->djk", op, weight, optimize=True)
        np.add.at(out, shell.freedoms[facets], values)
    return out


def explicit_slopes(shell: Shell, t_mm: Floats, disc: Disc, u: Floats, weight: Floats) -> Floats:
    """d (weight . stress) / dt at fixed u, (m, k); weight (s, k), u (size, k)."""
    out = np.zeros((len(t_mm), u.shape[1]))
    for facets, _, slope, _ in operators(shell, t_mm, disc):
        local = u[shell.freedoms[facets]]
        here = np.einsum("dsj,djk,sk->dk", slope, local, weight, optimize=True)
        np.add.at(out, facets, here)
    return out


def operators(
    shell: Shell, t_mm: Floats, disc: Disc
) -> list[tuple[Ints, Floats, Floats, Ints | None]]:
    """Facets (d,), each one's share of the averaged components from its freedoms (d, s, 18), the
    slope of that by its thickness, and the owners (d,) of warped ones (None for the disc's)."""
    strain, slope = _face_strain(shell, t_mm, disc)
    turn = disc.weights[:, None, None] * (disc.turn @ shell.q_mpa[disc.facets])
    out: list[tuple[Ints, Floats, Floats, Ints | None]] = [
        (disc.facets, turn @ strain, turn @ slope, None)
    ]
    if disc.warped is not None:
        warped = disc.warped
        field, dfield = _warp_field(shell, t_mm, warped.facets, warped.face)
        out.append((warped.facets, warped.reach @ field, warped.reach @ dfield, warped.owner))
    return out


def side_by_side(discs: Sequence[Disc]) -> tuple[Disc, Ints, Ints]:
    """Several discs as one; the facets (r,) of the rows of its `operator` and whose they are (r,).
    Errors: ValueError for a disc of plane sections."""
    warped = [d.warped for d in discs if d.warped is not None and d.middle is not None]
    middles = [d.middle for d in discs if d.middle is not None]
    if not len(warped) == len(middles) == len(discs):
        raise ValueError("a disc of plane sections")
    count = np.arange(len(discs))
    own = np.repeat(count, [len(d.facets) for d in discs])
    around = np.repeat(count, [len(w.facets) for w in warped])
    whole = Disc(
        np.concatenate([d.facets for d in discs]),
        np.concatenate([d.weights for d in discs]),
        np.concatenate([d.face for d in discs]),
        np.concatenate([d.turn for d in discs]),
        np.concatenate(middles),
        Warped(
            np.concatenate([w.facets for w in warped]),
            np.concatenate([w.face for w in warped]),
            np.concatenate([w.reach for w in warped]),
            around,
        ),
    )
    assert whole.warped is not None
    facets = np.concatenate([whole.facets, whole.warped.facets])
    return whole, facets, np.concatenate([own, around])


def operator(shell: Shell, t_mm: Floats, disc: Disc) -> Floats:
    """Rows (r, s, 18) of all facets that a disc reads, its own first, then those of its warping."""
    return np.concatenate([op for _, op, _, _ in operators(shell, t_mm, disc)])


def _face_strain(shell: Shell, t_mm: Floats, disc: Disc) -> tuple[Floats, Floats]:
    """Strain on the face without grad d, and its slope by t, (d, 3, 18) each."""
    facets, t = disc.facets, t_mm[disc.facets]
    z, plane, offset = (part[facets] for part in shell.to_local)
    parts = shell.parts.only(facets)
    middle = np.tile(_CENTRE, (len(facets), 1)) if disc.middle is None else disc.middle
    curve, dcurve = bending.curvature_rows(parts, t, middle)
    mean, half = shell.mean_strain[facets], (0.5 * disc.face)[:, None, None]
    strain = half * t[:, None, None] * curve
    slope = half * (curve + t[:, None, None] * dcurve)
    if disc.warped is not None and shell.couple is not None:
        shear, dshear = bending.shear_rows(parts, t)
        to_strain = SHEAR_FACTOR * shell.couple[facets] @ shell.h_mpa[facets]
        strain, slope = strain + to_strain @ shear, slope + to_strain @ dshear
    shift = shell.offset(t_mm)[facets][:, None, None]
    dshift = (-0.5 * shell.outward[facets])[:, None, None]
    return strain @ z + mean @ (plane + shift * offset), slope @ z + dshift * (mean @ offset)


def _warp_field(shell: Shell, t_mm: Floats, facets: Ints, face: Floats) -> tuple[Floats, Floats]:
    """d [1, 2] of each facet from its freedoms, and its slope by t, (k, 2, 18) each."""
    t = t_mm[facets][:, None, None]
    parts, z = shell.parts.only(facets), shell.to_local[0][facets]
    shear, dshear = bending.shear_rows(parts, t_mm[facets])
    h_mpa = shell.h_mpa[facets]
    soft = np.broadcast_to(np.eye(2), h_mpa.shape)  # S_ss H
    even, deven = np.zeros((len(facets), 2, 6)), np.zeros((len(facets), 2, 6))
    if shell.couple is not None:
        back = np.swapaxes(shell.couple[facets], 1, 2) @ shell.q_mpa[facets]
        soft = soft + 2.0 / 3.0 * back @ shell.couple[facets] @ h_mpa
        middle = np.tile(_CENTRE, (len(facets), 1))
        curve, dcurve = bending.curvature_rows(parts, t_mm[facets], middle)
        even = t**2 / 12.0 * (back @ curve)
        deven = back @ (t / 6.0 * curve + t**2 / 12.0 * dcurve)
    odd = -0.1 * SHEAR_FACTOR * face[:, None, None] * soft
    field = odd @ (t * shear) + even
    slope = odd @ (shear + t * dshear) + deven
    return field @ z, slope @ z


def membrane_force(shell: Shell, t_mm: Floats, u: Floats) -> Floats:
    """N [11, 22, 12] per facet in N/mm, (m, 3), for one displacement (size,)."""
    _, plane, offset = shell.to_local
    local = u[shell.freedoms][:, :, None]
    middle = (plane + shell.offset(t_mm)[:, None, None] * offset) @ local
    out: Floats = t_mm[:, None] * (shell.q_mpa @ (shell.mean_strain @ middle))[:, :, 0]
    return out
