"""Blocks as upright elastic pieces: sections that stay plane, one at each level of the ribs.

Between its sections a block is a Timoshenko beam with the grain upright (common practice, no
source), its 12 x 12 stiffness written as six springs that no rigid motion strains (J. S.
Przemieniecki, Theory of Matrix Structural Analysis, 1968, ch. 5, from memory). The ribs hang on
the sections; the plates' inside faces are glued to the outer ones all over the block's footprint,
so that a plate hands its force over by its own shear, over a length and not at once. A plane
section cannot follow a traction that is uneven across it; a layer of springs at the seat does: the
slowest wave cos(pi x / d) of a half strip, E u_xx + G u_zz = 0, gives sqrt(E G) pi / d a unit of
area [own]. The solid model in tests/outside/referee shows why all this: blocks that are rigid hide
a fifth to a third of the rotation between them.
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
import shapely

from graduale.base.arrays import Floats, Ints
from graduale.shell.bending import SHEAR_FACTOR
from graduale.shell.model import cross_matrix
from graduale.wood.material import Wood

SEAT_STEP_MM = 1.5
TIE = 100.0  # of the block's own: its middle node follows its mean motion; adds 0.4 % of a turn


@dataclass(frozen=True, eq=False)
class Section:
    """The cross-section of a block: area mm2, middle (2,) in plan, second moments (2, 2) mm4 about
    it."""

    area: float
    middle: Floats
    second: Floats

    @property
    def polar(self) -> float:
        """Second moment about the upright axis, mm4."""
        return float(np.trace(self.second))

    @property
    def torsion(self) -> float:
        """Torsion constant A^4 / (40 I_p), mm4; Saint-Venant's rule, from memory."""
        return self.area**4 / (40.0 * self.polar)


@dataclass(frozen=True, eq=False)
class Stack:
    """One block: z (s,) of its sections from back to top; section; its wood."""

    name: str
    section: Section
    z: Floats
    wood: Wood

    @property
    def nodes(self) -> Floats:
        """Places of the sections and, last, of the middle node (s + 1, 3)."""
        heights = np.append(self.z, 0.5 * (self.z[0] + self.z[-1]))
        return np.column_stack([np.tile(self.section.middle, (len(heights), 1)), heights])


def layer_n_mm3(section: Section, wood: Wood) -> Floats:
    """Springs at the seat (3,) along x, y and upright, N/mm3."""
    wide = np.sqrt(12.0 * np.diag(section.second) / section.area)
    g_mpa = 0.5 * (wood.glr + wood.glt)
    across, upright = np.sqrt(wood.er * g_mpa), np.sqrt(wood.el * g_mpa)
    out: Floats = np.pi * np.array([across / wide[0], across / wide[1], upright / wide.min()])
    return out


def section_of(ring: Floats, within: shapely.Polygon) -> Section:
    """The part of a block's footprint `ring` (k, 2) that lies inside the ribs."""
    area = shapely.Polygon(ring).intersection(within)
    whole = max(getattr(area, "geoms", [area]), key=lambda part: float(part.area))
    x, y = np.asarray(whole.exterior.coords)[:, :2].T
    middle = np.array([whole.centroid.x, whole.centroid.y])
    a, b = np.column_stack([x, y])[:-1] - middle, np.column_stack([x, y])[1:] - middle
    cross = (a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]) * (1.0 if whole.exterior.is_ccw else -1.0)
    both = a + b
    second = np.einsum("k,ki,kj->ij", cross, a, a) + np.einsum("k,ki,kj->ij", cross, b, b)
    second += np.einsum("k,ki,kj->ij", cross, both, both)
    return Section(float(whole.area), middle, second / 24.0)


@dataclass(frozen=True, eq=False)
class Seat:
    """Where a plate is glued to a block: the plate's nodes round each point (p, 3), shares (p, 3),
    the section's node, the area of each point (mm2), and the layer's stiffness (3,) in N/mm3."""

    corners: Ints
    shares: Floats
    section: int
    area: float
    layer_n_mm3: Floats


@dataclass(frozen=True, eq=False)
class Joints:
    """All blocks of a box; first: the node of the lowest section of each, the others follow it."""

    stacks: tuple[Stack, ...]
    first: tuple[int, ...]
    seats: tuple[Seat, ...]

    def stiffness(self, nodes: Floats) -> "sp.csc_matrix":
        """Of blocks, their middle nodes and their seats, (size, size), nodes (n, 3) as they are."""
        size = 6 * len(nodes)
        out = sp.csc_matrix((size, size))
        for stack, start in zip(self.stacks, self.first, strict=True):
            out = out + _block(stack, start, nodes[start : start + len(stack.z), 2], size)
        for seat in self.seats:
            rows, stiff = _glued(seat, nodes)
            out = out + rows.T @ sp.diags_array(stiff) @ rows
        return sp.csc_matrix(out)


def _block(stack: Stack, start: int, z: Floats, size: int) -> "sp.csc_matrix":
    """Stiffness of one block whose sections now stand at z (s,)."""
    pieces = [_beam(stack, float(step)) for step in np.diff(z)]
    columns = [6 * (start + i) + np.arange(12) for i in range(len(pieces))]
    pieces.append(_tie(stack, z))
    columns.append(6 * start + np.arange(6 * (len(z) + 1)))
    out = sp.csc_matrix((size, size))
    for (rows, stiff), place in zip(pieces, columns, strict=True):
        local = rows.T @ (stiff[:, None] * rows)
        at = np.meshgrid(place, place, indexing="ij")
        out = out + sp.csc_matrix((local.ravel(), (at[0].ravel(), at[1].ravel())), (size, size))
    return sp.csc_matrix(out)


def _beam(stack: Stack, length: float) -> tuple[Floats, Floats]:
    """Six ways to strain a piece between two sections (6, 12), and their stiffness (6,)."""
    wood, section = stack.wood, stack.section
    g_mpa = 0.5 * (wood.glr + wood.glt)
    shear = SHEAR_FACTOR * g_mpa * section.area
    rows, stiff = np.zeros((6, 12)), np.zeros(6)
    for k, way, value in (
        (0, 2, wood.el * section.area),
        (1, 5, g_mpa * section.torsion),
    ):
        rows[k, way], rows[k, 6 + way] = -1.0, 1.0
        stiff[k] = value / length
    moments, ways = np.linalg.eigh(section.second)
    for k, (moment, way) in enumerate(zip(moments, ways.T, strict=True)):
        turn = np.array([-way[1], way[0]])  # a turn about it moves what lies above along `way`
        flex = wood.el * float(moment)
        bend, slide = rows[2 + 2 * k], rows[3 + 2 * k]
        bend[3:5], bend[9:11] = -turn, turn
        slide[0:2], slide[6:8] = -way, way
        slide[3:5] = slide[9:11] = -0.5 * length * turn
        phi = 12.0 * flex / (shear * length**2)
        stiff[2 + 2 * k : 4 + 2 * k] = flex / length, 12.0 * flex / ((1.0 + phi) * length**3)
    return rows, stiff


def _tie(stack: Stack, places: Floats) -> tuple[Floats, Floats]:
    """The middle node follows the mean motion of the block (least squares over its volume)."""
    section, z = stack.section, places - 0.5 * (places[0] + places[-1])
    count = len(z)
    step = np.diff(z)
    weight = np.zeros((count, count))  # of linear pieces between the sections
    for i, h in enumerate(step):
        weight[i : i + 2, i : i + 2] += h / 6.0 * np.array([[2.0, 1.0], [1.0, 2.0]])
    share, lever = weight.sum(axis=1), weight @ z
    flat = section.polar * np.eye(2) - section.second
    raw = np.zeros((6, count, 6))
    for k in range(3):
        raw[k, :, k] = section.area * share
    raw[3, :, 1], raw[4, :, 0] = -section.area * lever, section.area * lever
    raw[3:5, :, 3:5] = share[None, :, None] * flat[:, None, :]
    raw[5, :, 5] = section.polar * share
    rigid = np.tile(np.eye(6), (count, 1, 1))
    rigid[:, 0, 4], rigid[:, 1, 3] = z, -z
    seen = np.einsum("rsi,sij->rj", raw, rigid)
    mean = np.linalg.solve(seen, raw.reshape(6, -1))
    rows = np.hstack([-mean, np.eye(6)])
    height = float(z[-1] - z[0])
    push = TIE * stack.wood.el * section.area / height
    turn = TIE * stack.wood.el * section.polar / height
    return rows, np.repeat([push, turn], 3)


def seat_points(ring: Floats, within: shapely.Polygon) -> tuple[Floats, float]:
    """Points (p, 2) spread evenly over a footprint, and the area of each, mm2."""
    area = shapely.Polygon(ring).intersection(within)
    x0, y0, x1, y1 = area.bounds
    x, y = (np.arange(a + 0.5 * SEAT_STEP_MM, b, SEAT_STEP_MM) for a, b in ((x0, x1), (y0, y1)))
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    inside = grid[shapely.contains_xy(area, grid[:, 0], grid[:, 1])]
    return inside, float(area.area) / len(inside)


def _glued(seat: Seat, nodes: Floats) -> tuple["sp.csr_matrix", Floats]:
    count, middle = len(seat.corners), nodes[seat.section]
    on_plate = np.einsum("pc,pci->pi", seat.shares, nodes[seat.corners])
    face = np.column_stack([on_plate[:, :2], np.full(count, middle[2])])
    one = np.broadcast_to(np.eye(3), (count, 3, 3))
    mine = np.concatenate([one, -cross_matrix(face - on_plate)], axis=2)
    theirs = np.concatenate([-one, cross_matrix(face - middle)], axis=2)
    values = [seat.shares[:, c, None, None] * mine for c in range(3)] + [theirs]
    at = [seat.corners[:, c] for c in range(3)] + [np.full(count, seat.section)]
    columns = np.concatenate([6 * a[:, None] + np.arange(6) for a in at], axis=1)
    columns = np.broadcast_to(columns[:, None, :], (count, 3, 24))
    rows = np.broadcast_to(np.arange(3 * count).reshape(count, 3, 1), (count, 3, 24))
    flat = (np.concatenate(values, axis=2).ravel(), (rows.ravel(), columns.ravel()))
    return sp.csr_matrix(flat, shape=(3 * count, 6 * len(nodes))), np.tile(
        seat.area * seat.layer_n_mm3, count
    )
