"""The plates that shell and referee both compute: outline, arching, board, thickness rule."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.plate import PlateBody, PlateShell, lift
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.mesh import PlateMesh, mesh_plate
from graduale.geometry.outline import Outline, outline_of
from graduale.records.instrument import ArchShape, Body, Inside, WoodChoice
from graduale.shell.model import Links, Shell
from graduale.shell.modes import free_modes
from graduale.shell.patch import locate, patch_of
from graduale.shell.solver import factor_held
from graduale.shell.stress import disc_of, stress
from graduale.wood.material import Wood, board_axes, facet_stiffness, wood_of
from tests.outside.referee.solid import Solid, bend_to, carve, solid_mesh, turned_stiffness

BOARD = WoodChoice("european_spruce", ring_angle_deg=8.0, runout_deg=3.0, one_piece=True)
DISC_MM = 6.0


@dataclass(frozen=True, eq=False)
class Plate:
    """A carved plate; `foot` is the middle of a bridge foot, `foot_size` goes along x and y."""

    body: Body
    arch: ArchShape
    centre_mm: float
    field_mm: float
    foot: tuple[float, float]
    foot_size: tuple[float, float]
    press_n: float = 30.0

    def thickness(self, xy: Floats) -> Floats:
        """Thicker round the bridge: shortest thickness (n,) at inside points."""
        along = (xy[:, 0] - self.foot[0]) / (0.2 * self.body.length_mm)
        across = xy[:, 1] / (0.2 * self.body.lower_width_mm)
        return self.field_mm + (self.centre_mm - self.field_mm) * np.exp(-(along**2) - across**2)

    @cached_property
    def outline(self) -> Outline:
        return outline_of(self.body)

    @cached_property
    def arching(self) -> Arching:
        return arching_of(self.arch, self.outline)

    @cached_property
    def wood(self) -> Wood:
        return wood_of(BOARD, "referee")

    @cached_property
    def axes(self) -> Floats:
        return board_axes(BOARD.ring_angle_deg, BOARD.runout_deg, "top", "bass", True)

    @cached_property
    def force(self) -> Floats:
        """The press (3,) N, square to the outside."""
        return -self.press_n * self.arching.normal(np.array([self.foot]))[0]

    def mesh(self, size_mm: float, fine_mm: float, *, foot_line: bool) -> PlateMesh:
        """Plane mesh, finer at the foot; with the foot's edge as mesh edges for the solid."""
        half = 0.5 * np.array(self.foot_size)
        ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * half + self.foot
        refine = ((*self.foot, 12.0, fine_mm),)
        lines = [ring] if foot_line else []
        return mesh_plate(self.outline.xy, (), size_mm, fixed_lines=lines, refine=refine)

    def solid(self, size_mm: float, fine_mm: float, order: int = 3) -> Solid:
        """The referee's model; its columns stand on `solid.prisms.xy`."""
        mesh = self.mesh(size_mm, fine_mm, foot_line=True)
        prisms = carve(mesh.xy, mesh.triangles, (mesh.outline_nodes,), self.arching, self.thickness)
        away = mesh.xy[mesh.triangles].mean(axis=1) - self.foot
        pressed = np.flatnonzero(np.all(np.abs(away) < 0.5 * np.array(self.foot_size), axis=1))
        solids = solid_mesh(prisms, pressed)
        bend_to(solids, prisms, self.surfaces)
        return Solid(
            prisms,
            solids,
            turned_stiffness(self.wood.compliance(), self.axes),
            self.wood.density_kg_m3 * 1e-12,
            order,
            disc_points() + self.foot,
        )

    def surfaces(self, xy: Floats) -> tuple[Floats, Floats]:
        """Outer and inner points (n, 3)."""
        whole = carve(xy, np.empty((0, 3), dtype=np.int64), (), self.arching, self.thickness)
        return whole.outer, whole.inner

    def shell(self, size_mm: float) -> "PlateShellCase":
        """Our own model by the program's own path."""
        return self.shell_on(self.mesh(size_mm, min(4.0, size_mm), foot_line=False))

    def shell_on(self, mesh: PlateMesh) -> "PlateShellCase":
        """The same on a given mesh."""
        inside = Inside(5.0, 18.0, 2.0, 1.8)
        body = PlateBody("top", self.outline, self.arching, (), self.wood, BOARD, inside)
        plate = lift(body, mesh, self.thickness, np.zeros(len(mesh.xy)))
        shell = _shell(plate, plate.q_mpa, plate.h_mpa, plate.couple)
        return PlateShellCase(self, plate, shell)


def _shell(plate: PlateShell, q_mpa: Floats, h_mpa: Floats, couple: Floats) -> Shell:
    count = len(plate.triangles)
    return Shell(
        plate.nodes,
        plate.triangles,
        plate.triads,
        q_mpa,
        h_mpa,
        np.full(count, plate.density),
        plate.t_ref,
        np.ones(count),
        Links.none(len(plate.nodes)),
        couple,
    )


@dataclass(frozen=True, eq=False)
class PlateShellCase:
    """The shell of one plate."""

    plate: Plate
    lifted: PlateShell
    shell: Shell

    @property
    def t(self) -> Floats:
        return self.lifted.t_ref

    def draped(self) -> "PlateShellCase":
        """The wrong wood: grain bent along the arch, so that every facet has the flat stiffness."""
        flat = facet_stiffness(self.plate.wood, np.eye(3), np.eye(3)[None])
        q, h = (np.repeat(m, len(self.t), axis=0) for m in flat)
        return replace(self, shell=_shell(self.lifted, q, h, np.zeros((len(q), 3, 2))))

    def free_modes(self, count: int) -> tuple[Floats, Floats]:
        """Hz (count,) and nodal displacements (count, n, 3)."""
        found = free_modes(self.shell.stiffness(self.t), self.shell.mass(self.t), count)
        return found.hz, found.shapes.T.reshape(count, -1, 6)[:, :, :3]

    def at(self, shapes: Floats, xy: Floats) -> Floats:
        """Displacements (k, p, 3) at plan points (p, 2)."""
        mesh = self.lifted.mesh
        facet, shares = locate(mesh.xy, mesh.triangles, xy)
        return np.einsum("pc,kpci->kpi", shares, shapes[:, mesh.triangles[facet]])

    def press(self) -> tuple[float, Floats]:
        """Rim clamped: mean motion of the foot along the press (mm) and the stress on the inside,
        board axes (6,), over the facets of a disc of 6 mm."""
        mesh, plate = self.lifted.mesh, self.plate
        u_, v_ = np.meshgrid(np.linspace(-0.475, 0.475, 20), np.linspace(-0.475, 0.475, 20))
        points = np.column_stack([u_.ravel(), v_.ravel()]) * plate.foot_size + plate.foot
        facet, shares = locate(mesh.xy, mesh.triangles, points)
        foot = patch_of(self.shell, mesh.triangles[facet], shares, np.ones(len(points)))
        held = (6 * mesh.outline_nodes[:, None] + np.arange(6)).ravel()
        u = factor_held(self.shell.stiffness(self.t), held).solve(foot.load(plate.force))
        way = plate.force / np.linalg.norm(plate.force)
        return float((foot.rows @ u)[:3] @ way), self._stress(u)

    def _stress(self, u: Floats) -> Floats:
        mesh = self.lifted.mesh
        found = locate(mesh.xy, mesh.triangles, disc_points() + self.plate.foot)
        turn = self.lifted.board_turn(np.unique(found[0]))
        disc = disc_of(self.shell, found, 0, -1.0, turn)
        return stress(self.shell, self.t, disc, u[:, None])[:, 0]


def disc_points() -> Floats:
    """Points (p, 2) spread evenly over the disc that stress is averaged over."""
    angle = np.arange(60) * np.pi / 30
    rings = DISC_MM * np.sqrt((np.arange(20) + 0.5) / 20)
    return np.stack([np.outer(rings, f(angle)).ravel() for f in (np.cos, np.sin)], axis=1)


def overlap(mine: Floats, theirs: Floats) -> Floats:
    """Modal assurance (k, k) of displacement fields (k, p, 3) at the same points."""
    a, b = (s.reshape(len(s), -1) for s in (mine, theirs))
    cross = (a @ b.T) ** 2
    return cross / np.outer((a * a).sum(1), (b * b).sum(1))


VIOLIN = Plate(
    Body(355, 168, 112, 206, 290, 197, 73, 223, 143, 155, 185, 30, 30, 1.1, 2.5, 195),
    ArchShape(15.5, 4.0, 3.2, 7.0),
    3.5,
    2.6,
    (160.0, 15.0),
    (4.0, 11.0),
)
NARROW = Plate(
    Body(320, 84, 60, 108, 260, 178, 66, 201, 129, 78, 98, 22, 22, 1.0, 2.5, 176),
    ArchShape(13.0, 3.5, 2.9, 4.5),
    3.6,
    2.8,
    (144.0, 9.0),
    (3.0, 7.0),
)
