"""Patches: a load spread over a small area or line, and the mean motion of the same area.

A patch is a set of points on facets with weights. Its rows give mean displacement and mean rotation
(least squares) from the freedoms; the transposed rows spread a force and a moment over it without
changing either (so equilibrium in force and moment is kept exactly).
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, Ints
from graduale.shell.model import Shell, cross_matrix

_CANDIDATES = 16
_TREES: deque[tuple[Floats, Ints, cKDTree]] = deque(maxlen=4)
_TINY = 1e-12


@dataclass(frozen=True, eq=False)
class Patch:
    """rows (6, size): mean displacement and rotation; place (3,): the weighted middle, mm."""

    rows: "sp.csr_matrix"
    place: Floats

    def load(self, force: Floats, moment: Floats | None = None) -> Floats:
        """Nodal forces (size,) of a force and a moment about `place`."""
        pair = np.concatenate([force, np.zeros(3) if moment is None else moment])
        out: Floats = self.rows.T @ pair
        return out

    def load_at(self, force: Floats, point: Floats, moment: Floats | None = None) -> Floats:
        """Nodal forces of a force acting at `point` (3,), with an own moment beside it."""
        extra = np.cross(point - self.place, force)
        return self.load(force, extra if moment is None else extra + moment)


def patch_of(shell: Shell, corner_nodes: Ints, shares: Floats, weights: Floats) -> Patch:
    """From points on facets: corner_nodes (p, 3), shares (p, 3) summing to 1, weights (p,)."""
    weight = weights / weights.sum()
    points = np.einsum("pc,pci->pi", shares, shell.nodes[corner_nodes])
    place = weight @ points
    arms = points - place
    square = np.einsum("pi,pi->p", arms, arms)
    inertia = np.einsum("p,p,ij->ij", weight, square, np.eye(3))
    inertia -= np.einsum("p,pi,pj->ij", weight, arms, arms)
    turn = np.linalg.pinv(inertia) @ np.einsum("p,pij->pij", weight, cross_matrix(arms))
    local = np.concatenate([np.einsum("p,ij->pij", weight, np.eye(3)), turn], axis=1)
    return Patch(_scatter(shell, corner_nodes, shares, local), place)


def node_patch(shell: Shell, nodes: Ints, weights: Floats) -> Patch:
    """A patch of whole nodes (k,) with weights (k,)."""
    corners = np.stack([nodes, nodes, nodes], axis=1)
    shares = np.tile([1.0, 0.0, 0.0], (len(nodes), 1))
    return patch_of(shell, corners, shares, weights)


def _scatter(shell: Shell, corners: Ints, shares: Floats, local: Floats) -> "sp.csr_matrix":
    """local (p, 6, 3) on point displacements -> (6, size) on master freedoms."""
    masters, arms = shell.links.master[corners], shell.links.arm[corners]
    count = len(corners)
    lever = np.zeros((count, 3, 3, 6))
    lever[..., :3] = np.eye(3)
    lever[..., 3:] = -cross_matrix(arms.reshape(-1, 3)).reshape(count, 3, 3, 3)
    motion = shares[:, :, None, None] * lever
    motion[..., 3:] += _bow(shell.nodes[corners], shares)
    values = np.einsum("pai,pcij->pcaj", local, motion, optimize=True)
    cols = np.broadcast_to(6 * masters[:, :, None, None] + np.arange(6), (count, 3, 6, 6))
    rows = np.broadcast_to(np.arange(6)[:, None], (count, 3, 6, 6))
    flat = (values.ravel(), (rows.ravel(), cols.ravel()))
    return sp.csr_matrix(flat, shape=(6, shell.size))


def _bow(xyz: Floats, shares: Floats) -> Floats:
    """Displacement of points from the corners' rotations as the facet bends, (p, 3, 3, 3).

    Along a side it is a parabola: w = sum_i l_i w_i + 1/2 sum_ij l_i l_j L (w'_i - w'_j), with w'
    the slope along the side, which the rotations give. A rigid motion bows nothing.
    """
    normal = np.cross(xyz[:, 1] - xyz[:, 0], xyz[:, 2] - xyz[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), _TINY)
    out = np.zeros((len(xyz), 3, 3, 3))
    for i, j in ((0, 1), (1, 2), (2, 0)):
        slope = np.cross(xyz[:, j] - xyz[:, i], normal)  # n . (theta x s) = theta . (s x n)
        part = 0.5 * (shares[:, i] * shares[:, j])[:, None, None] * normal[:, :, None]
        out[:, i] += part * slope[:, None, :]
        out[:, j] -= part * slope[:, None, :]
    return out


def locate(xy: Floats, triangles: Ints, points: Floats) -> tuple[Ints, Floats]:
    """Facet (p,) and shares (p, 3) of plane points (p, 2); a point outside takes the nearest facet.

    Shares of outside points are clipped to the facet, so a patch at an edge keeps its weight.
    """
    corners = xy[triangles]
    near = min(_CANDIDATES, len(triangles))
    found = _middles(xy, triangles).query(points, k=near)[1].reshape(len(points), near)
    lam = _barycentric(corners[found], points[:, None, :])
    best = lam.min(axis=2).argmax(axis=1)
    rows = np.arange(len(points))
    shares = np.clip(lam[rows, best], 0.0, None)
    return found[rows, best], shares / shares.sum(axis=1, keepdims=True)


def _middles(xy: Floats, triangles: Ints) -> cKDTree:
    """The tree of facet middles; those of the last few meshes are kept, known by identity."""
    for known_xy, known, tree in _TREES:
        if known_xy is xy and known is triangles:
            return tree
    tree = cKDTree(xy[triangles].mean(axis=1))
    if not (xy.flags.writeable or triangles.flags.writeable):  # frozen: they stay what they are
        _TREES.append((xy, triangles, tree))
    return tree


def _barycentric(corners: Floats, points: Floats) -> Floats:
    """corners (..., 3, 2), points (..., 2) -> (..., 3)."""
    a, b, c = corners[..., 0, :], corners[..., 1, :], corners[..., 2, :]
    ab, ac, d = b - a, c - a, points - a
    det = ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0]
    u = (d[..., 0] * ac[..., 1] - d[..., 1] * ac[..., 0]) / det
    v = (ab[..., 0] * d[..., 1] - ab[..., 1] * d[..., 0]) / det
    out: Floats = np.stack([1.0 - u - v, u, v], axis=-1)
    return out
