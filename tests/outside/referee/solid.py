"""The referee: a carved plate as cubic solid prisms, solved with NGSolve (LGPL).

The plate is a block of wood whose grain stays fixed; prisms run from the outside to the
inside face. Only the outline, the arching and the plane mesh are shared with the shell. Lengths mm,
forces N, MPa, density t/mm3.
"""

from collections.abc import Callable
from dataclasses import dataclass

import netgen.meshing as nm
import ngsolve as ng
import numpy as np
from scipy.sparse.linalg import LinearOperator, eigsh

from graduale.base.arrays import Floats, Ints

ng.SetNumThreads(1)  # its waiting threads would fight with the other test worker
Thickness = Callable[[Floats], Floats]
Surfaces = Callable[[Floats], tuple[Floats, Floats]]
_GRID_MM = 0.5
SHIFT = (2 * np.pi * 60.0) ** 2  # keeps the free plate regular
PAIRS = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))


def turned_stiffness(compliance: Floats, axes: Floats) -> Floats:
    """Stiffness (6, 6) in x, y, z from board compliance (6, 6), by turning C_ijkl index by index.

    axes rows L, R, T in x, y, z; order [xx, yy, zz, yz, xz, xy], engineering shear strains.
    """
    board = np.linalg.inv(compliance)
    full = np.zeros((3, 3, 3, 3))
    for i, (a, b) in enumerate(PAIRS):
        for j, (c, d) in enumerate(PAIRS):
            for p, q in {(a, b), (b, a)}:
                for r, s in {(c, d), (d, c)}:
                    full[p, q, r, s] = board[i, j]
    turned = np.einsum("ai,bj,ck,dl,abcd->ijkl", axes, axes, axes, axes, full)
    return np.array([[turned[a, b, c, d] for c, d in PAIRS] for a, b in PAIRS])


@dataclass(frozen=True, eq=False)
class Prisms:
    """xy (n, 2) outside nodes in plan; outer, inner (n, 3); triangles (m, 3); edges as rings."""

    xy: Floats
    outer: Floats
    inner: Floats
    triangles: Ints
    rings: tuple[Ints, ...]


def carve(xy: Floats, triangles: Ints, rings: tuple[Ints, ...], arching, thickness: Thickness):
    """Outside on the arching; inside the shortest thickness below it, read at the inside point."""
    normal, height = arching.normal(xy), arching.height(xy)
    inside = xy
    for _ in range(8):
        t = np.minimum(thickness(inside), height)
        inside = xy - t[:, None] * normal[:, :2]
    outer = np.column_stack([xy, height])
    return Prisms(xy, outer, outer - t[:, None] * normal, triangles, rings)


def solid_mesh(prisms: Prisms, pressed: Ints) -> ng.Mesh:
    """One layer of prisms, flat and of thickness 1: `bend_to` shapes it. Faces: 'pressed' outside,
    'under' it inside (facets `pressed`), the rest 'outside', 'inside' and 'rim'."""
    mesh = nm.Mesh(dim=3)
    names = ("outside", "pressed", "inside", "rim", "under")
    for k, name in enumerate(names, start=1):
        mesh.Add(nm.FaceDescriptor(surfnr=k, domin=1, bc=k))
        mesh.SetBCName(k - 1, name)
    low = [mesh.Add(nm.MeshPoint(nm.Pnt(x, y, 0.0))) for x, y in prisms.xy.tolist()]
    high = [mesh.Add(nm.MeshPoint(nm.Pnt(x, y, 1.0))) for x, y in prisms.xy.tolist()]
    mark = set(pressed.tolist())
    for k, (a, b, c) in enumerate(prisms.triangles.tolist()):
        mesh.Add(nm.Element3D(1, [low[a], low[b], low[c], high[a], high[b], high[c]]))
        mesh.Add(nm.Element2D(2 if k in mark else 1, [high[a], high[b], high[c]]))
        mesh.Add(nm.Element2D(5 if k in mark else 3, [low[a], low[c], low[b]]))
    for ring in prisms.rings:
        for a, b in zip(ring.tolist(), np.roll(ring, -1).tolist(), strict=True):
            mesh.Add(nm.Element2D(4, [low[a], low[b], high[b], high[a]]))
    mesh.SetMaterial(1, "wood")
    return ng.Mesh(mesh)


def bend_to(mesh: ng.Mesh, prisms: Prisms, surfaces: Surfaces, order: int = 3) -> None:
    """Curves the prisms to the true faces. `surfaces` gives outer and inner points (n, 3) of plan
    points (n, 2); flat prisms of 10 mm make a plate 2 % too soft."""
    low, high = prisms.xy.min(axis=0) - _GRID_MM, prisms.xy.max(axis=0) + _GRID_MM
    count = np.ceil((high - low) / _GRID_MM).astype(int) + 1
    high = low + (count - 1) * _GRID_MM
    x, y = (low[i] + _GRID_MM * np.arange(count[i]) for i in range(2))
    grid = np.stack(np.meshgrid(x, y, indexing="xy"), axis=-1).reshape(-1, 2)
    outer, inner = surfaces(grid)
    box = ((*low, -1.0), (*high, 2.0))

    def field(values: Floats) -> ng.CoefficientFunction:
        plane = values.reshape(1, count[1], count[0])
        return ng.VoxelCoefficient(*box, np.concatenate([plane, plane]), linear=True)

    flat = (ng.x, ng.y, ng.z)
    parts = [
        ng.z * field(outer[:, i]) + (1.0 - ng.z) * field(inner[:, i]) - flat[i] for i in range(3)
    ]
    gf = ng.GridFunction(ng.VectorH1(mesh, order=order))
    gf.Set(ng.CoefficientFunction(tuple(parts)))
    mesh.SetDeformation(gf)


@dataclass(frozen=True, eq=False)
class Solid:
    """Displacement of degree `order` on the prisms, with stiffness and mass.

    Cubic: wood shears so easily across the grain that quadratic prisms read 0.3 to 1 % high. Stress
    asks for degree 4: cubic prisms read it 13 % high across the grain under a foot.
    read (p, 2): plan points of the outside; stress is averaged on the inside below them.
    """

    prisms: Prisms
    mesh: ng.Mesh
    stiffness: Floats
    density: float
    order: int = 3
    read: Floats | None = None

    def _forms(self, space, shift: float = 0.0):
        u, v = space.TnT()
        material = ng.CoefficientFunction(tuple(self.stiffness.ravel()), dims=(6, 6))
        stiff = ng.BilinearForm(space, symmetric=True)
        stiff += (material * _voigt(u)) * _voigt(v) * ng.dx
        if shift:
            stiff += shift * self.density * u * v * ng.dx
        mass = ng.BilinearForm(space, symmetric=True)
        mass += self.density * u * v * ng.dx
        return stiff, mass

    def middle(self, gf) -> Floats:
        """Displacement (n, 3) at mid-depth of the prism columns, mean of both faces' nodes."""
        count = len(self.prisms.xy)
        parts = [c.vec.FV().NumPy()[: 2 * count] for c in gf.components]
        whole = np.column_stack(parts)
        return 0.5 * (whole[:count] + whole[count:])

    def free_modes(self, count: int) -> tuple[Floats, Floats]:
        """Hz (count,) and mid-depth shapes (count, n, 3) of the plate held nowhere."""
        space = ng.VectorH1(self.mesh, order=self.order)
        stiff, mass = self._forms(space, shift=SHIFT)
        with ng.TaskManager():
            stiff.Assemble()
            mass.Assemble()
            inverse = stiff.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
        lam, vectors = eigsh(
            _operator(stiff.mat),
            k=6 + count,
            M=_operator(mass.mat),
            sigma=0.0,
            OPinv=_operator(inverse),
            v0=np.cos(np.arange(space.ndof)),
        )
        order = np.argsort(lam)[6:]
        one, shapes = ng.GridFunction(space), []
        for k in order.tolist():
            one.vec.FV().NumPy()[:] = vectors[:, k]
            shapes.append(self.middle(one))
        return np.sqrt(lam[order] - SHIFT) / (2 * np.pi), np.array(shapes)

    def press(self, force_n: Floats) -> "Pressed":
        """Rim held, `force_n` (3,) spread evenly over the face 'pressed'."""
        space = ng.VectorH1(self.mesh, order=self.order, dirichlet="rim")
        stiff, _ = self._forms(space)
        v = space.TestFunction()
        face = self.mesh.Boundaries("pressed")
        area = ng.Integrate(1.0, self.mesh, definedon=face)
        load = ng.LinearForm(space)
        traction = ng.CoefficientFunction(tuple(float(f) / area for f in force_n))
        load += traction * v * ng.ds("pressed")
        gf = ng.GridFunction(space)
        with ng.TaskManager():
            stiff.Assemble()
            load.Assemble()
            inverse = stiff.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
            gf.vec.data = inverse * load.vec
        faces = [self._mean(gf, name) for name in ("pressed", "under")]
        material = ng.CoefficientFunction(tuple(self.stiffness.ravel()), dims=(6, 6))
        if self.read is None:
            raise ValueError("no points to read stress at")
        stress = (material * _voigt(gf))(self.mesh(*self.read.T, np.full(len(self.read), 1e-9)))
        return Pressed(faces[0], faces[1], np.asarray(stress).mean(axis=0))

    def _mean(self, field, faces: str) -> Floats:
        face = self.mesh.Boundaries(faces)
        area = ng.Integrate(1.0, self.mesh, definedon=face)
        return np.array(ng.Integrate(field, self.mesh, definedon=face)) / area


@dataclass(frozen=True, eq=False)
class Pressed:
    """Mean motion (3,) of the pressed face and of the inside face under it, mm; stress (6,): mean
    over the points that are read, [xx, yy, zz, yz, xz, xy] MPa."""

    outside: Floats
    inside: Floats
    stress: Floats


def board_stress(stress: Floats, axes: Floats) -> Floats:
    """[xx, yy, zz, yz, xz, xy] -> [LL, RR, TT, RT, LT, LR] for board axes rows L, R, T."""
    tensor = np.zeros((3, 3))
    for value, (a, b) in zip(stress, PAIRS, strict=True):
        tensor[a, b] = tensor[b, a] = value
    turned = axes @ tensor @ axes.T
    return np.array([turned[a, b] for a, b in PAIRS])


def _operator(matrix) -> LinearOperator:
    """An NGSolve matrix or inverse as an operator on plain vectors."""
    inside, outside = matrix.CreateColVector(), matrix.CreateColVector()

    def product(x: Floats) -> Floats:
        inside.FV().NumPy()[:] = x.ravel()
        with ng.TaskManager():
            outside.data = matrix * inside
        return outside.FV().NumPy().copy()

    return LinearOperator((matrix.height, matrix.height), matvec=product, dtype=float)


def _voigt(u):
    g = ng.Grad(u)
    return ng.CoefficientFunction(
        (g[0, 0], g[1, 1], g[2, 2], g[1, 2] + g[2, 1], g[0, 2] + g[2, 0], g[0, 1] + g[1, 0])
    )
