"""One plate: its outside, openings and wood; its middle surface as a shell."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.mesh import PlateMesh
from graduale.geometry.openings import soundholes_of
from graduale.geometry.outline import Outline, outline_of
from graduale.records.instrument import Inside, Instrument, PlateName, WoodChoice
from graduale.shell.facets import triads_of
from graduale.wood.material import Wood, facet_coupling, facet_stiffness, wood_of
from graduale.wood.rotate import board_axes, board_stress_map, to_body

KG_M3 = 1e-12  # t/mm3
ThicknessAt = Callable[[Floats], Floats]


@dataclass(frozen=True, eq=False)
class PlateBody:
    """One plate as it is known before its thickness: outside, openings (k, 2) rings, wood."""

    which: PlateName
    outline: Outline
    arching: Arching
    openings: tuple[Floats, ...]
    wood: Wood
    choice: WoodChoice
    inside: Inside

    @property
    def outward(self) -> float:
        """+1 for the top (outward is +z), -1 for the back."""
        return 1.0 if self.which == "top" else -1.0

    def board_axes(self, y_mm: Floats) -> Floats:
        """Board axes L, R, T in body coordinates (m, 3, 3) at places with these y (m,)."""
        c = self.choice
        halves = [
            to_body(
                board_axes(c.ring_angle_deg, c.runout_deg, self.which, s, c.one_piece), self.which
            )
            for s in ("bass", "treble")
        ]
        return np.where((y_mm >= 0.0)[:, None, None], halves[0], halves[1])


def plate_bodies(instrument: Instrument) -> dict[PlateName, PlateBody]:
    """Both plates of an instrument. Errors: Refused by geometry or wood."""
    outline = outline_of(instrument.body)
    out: dict[PlateName, PlateBody] = {}
    for which in ("top", "back"):
        plate = instrument.plate(which)
        arching = arching_of(plate.arch, outline)
        holes: tuple[Floats, ...] = ()
        if which == "top":
            holes = tuple(soundholes_of(instrument.soundholes, instrument.body, outline, arching))
        wood = wood_of(plate.wood, f"wood.{which}")
        out[which] = PlateBody(which, outline, arching, holes, wood, plate.wood, plate.inside)
    return out


def without_openings(body: PlateBody) -> PlateBody:
    """The same plate before the soundholes are cut."""
    return PlateBody(
        body.which, body.outline, body.arching, (), body.wood, body.choice, body.inside
    )


@dataclass(frozen=True, eq=False)
class PlateShell:
    """A plate's facets on the middle surface of a nominal thickness, in the body frame.

    nodes (n, 3); inside_xy (n, 2): where each node's thickness is read; t_ref_nodes (n,);
    triads (m, 3, 3); axes (m, 3, 3) board axes; q_mpa, h_mpa, couple (m, 3, 2); density t/mm3.
    """

    body: PlateBody
    mesh: PlateMesh
    nodes: Floats
    inside_xy: Floats
    normals: Floats
    t_ref_nodes: Floats
    triads: Floats
    axes: Floats
    q_mpa: Floats
    h_mpa: Floats
    couple: Floats

    @property
    def triangles(self) -> Ints:
        """(m, 3)."""
        return self.mesh.triangles

    @cached_property
    def t_ref(self) -> Floats:
        """Nominal thickness of the facets (m,)."""
        out: Floats = self.t_ref_nodes[self.triangles].mean(axis=1)
        return out

    @property
    def density(self) -> float:
        """t/mm3."""
        return self.body.wood.density_kg_m3 * KG_M3

    @cached_property
    def centres(self) -> Floats:
        """Facet centres in plan (m, 2), on the outside point."""
        out: Floats = self.mesh.xy[self.triangles].mean(axis=1)
        return out

    def board_turn(self, facets: Ints) -> Floats:
        """(d, 6, 3): facet stress [11, 22, 12] -> board stress [LL, RR, TT, RT, LT, LR]."""
        return board_stress_map(self.axes[facets], self.triads[facets])[:, :, :3]


def lift(body: PlateBody, mesh: PlateMesh, nominal: ThicknessAt, plane_z: Floats) -> PlateShell:
    """Puts a plane mesh on the middle surface of `nominal` (shortest thickness at inside points).

    plane_z (n,): z of the gluing plane under each node. A mesh node is the outside point; the
    middle surface lies t/2 and the inside face t along the normal below it.
    """
    height = body.arching.height(mesh.xy)
    normal = body.arching.normal(mesh.xy)
    t_ref = np.clip(nominal(mesh.xy), 0.3, np.maximum(height, 0.3))
    inside = mesh.xy - t_ref[:, None] * normal[:, :2]
    t_ref = np.clip(nominal(inside), 0.3, np.maximum(height, 0.3))
    inside = mesh.xy - t_ref[:, None] * normal[:, :2]
    outer = np.column_stack([mesh.xy, plane_z + body.outward * height])
    normals = normal * np.array([1.0, 1.0, body.outward])
    nodes = outer - 0.5 * t_ref[:, None] * normals
    triads = triads_of(nodes, mesh.triangles, np.array([1.0, 0.0, 0.0]))
    axes = body.board_axes(mesh.xy[mesh.triangles][:, :, 1].mean(axis=1))
    q_mpa, h_mpa = facet_stiffness(body.wood, axes, triads)
    couple = facet_coupling(body.wood, axes, triads)
    return PlateShell(body, mesh, nodes, inside, normals, t_ref, triads, axes, q_mpa, h_mpa, couple)
