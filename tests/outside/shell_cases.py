"""Small meshes, supports and moduli for the handbook cases of the shell kernel.

Lengths, forces and moduli are those of each case in one consistent set (mm, N, MPa, t/mm3 or else).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.shell.facets import area, triads_of
from graduale.shell.model import Links, Shell
from graduale.shell.modes import free_modes
from graduale.shell.solver import factor_held
from graduale.shell.stress import Disc, stress

ALL = (0, 1, 2, 3, 4, 5)
X_PLANE, Y_PLANE, Z_PLANE = (0, 4, 5), (1, 3, 5), (2, 3, 4)  # held on a plane of symmetry


@dataclass(frozen=True, eq=False)
class Mesh:
    """u (n, 2): parameters of the nodes on a rectangle; triangles (m, 3)."""

    u: Floats
    triangles: Ints

    def where(self, test: Callable[[Floats, Floats], Floats]) -> Ints:
        """Nodes for which test(u, v) holds."""
        return np.flatnonzero(test(self.u[:, 0], self.u[:, 1]))

    def nearest(self, u: float, v: float) -> int:
        """Node nearest to a parameter point."""
        return int(np.argmin(np.hypot(self.u[:, 0] - u, self.u[:, 1] - v)))


def grid(u: Floats, v: Floats) -> Mesh:
    """Rectangle of nodes at u x v, cells split by diagonals that alternate (no preferred way)."""
    nu, nv = len(u), len(v)
    nodes = np.column_stack([np.repeat(u, nv), np.tile(v, nu)])
    triangles = []
    for i in range(nu - 1):
        for j in range(nv - 1):
            a, b, c, d = i * nv + j, (i + 1) * nv + j, (i + 1) * nv + j + 1, i * nv + j + 1
            if (i + j) % 2:
                triangles += [(a, b, d), (b, c, d)]
            else:
                triangles += [(a, b, c), (a, c, d)]
    return Mesh(nodes, np.array(triangles))


def rectangle(a: float, b: float, nu: int, nv: int) -> Mesh:
    """0..a x 0..b in nu x nv cells."""
    return grid(np.linspace(0.0, a, nu + 1), np.linspace(0.0, b, nv + 1))


def disc_mesh(radius: float, rings: int) -> Mesh:
    """A disc: 6 k nodes on ring k."""
    nodes, start, triangles = [(0.0, 0.0)], [0], []
    for k in range(1, rings + 1):
        start.append(len(nodes))
        angle = np.arange(6 * k) * np.pi / (3 * k)
        nodes += [(radius * k / rings * np.cos(t), radius * k / rings * np.sin(t)) for t in angle]
    for k in range(1, rings + 1):
        inner, outer = max(6 * (k - 1), 1), 6 * k
        for s in range(6):
            for q in range(k):
                o1 = start[k] + (s * k + q) % outer
                o2 = start[k] + (s * k + q + 1) % outer
                i1 = start[k - 1] + (s * (k - 1) + q) % inner
                triangles.append((i1, o1, o2))
                if q < k - 1:
                    i2 = start[k - 1] + (s * (k - 1) + q + 1) % inner
                    triangles.append((i1, o2, i2))
    return Mesh(np.array(nodes), np.array(triangles))


def isotropic(e: float, nu: float) -> tuple[Floats, Floats]:
    """Plane stress (3, 3) and transverse shear (2, 2) moduli."""
    d, g = e / (1.0 - nu * nu), e / (2.0 * (1.0 + nu))
    return np.array([[d, nu * d, 0], [nu * d, d, 0], [0, 0, g]]), g * np.eye(2)


def orthotropic(
    ex: float, ey: float, gxy: float, nu_xy: float, gxz: float = 1e9, gyz: float = 1e9
) -> tuple[Floats, Floats]:
    """Plane stress and transverse shear moduli; without the latter a thin plate."""
    nu_yx = nu_xy * ey / ex
    d = 1.0 - nu_xy * nu_yx
    q = [[ex / d, nu_xy * ey / d, 0], [nu_xy * ey / d, ey / d, 0], [0, 0, gxy]]
    return np.array(q), np.diag([gxz, gyz])


def shell_of(
    nodes: Floats,
    triangles: Ints,
    moduli: tuple[Floats, Floats],
    thickness: float,
    density: float = 1e-9,
    toward: tuple[float, float, float] | None = None,
) -> tuple[Shell, Floats]:
    """A shell of one thickness and one material, whose x axis lies along `toward`; t (m,)."""
    xyz = nodes if nodes.shape[1] == 3 else np.column_stack([nodes, np.zeros(len(nodes))])
    count = len(triangles)
    guide = None if toward is None else np.asarray(toward)
    q, h = (np.broadcast_to(m, (count, *m.shape)).copy() for m in moduli)
    t = np.full(count, thickness)
    shell = Shell(
        xyz,
        triangles,
        triads_of(xyz, triangles, guide),
        q,
        h,
        np.full(count, density),
        t,
        np.zeros(count),
        Links.none(len(xyz)),
    )
    return shell, t


def freedoms(nodes: Ints, which: tuple[int, ...] = ALL) -> Ints:
    """Freedom numbers of nodes."""
    return (6 * np.asarray(nodes)[:, None] + np.asarray(which)[None, :]).ravel()


def held(*pairs: tuple[Ints, tuple[int, ...]]) -> Ints:
    """All freedoms of (nodes, which) pairs."""
    return np.unique(np.concatenate([freedoms(n, w) for n, w in pairs]))


def solve(shell: Shell, t: Floats, fixed: Ints, load: Floats) -> Floats:
    """Displacements (n, 6)."""
    return factor_held(shell.stiffness(t), fixed).solve(load).reshape(-1, 6)


def spread(shell: Shell, force: tuple[float, float, float]) -> Floats:
    """Nodal forces of a force per area, a third of each facet to each corner."""
    load = np.zeros((len(shell.nodes), 6))
    third = area(shell.corners)[:, None] / 3.0 * np.asarray(force)
    for corner in range(3):
        np.add.at(load[:, :3], shell.triangles[:, corner], third)
    return load.ravel()


def at_node(shell: Shell, node: int, force: tuple[float, float, float]) -> Floats:
    """Nodal forces of a force on one node."""
    load = np.zeros((len(shell.nodes), 6))
    load[node, :3] = force
    return load.ravel()


def along_edge(shell: Shell, nodes: Ints, force: tuple[float, float, float]) -> Floats:
    """A total force spread evenly along a chain of nodes."""
    xyz = shell.nodes[nodes]
    gap = np.linalg.norm(np.diff(xyz, axis=0), axis=1)
    share = np.zeros(len(nodes))
    share[:-1] += gap / 2
    share[1:] += gap / 2
    load = np.zeros((len(shell.nodes), 6))
    load[nodes, :3] = share[:, None] / gap.sum() * np.asarray(force)
    return load.ravel()


def facet_stress(shell: Shell, t: Floats, u: Floats, face: float, facets: Ints) -> Floats:
    """Stress [11, 22, 12] in facets' own axes on a face (+1, -1, 0 the middle), (k, 3)."""
    out = []
    for f in facets:
        disc = Disc(np.array([f]), np.ones(1), np.array([face]), np.eye(3)[None])
        out.append(stress(shell, t, disc, u.reshape(-1, 1))[:, 0])
    return np.array(out)


def stress_at(
    shell: Shell, t: Floats, u: Floats, face: float, point: Floats, count: int = 14
) -> Floats:
    """Stress at a point by a quadratic fit through the facets nearest to it, all in one plane."""
    centres = shell.nodes[shell.triangles].mean(axis=1)
    away = centres - point
    near = np.argsort(np.linalg.norm(away, axis=1))[:count]
    local = np.einsum("ij,kj->ki", shell.triads[near[0], :2], away[near])
    x, y = (local / np.abs(local).max()).T
    basis = np.column_stack([np.ones(count), x, y, x * x, x * y, y * y])
    values = facet_stress(shell, t, u, face, near)
    return np.linalg.lstsq(basis, values, rcond=None)[0][0]


def hertz(shell: Shell, t: Floats, count: int, fixed: Ints | None = None) -> Floats:
    """Lowest frequencies of a shell that is free (fixed None) or held."""
    k, m = shell.stiffness(t), shell.mass(t)
    if fixed is None:
        return free_modes(k, m, count).hz
    keep = np.ones(shell.size, dtype=bool)
    keep[fixed] = False
    index = np.flatnonzero(keep)
    return free_modes(k[index][:, index].tocsc(), m[index][:, index].tocsc(), count, rigid=0).hz
