"""A shell of flat facets with variable thickness, assembled with exact slopes.

Freedoms: six a node, (ux, uy, uz, rx, ry, rz) in global axes. Units N, mm, MPa; density t/mm3.

The facets lie on the middle surface of a nominal thickness `t_ref`; the outside stays put while
the plate is thinned, so the middle surface then lies (t - t_ref)/2 off the facet and the membrane
acts there. All facet matrices are fixed; thickness enters by scalar factors, hence exact slopes.

A node may hang on another by a rigid arm (`Links`): its motion is u + rotation x arm of its master.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats, Ints
from graduale.shell import bending, membrane
from graduale.shell.facets import area, corners_of


@dataclass(frozen=True, eq=False)
class Links:
    """For each of n nodes its master (n,) (itself when free) and the arm master -> node (n, 3)."""

    master: Ints
    arm: Floats

    @staticmethod
    def none(count: int) -> "Links":
        """Every node its own master."""
        return Links(np.arange(count), np.zeros((count, 3)))


@dataclass(frozen=True, eq=False)
class Shell:
    """Facets in space.

    nodes (n, 3) mm; triangles (m, 3); triads (m, 3, 3) rows e1, e2, n; q_mpa (m, 3, 3) and
    h_mpa (m, 2, 2) in the triads; density (m,) t/mm3; t_ref (m,) nominal thickness; outward (m,)
    +1 where n points to the fixed face, -1 where against it, 0 where the middle surface stays;
    couple (m, 3, 2) 1/MPa: strain [11, 22, 12] by unit shear stress [1n, 2n], None where there is
    none (only read-outs of stress use it).
    """

    nodes: Floats
    triangles: Ints
    triads: Floats
    q_mpa: Floats
    h_mpa: Floats
    density: Floats
    t_ref: Floats
    outward: Floats
    links: Links = field(repr=False)
    couple: Floats | None = None

    def of_wood(
        self, q_mpa: Floats, h_mpa: Floats, density: Floats, couple: Floats | None = None
    ) -> "Shell":
        """The same facets of another wood; what only their shape settles is taken over."""
        other = replace(self, q_mpa=q_mpa, h_mpa=h_mpa, density=density, couple=couple)
        shape = ("corners", "surface", "mean_strain", "masters", "pattern", "freedoms", "to_local")
        kept = [k for k in (*shape, "smoothing") if k in self.__dict__]
        other.__dict__.update({k: self.__dict__[k] for k in kept})
        return other

    def only(self, some: "slice | Ints") -> "Shell":
        """Some of the facets, on the same nodes."""
        out = Shell(
            self.nodes,
            self.triangles[some],
            self.triads[some],
            self.q_mpa[some],
            self.h_mpa[some],
            self.density[some],
            self.t_ref[some],
            self.outward[some],
            self.links,
            None if self.couple is None else self.couple[some],
        )
        out.__dict__["to_local"] = tuple(part[some] for part in self.to_local)
        return out

    @property
    def size(self) -> int:
        """Number of freedoms, those of hanging nodes included (their rows stay empty)."""
        return 6 * len(self.nodes)

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 2)."""
        return corners_of(self.nodes, self.triangles, self.triads)

    @cached_property
    def surface(self) -> Floats:
        """Facet areas (m,) mm2."""
        return area(self.corners)

    @cached_property
    def parts(self) -> bending.Bending:
        """Fixed bending parts."""
        return bending.bending_of(self.corners, self.q_mpa, self.h_mpa)

    @cached_property
    def membrane_unit(self) -> Floats:
        """Membrane stiffness for unit thickness (m, 9, 9)."""
        return membrane.stiffness(self.corners, self.q_mpa)

    @cached_property
    def mean_strain(self) -> Floats:
        """Mean membrane strain from local membrane freedoms (m, 3, 9)."""
        return membrane.strain_operator(self.corners)

    @cached_property
    def masters(self) -> Ints:
        """Master node of each facet corner (m, 3)."""
        return self.links.master[self.triangles]

    @cached_property
    def smoothing(self) -> "sp.csr_matrix":
        """(n, m): from values at facets to means at their nodes, weighted by area."""
        cols = np.repeat(np.arange(len(self.triangles)), 3)
        share = sp.csr_matrix(
            (self.surface[cols], (self.triangles.ravel(), cols)),
            shape=(len(self.nodes), len(self.triangles)),
        )
        total = np.maximum(np.asarray(share.sum(axis=1)).ravel(), 1e-12)
        return sp.csr_matrix(sp.diags_array(1.0 / total) @ share)

    @cached_property
    def to_local(self) -> tuple[Floats, Floats, Floats]:
        """From the 18 master freedoms of a facet: bending Z (m, 6, 18), membrane M and offset S
        (m, 9, 18)."""
        count = len(self.triangles)
        flex, plane, offset = (np.zeros((count, 9, 18)) for _ in range(3))
        for c in range(3):
            motion = self._corner_motion(c)  # (m, 6, 6) local u v w, theta xyz
            cols = slice(6 * c, 6 * c + 6)
            flex[:, 3 * c : 3 * c + 3, cols] = motion[:, [2, 3, 4]]
            plane[:, 3 * c : 3 * c + 3, cols] = motion[:, [0, 1, 5]]
            offset[:, 3 * c, cols] = motion[:, 4]
            offset[:, 3 * c + 1, cols] = -motion[:, 3]
        return self.parts.generalised @ flex, plane, offset

    def _corner_motion(self, corner: int) -> Floats:
        """Local motion of one corner from its master's freedoms, (m, 6, 6)."""
        node = self.triangles[:, corner]
        lever = np.zeros((len(node), 6, 6))
        lever[:, :3, :3] = lever[:, 3:, 3:] = np.eye(3)
        lever[:, :3, 3:] = -cross_matrix(self.links.arm[node])
        turn = np.zeros_like(lever)
        turn[:, :3, :3] = turn[:, 3:, 3:] = self.triads
        return turn @ lever

    def offset(self, t_mm: Floats) -> Floats:
        """Middle surface off the facet along n, (m,)."""
        return -0.5 * self.outward * (t_mm - self.t_ref)

    def facet_stiffness(self, t_mm: Floats) -> Floats:
        """(m, 18, 18) in master freedoms at facet thickness t (m,)."""
        z, plane, offset = self.to_local
        flex = _sandwich(z, bending.energies(self.parts, t_mm))
        at_middle = plane + self.offset(t_mm)[:, None, None] * offset
        return flex + t_mm[:, None, None] * _sandwich(at_middle, self.membrane_unit)

    @cached_property
    def pattern(self) -> "Pattern":
        """Where the facet matrices go."""
        return Pattern.of(self.freedoms, self.size)

    @cached_property
    def freedoms(self) -> Ints:
        """(m, 18) freedom numbers of each facet."""
        six = np.arange(6)
        return (6 * self.masters[:, :, None] + six).reshape(len(self.triangles), 18)

    def stiffness(self, t_mm: Floats) -> "sp.csc_matrix":
        """K (size, size) at facet thickness t (m,)."""
        return self.pattern.gather(self.facet_stiffness(t_mm))

    def mass(self, t_mm: Floats) -> "sp.csc_matrix":
        """Consistent mass (t), rotary inertia included; linear in-plane shape of all
        displacements."""
        return self.pattern.gather(self.facet_mass(t_mm))

    def facet_mass(self, t_mm: Floats) -> Floats:
        """(m, 18, 18) mass in master freedoms."""
        return self._mass_form(self.density * t_mm, self.density * t_mm**3 / 12.0)

    def facet_mass_slope(self, t_mm: Floats) -> Floats:
        """d facet_mass / dt."""
        return self._mass_form(self.density + 0.0 * t_mm, self.density * t_mm**2 / 4.0)

    def _mass_form(self, push: Floats, turn: Floats) -> Floats:
        motion = np.stack([self._corner_motion(c) for c in range(3)], axis=1)
        inertia = np.zeros((len(push), 6))
        inertia[:, :3], inertia[:, 3:] = push[:, None], turn[:, None]
        weighted = motion * (inertia * self.surface[:, None] / 12.0)[:, None, :, None]
        share = 1.0 + np.eye(3)
        blocks = np.einsum("mbki,mckj->mbcij", motion, weighted, optimize=True)
        blocks *= share[None, :, :, None, None]
        return np.ascontiguousarray(blocks.transpose(0, 1, 3, 2, 4)).reshape(-1, 18, 18)

    def translation_form(self, pair: Floats) -> Floats:
        """(m, 18, 18) of a form pair (m, 3, 3) between corners, the same for all three
        displacements."""
        whole = np.stack([self._corner_motion(c) for c in range(3)], axis=1)
        motion = whole[:, :, :3]
        blocks = np.einsum("mbki,mckj->mbcij", motion, motion, optimize=True)
        blocks *= pair[:, :, :, None, None]
        return np.ascontiguousarray(blocks.transpose(0, 1, 3, 2, 4)).reshape(-1, 18, 18)

    def gather(self, u: Floats) -> Floats:
        """Freedoms of each facet from vectors u (size,) or (size, k) -> (m, 18) or (m, 18, k)."""
        return u[self.freedoms]


@dataclass(frozen=True, eq=False)
class Pattern:
    """A fixed sparsity pattern: facet entries add up into one compressed matrix."""

    size: int
    indptr: Ints
    indices: Ints
    place: Ints

    @staticmethod
    def of(freedoms: Ints, size: int) -> "Pattern":
        """From (m, k) freedom numbers, six to a node in their order.

        Found from pairs of nodes, 36 times fewer than pairs of freedoms.
        """
        nodes, count = freedoms[:, ::6] // 6, size // 6
        corners = nodes.shape[1]
        column, row = np.repeat(nodes, corners, axis=1), np.tile(nodes, (1, corners))
        keys, pair = np.unique(column.ravel() * count + row.ravel(), return_inverse=True)
        rows, wide = keys % count, np.bincount(keys // count, minlength=count)
        first = np.concatenate([[0], np.cumsum(wide)])  # of each node's column of pairs
        six, owner = np.arange(6), keys // count
        indptr = np.concatenate([[0], np.cumsum(np.repeat(6 * wide, 6))])
        inner = 6 * (np.arange(len(keys)) - first[owner])
        start = 36 * first[owner] + inner
        at = start[:, None, None] + six[:, None] + 6 * wide[owner][:, None, None] * six
        indices = np.empty(36 * len(keys), dtype=freedoms.dtype)
        indices[at] = (6 * rows[:, None] + six)[:, :, None]
        spread = at[pair.reshape(len(nodes), corners, corners)]  # (m, column, row, i, j)
        place = spread.transpose(0, 2, 3, 1, 4).reshape(-1)
        return Pattern(size, indptr, indices, np.ascontiguousarray(place))

    def gather(self, blocks: Floats) -> "sp.csc_matrix":
        """Sum of facet blocks (m, k, k) as a (size, size) matrix."""
        data = np.bincount(self.place, weights=blocks.ravel(), minlength=len(self.indices))
        return sp.csc_matrix((data, self.indices, self.indptr), shape=(self.size, self.size))


def cross_matrix(v: Floats) -> Floats:
    """[v]x with [v]x a = v x a, (m, 3, 3)."""
    out = np.zeros((len(v), 3, 3))
    out[:, 0, 1], out[:, 0, 2] = -v[:, 2], v[:, 1]
    out[:, 1, 0], out[:, 1, 2] = v[:, 2], -v[:, 0]
    out[:, 2, 0], out[:, 2, 1] = -v[:, 1], v[:, 0]
    return out


def _sandwich(op: Floats, core: Floats) -> Floats:
    """op^T core op for each facet."""
    out: Floats = np.swapaxes(op, 1, 2) @ (core @ op)
    return out
