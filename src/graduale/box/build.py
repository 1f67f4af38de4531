"""The closed box: two plates, ribs, blocks, linings, bar, post as one structure held at the mean
motion of the lower block."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp
import shapely

from graduale.base.arrays import Floats, Ints
from graduale.box import meshing, parts
from graduale.box.blocks import (
    Joints,
    Seat,
    Stack,
    layer_n_mm3,
    seat_points,
    section_of,
)
from graduale.box.plate import PlateBody, PlateShell, ThicknessAt, lift
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.beams import Beams
from graduale.shell.model import Links, Shell
from graduale.shell.patch import Patch, locate, node_patch, patch_of
from graduale.shell.structure import Structure

_PLATES: tuple[PlateName, PlateName] = ("top", "back")


@dataclass(frozen=True, eq=False)
class Box:
    """The joined body. Node order: top, back, ribs, blocks; freedoms six a node."""

    instrument: Instrument
    plates: Mapping[PlateName, PlateShell]
    ribs_line: Floats
    meshed: Mapping[PlateName, meshing.Meshed]
    structure: Structure
    blocks: Mapping[str, int]  # node of each block's mean motion
    joints: Joints
    post_rows: "sp.csr_matrix | None"

    @property
    def shell(self) -> Shell:
        """All facets."""
        return self.structure.shell

    def first_node(self, which: PlateName) -> int:
        """Where a plate's nodes start."""
        return 0 if which == "top" else len(self.plates["top"].nodes)

    def first_facet(self, which: PlateName) -> int:
        """Where a plate's facets start."""
        return 0 if which == "top" else len(self.plates["top"].triangles)

    @cached_property
    def held(self) -> Ints:
        """The six freedoms that are held: those of the lower block."""
        return 6 * self.blocks["lower block"] + np.arange(6)

    def thickness(self, fields: Mapping[PlateName, ThicknessAt]) -> Floats:
        """Nodal thickness (n,) of the whole structure from a thickness rule for each plate."""
        out = np.zeros(len(self.shell.nodes))
        for which in _PLATES:
            plate, start = self.plates[which], self.first_node(which)
            out[start : start + len(plate.nodes)] = fields[which](plate.inside_xy)
        return out

    def spot(self, which: PlateName, points: Floats, weights: Floats | None = None) -> Patch:
        """A patch of points in plan (p, 2) on one plate."""
        mesh = self.plates[which].mesh
        facet, shares = locate(mesh.xy, mesh.triangles, points)
        nodes = mesh.triangles[facet] + self.first_node(which)
        weight = np.ones(len(points)) if weights is None else weights
        return patch_of(self.shell, nodes, shares, weight)

    def rim(self, which: PlateName) -> Patch:
        """The rib line of one plate, weighted by length."""
        return self._rims[which]

    @cached_property
    def _rims(self) -> dict[PlateName, Patch]:
        ring = self.ribs_line
        gap = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
        weights = 0.5 * (gap + np.roll(gap, 1))
        return {
            w: node_patch(self.shell, self.meshed[w].rib + self.first_node(w), weights)
            for w in _PLATES
        }


def build_box(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    nominal: Mapping[PlateName, ThicknessAt],
    size_mm: float,
) -> Box:
    """Meshes, lifts and joins. `nominal` gives the thickness at which the middle surface is
    drawn."""
    ring = meshing.rib_ring(bodies["top"], instrument, size_mm)
    meshed, plates = {}, {}
    for which in _PLATES:
        bar = which == "top" and instrument.bar.present
        meshed[which] = meshing.mesh_for_box(instrument, bodies[which], ring, size_mm, bar=bar)
        mesh = meshed[which].mesh
        plane = (
            parts.rib_height(instrument, mesh.xy[:, 0])
            if which == "top"
            else np.zeros(len(mesh.xy))
        )
        plates[which] = lift(bodies[which], mesh, nominal[which], plane)
    return _join(instrument, bodies, plates, meshed, ring, size_mm)


def _join(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    plates: Mapping[PlateName, PlateShell],
    meshed: Mapping[PlateName, meshing.Meshed],
    ring: Floats,
    size_mm: float,
) -> Box:
    ribs = parts.ribs_of(instrument, ring, size_mm)
    corners = np.array(bodies["top"].outline.corners).reshape(-1, 2)
    regions = parts.block_regions(instrument, ring, corners)
    stacks = _stacks(instrument, regions, ring, ribs)
    nodes = np.concatenate(
        [plates["top"].nodes, plates["back"].nodes, ribs.nodes, *(s.nodes for s in stacks)]
    )
    tops, backs = len(plates["top"].nodes), len(plates["back"].nodes)
    first_rib = tops + backs
    first_block = first_rib + len(ribs.nodes)
    starts = first_block + (ribs.rows + 1) * np.arange(len(stacks))
    links = _links(nodes, plates, meshed, ribs, regions, (tops, first_rib, first_block))
    shell, fixed = _shell(nodes, plates, ribs, links, (tops, first_rib))
    beams: tuple[Beams, ...] = ()
    if instrument.bar.present:
        line = meshed["top"].bar
        beams = (parts.bar_beams(instrument.bar, plates["top"], line, nodes, links),)
    within = _within(instrument, ring)
    firsts = {"top": (0, starts + ribs.rows - 1), "back": (tops, starts)}
    seats = [
        _seat(plates[which], firsts[which][0], region.ring, within, int(node), stack)
        for which in _PLATES
        for region, stack, node in zip(regions, stacks, firsts[which][1], strict=True)
    ]
    joints = Joints(stacks, tuple(int(s) for s in starts), tuple(seats))
    middles = {s.name: int(start) + ribs.rows for s, start in zip(stacks, starts, strict=True)}
    structure = Structure(shell, fixed, beams, glued=joints.stiffness(nodes))
    return with_post(Box(instrument, plates, ring, meshed, structure, middles, joints, None))


def _stacks(
    instrument: Instrument, regions: tuple[parts.Region, ...], ring: Floats, ribs: parts.Ribs
) -> tuple[Stack, ...]:
    """Every block with a section at each level of the ribs."""
    wood = parts.species_wood(instrument.blocks.block_species, "blocks.block_species")
    within = _within(instrument, ring)
    out = []
    for region in regions:
        section = section_of(region.ring, within)
        height = parts.rib_height(instrument, section.middle[:1])
        out.append(Stack(region.name, section, ribs.levels * height, wood))
    return tuple(out)


def _within(instrument: Instrument, ring: Floats) -> shapely.Polygon:
    """What lies inside the ribs."""
    return shapely.Polygon(ring).buffer(-0.5 * instrument.body.rib_thickness_mm)


def _seat(
    plate: PlateShell, first: int, ring: Floats, within: shapely.Polygon, node: int, stack: Stack
) -> Seat:
    """A plate's seat on a block; `first`: the plate's first node, `node`: the section's."""
    points, area = seat_points(ring, within)
    facet, shares = locate(plate.mesh.xy, plate.mesh.triangles, points)
    layer = layer_n_mm3(stack.section, stack.wood)
    return Seat(plate.mesh.triangles[facet] + first, shares, node, area, layer)


def _links(
    nodes: Floats,
    plates: Mapping[PlateName, PlateShell],
    meshed: Mapping[PlateName, meshing.Meshed],
    ribs: parts.Ribs,
    regions: tuple[parts.Region, ...],
    starts: tuple[int, int, int],
) -> Links:
    """Rib edges hang on the plates, linings on the ribs; the rows between the edges hang on the
    sections of a block that they lie on."""
    tops, first_rib, first_block = starts
    master = np.arange(len(nodes))
    count = len(meshed["top"].rib)
    last = ribs.rows - 1
    master[first_rib:first_block] = first_rib + ribs.hung
    master[first_rib : first_rib + count] = tops + meshed["back"].rib
    master[first_rib + last * count : first_rib + ribs.rows * count] = meshed["top"].rib
    line = ribs.nodes[:count, :2]
    for i, region in enumerate(regions):
        area = shapely.Polygon(region.ring).buffer(0.05)
        inside = np.flatnonzero(shapely.contains_xy(area, line[:, 0], line[:, 1]))
        for k in range(1, last):
            master[first_rib + k * count + inside] = first_block + (ribs.rows + 1) * i + k
    hung = master[master[master]]
    return Links(hung, nodes - nodes[hung])


def _shell(
    nodes: Floats,
    plates: Mapping[PlateName, PlateShell],
    ribs: parts.Ribs,
    links: Links,
    starts: tuple[int, int],
) -> tuple[Shell, Floats]:
    top, back = plates["top"], plates["back"]
    tops, first_rib = starts
    sizes = (len(top.triangles), len(back.triangles), len(ribs.triangles))
    triangles = np.concatenate([top.triangles, back.triangles + tops, ribs.triangles + first_rib])
    shell = Shell(
        nodes,
        triangles,
        np.concatenate([top.triads, back.triads, ribs.triads]),
        np.concatenate([top.q_mpa, back.q_mpa, ribs.q_mpa]),
        np.concatenate([top.h_mpa, back.h_mpa, ribs.h_mpa]),
        np.concatenate([np.repeat([top.density, back.density], sizes[:2]), ribs.density]),
        np.concatenate([top.t_ref, back.t_ref, ribs.thickness]),
        np.repeat([1.0, -1.0, 0.0], sizes),
        links,
        np.concatenate([top.couple, back.couple, np.zeros((sizes[2], 3, 2))]),
    )
    carved = np.full(sizes[0] + sizes[1], np.nan)
    return shell, np.concatenate([carved, ribs.thickness])


def with_post(bare: Box) -> Box:
    """The box with its post set in; unchanged when it has none."""
    post = bare.instrument.post
    if not post.present:
        return bare
    points = disc_points(post.x_mm, post.y_mm, 0.5 * post.diameter_mm)
    ends = [bare.spot(which, points) for which in _PLATES]
    between = ends[0].place - ends[1].place
    gap = float(np.linalg.norm(between))
    # elongation along the line between both ends: no rigid motion of the body strains the post
    apart = ends[0].rows[:3] - ends[1].rows[:3]
    rows = sp.csr_matrix(sp.csr_matrix(between[None] / gap) @ apart)
    stiff = np.array([parts.post_spring(post, gap)])
    set_in = replace(bare.structure, spring_rows=rows, spring_n_mm=stiff)
    return replace(bare, structure=set_in, post_rows=rows)


def disc_points(x: float, y: float, radius: float, rings: int = 4) -> Floats:
    """Evenly spread points (p, 2) over a disc, equal shares of area."""
    out = [(x, y)]
    for k in range(1, rings + 1):
        r = radius * (k - 0.25) / rings
        angles = 2.0 * np.pi * np.arange(6 * k) / (6 * k)
        out += [(x + r * np.cos(a), y + r * np.sin(a)) for a in angles]
    return np.array(out)


def rect_points(x: float, y: float, along_x: float, along_y: float, parts_: int = 5) -> Floats:
    """Evenly spread points (p, 2) over a rectangle."""
    share = (np.arange(parts_) + 0.5) / parts_ - 0.5
    grid = np.stack(np.meshgrid(share * along_x, share * along_y, indexing="ij"), axis=-1)
    out: Floats = grid.reshape(-1, 2) + np.array([x, y])
    return out
