"""Bar, post, ribs, blocks as pieces of the structure."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.plate import KG_M3, PlateShell
from graduale.geometry.seats import corner_seats
from graduale.records.instrument import Bar, Instrument, Post, WoodChoice
from graduale.shell.beams import Beams
from graduale.shell.facets import triads_of
from graduale.shell.model import Links, Shell
from graduale.shell.structure import Structure
from graduale.wood.material import Wood, facet_stiffness, wood_of


def bar_line(bar: Bar) -> Floats:
    """The bar's middle line in plan, lower end first, (2, 2)."""
    return np.array(
        [
            [bar.lower_end_x_mm, bar.lower_y_mm],
            [bar.lower_end_x_mm + bar.length_mm, bar.upper_y_mm],
        ]
    )


def bar_outline(bar: Bar) -> Floats:
    """The bar's footprint in plan, a ring (4, 2)."""
    ends = bar_line(bar)
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    side = 0.5 * bar.width_mm * np.array([-along[1], along[0]])
    return np.array([ends[0] - side, ends[1] - side, ends[1] + side, ends[0] + side])


def bar_height(bar: Bar, x_mm: Floats) -> Floats:
    """Height of the bar along x: a parabola from end to end, highest in the middle."""
    s = np.clip((x_mm - bar.lower_end_x_mm) / bar.length_mm, 0.0, 1.0)
    out: Floats = bar.end_height_mm + (bar.height_mm - bar.end_height_mm) * 4.0 * s * (1.0 - s)
    return out


def species_wood(species: str, where: str) -> Wood:
    """Table wood of a part of which nothing else is known."""
    return wood_of(WoodChoice(species), where)


def bar_beams(bar: Bar, plate: PlateShell, line: Ints, nodes: Floats, links: Links) -> Beams:
    """The bar along mesh nodes `line` (k,) of the plate; `nodes` are those of the whole structure.

    The bar sits on the inside face, which lies t - t_ref/2 below the facet nodes.
    """
    wood = species_wood(bar.species, "bar.species")
    pairs = np.stack([line[:-1], line[1:]], axis=1)
    inward = -plate.normals[pairs].mean(axis=1)
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    height = bar_height(bar, plate.mesh.xy[pairs][:, :, 0].mean(axis=1))
    lift0 = 0.5 * height - 0.5 * plate.t_ref_nodes[pairs].mean(axis=1)
    width = np.full(len(pairs), bar.width_mm)
    return Beams(
        nodes,
        pairs,
        inward,
        width,
        height,
        lift0,
        wood.el,
        wood.glt,
        wood.density_kg_m3 * KG_M3,
        links,
    )


def lone_structure(bar: Bar | None, plate: PlateShell, line: Ints) -> Structure:
    """A plate by itself as a structure; the bar along mesh nodes `line`, none when it is empty."""
    links, count = Links.none(len(plate.nodes)), len(plate.triangles)
    shell = Shell(
        plate.nodes,
        plate.triangles,
        plate.triads,
        plate.q_mpa,
        plate.h_mpa,
        np.full(count, plate.density),
        plate.t_ref,
        np.full(count, plate.body.outward),
        links,
        plate.couple,
    )
    if bar is None or len(line) == 0:
        return Structure(shell, np.full(count, np.nan))
    beams = (bar_beams(bar, plate, line, plate.nodes, links),)
    return Structure(shell, np.full(count, np.nan), beams)


@dataclass(frozen=True, eq=False)
class Region:
    """Nodes within `ring` (k, 2) in plan move with one rigid block centred at `place` (3,)."""

    name: str
    ring: Floats
    place: Floats


def block_regions(instrument: Instrument, rib_line: Floats, corners: Floats) -> tuple[Region, ...]:
    """Lower and upper end block (always there), then corner blocks if any; rib_line (k, 2) ring."""
    blocks = instrument.blocks
    half = 0.5 * blocks.end_width_mm
    low, high = rib_line[:, 0].min(), rib_line[:, 0].max()
    spans = {
        "lower block": (low - 1.0, low + blocks.end_depth_mm),
        "upper block": (high - blocks.end_depth_mm, high + 1.0),
    }
    regions = []
    for name, (start, end) in spans.items():
        ring = np.array([[start, -half], [end, -half], [end, half], [start, half]])
        middle = 0.5 * (start + end)
        height = 0.5 * rib_height(instrument, np.array([middle]))[0]
        regions.append(Region(name, ring, np.array([middle, 0.0, height])))
    if blocks.corner_depth_mm > 0.0:
        regions += _corner_regions(instrument, rib_line, corners)
    return tuple(regions)


def _corner_regions(instrument: Instrument, rib_line: Floats, corners: Floats) -> list[Region]:
    out = []
    seats = corner_seats(rib_line, [tuple(c) for c in corners], instrument.blocks.corner_depth_mm)
    for i, ring in enumerate(seats):
        x, y = ring.mean(axis=0)
        height = 0.5 * rib_height(instrument, np.array([x]))[0]
        out.append(Region(f"corner block {i + 1}", ring, np.array([x, y, height])))
    return out


def rib_height(instrument: Instrument, x_mm: Floats) -> Floats:
    """Rib height at x: straight from the lower to the upper end."""
    body = instrument.body
    share = np.clip(x_mm / body.length_mm, 0.0, 1.0)
    out: Floats = body.rib_height_lower_mm + share * (
        body.rib_height_upper_mm - body.rib_height_lower_mm
    )
    return out


@dataclass(frozen=True, eq=False)
class Ribs:
    """Ribs and linings: nodes (n, 3), first the ribs' rows from back to top, then the linings'.

    levels (rows,): share of the rib height of each row; hung (n,): the rib node that each node
    moves with (itself on the ribs); triangles on the nodes with triads, moduli, thickness, density.
    """

    nodes: Floats
    levels: Floats
    hung: Ints
    triangles: Ints
    triads: Floats
    q_mpa: Floats
    h_mpa: Floats
    thickness: Floats
    density: Floats

    @property
    def rows(self) -> int:
        """Rows of rib nodes."""
        return len(self.levels)


@dataclass(frozen=True, eq=False)
class _Strip:
    """A strip on rows of nodes: triangles, triads, moduli."""

    triangles: Ints
    triads: Floats
    q_mpa: Floats
    h_mpa: Floats


def ribs_of(instrument: Instrument, rib_line: Floats, longest_mm: float) -> Ribs:
    """Ribs on a closed rib line (k, 2); the first row lies in the back's plane, the last in the
    top's. The grain runs along the ribs.

    Linings are strips of their own wood on the ribs' inside, glued: they move with the rib nodes
    beside them as one rigid arm, so that rib and lining bend as one laminate.
    """
    height = rib_height(instrument, rib_line[:, 0])
    levels = _levels(instrument, float(height.max()), longest_mm)
    count = len(rib_line)
    nodes = np.concatenate([np.column_stack([rib_line, share * height]) for share in levels])
    pairs = np.stack([np.arange(len(levels) - 1), np.arange(1, len(levels))], axis=1)
    wood = wood_of(instrument.rib_wood, "wood.ribs")
    strips = [_strip(nodes, pairs, rib_line, wood)]
    thick, density = [instrument.body.rib_thickness_mm], [wood.density_kg_m3 * KG_M3]
    hung = np.arange(len(nodes))
    wide = instrument.blocks.lining_width_mm
    if wide > 0.0:
        last = len(levels) - 1
        rows = np.array([0, 1, last - 1, last])
        beside = (rows[:, None] * count + np.arange(count)).ravel()
        inward = -0.5 * (wide + instrument.body.rib_thickness_mm) * _outward(rib_line)
        shifted = nodes[beside] + np.pad(np.tile(inward, (4, 1)), ((0, 0), (0, 1)))
        first = last + 1
        nodes, hung = np.concatenate([nodes, shifted]), np.concatenate([hung, beside])
        lining = species_wood(instrument.blocks.lining_species, "blocks.lining_species")
        pairs = np.array([[first, first + 1], [first + 2, first + 3]])
        strips.append(_strip(nodes, pairs, rib_line, lining))
        thick.append(wide)
        density.append(lining.density_kg_m3 * KG_M3)
    sizes = [len(s.triangles) for s in strips]
    return Ribs(
        nodes,
        levels,
        hung,
        np.concatenate([s.triangles for s in strips]),
        np.concatenate([s.triads for s in strips]),
        np.concatenate([s.q_mpa for s in strips]),
        np.concatenate([s.h_mpa for s in strips]),
        np.repeat(thick, sizes),
        np.repeat(density, sizes),
    )


def _strip(nodes: Floats, pairs: Ints, rib_line: Floats, wood: Wood) -> _Strip:
    """Facets between pairs of node rows (p, 2), the grain along the ring."""
    count = len(rib_line)
    ring = np.arange(count)
    after = np.roll(ring, -1)
    direction = np.column_stack([rib_line[after] - rib_line, np.zeros(count)])
    triangles = []
    for low, high in pairs.tolist():
        a, b = low * count + ring, low * count + after
        c, d = high * count + ring, high * count + after
        triangles += [np.stack([a, b, d], axis=1), np.stack([a, d, c], axis=1)]
    tri = np.concatenate(triangles)
    triads = triads_of(nodes, tri, np.tile(direction, (2 * len(pairs), 1)))
    return _Strip(tri, triads, *facet_stiffness(wood, triads, triads))


def _outward(ring: Floats) -> Floats:
    """Mitred normals (k, 2) of a counter-clockwise ring: at unit distance from both its sides."""
    run = np.roll(ring, -1, axis=0) - ring
    normal = np.column_stack([run[:, 1], -run[:, 0]]) / np.hypot(*run.T)[:, None]
    before = np.roll(normal, 1, axis=0)
    out: Floats = (normal + before) / (1.0 + np.sum(normal * before, axis=1))[:, None]
    return out


def _levels(instrument: Instrument, height: float, longest_mm: float) -> Floats:
    """Shares of the rib height at which rows of nodes lie."""
    lining = instrument.blocks.lining_height_mm if instrument.blocks.lining_width_mm > 0.0 else 0.0
    edge = min(lining / height, 0.4) if lining > 0.0 else 0.0
    parts = max(1, int(np.ceil((1.0 - 2.0 * edge) * height / longest_mm)))
    middle = np.linspace(edge, 1.0 - edge, parts + 1)
    return np.concatenate([[0.0], middle, [1.0]]) if edge > 0.0 else middle


def post_spring(post: Post, gap_mm: float) -> float:
    """Stiffness of the post along its length, N/mm."""
    wood = species_wood(post.species, "post.species")
    return wood.el * np.pi * (0.5 * post.diameter_mm) ** 2 / gap_mm
