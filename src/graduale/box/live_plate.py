"""A free plate for a page on which a trial cut is dragged: tones at rest, a preview a frame.

Three meshes of the same plate: one that is solved at rest, a coarse one for the preview while the
cut moves, and a fine one solved once, whose tones set the scale of both others. The scale is kept
mode by mode while the map changes; how far it drifts is measured in benchmarks/README.md.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats, Ints
from graduale.box.build import disc_points
from graduale.box.cases import PRESS_RADIUS_MM
from graduale.box.plate import PlateBody, ThicknessAt
from graduale.box.tones import FreePlate, free_plate, motion_of
from graduale.records.instrument import Instrument
from graduale.shell.live import Heard, LiveShell, Slopes
from graduale.shell.modes import Modes, free_modes
from graduale.shell.patch import Patch, locate, node_patch, patch_of

REST_MM = 7.0
PREVIEW_MM = 14.0
TRUE_MM, TRUE_HOLE_MM = 3.5, 1.5
COUNT = 8
_LEAST_ALIKE = 0.5  # overlap of a mode with the fine one below which its scale is not its own


@dataclass(frozen=True, eq=False)
class Tapped:
    """Tones of one map: hz (c,), grams, the mode of the first map that each continues (c,) (-1 for
    a stranger); approximate: from the coarse mesh. heard: the answer on its mesh, not scaled."""

    hz: Floats
    mass_g: float
    origin: Ints
    approximate: bool
    heard: Heard

    @property
    def shapes(self) -> Floats:
        """(size, c) on the mesh that was solved."""
        return self.heard.shapes


@dataclass(frozen=True, eq=False)
class _Scaled:
    """One prepared mesh; scale (c,): fine tone over its own, for the modes of the first map."""

    free: FreePlate
    shell: LiveShell
    scale: Floats

    @staticmethod
    def of(free: FreePlate, t_nodes: Floats, truth: "_Truth", count: int) -> "_Scaled":
        shell = LiveShell.of(free.structure, t_nodes, count)
        return _Scaled(free, shell, truth.scale(free, shell.at(t_nodes).modes))

    def at(self, t_nodes: Floats, before: Tapped | None, grams: float, rough: bool) -> Tapped:
        heard = self.shell.at(t_nodes, None if before is None else before.heard)
        count = len(self.scale)
        known = (heard.follows >= 0) & (heard.follows < count)
        origin = np.where(known, heard.follows, -1)
        if before is not None:
            origin = np.where(known, before.origin[np.where(known, origin, 0)], -1)
        return Tapped(heard.hz * self.scales(origin), grams, origin, rough, heard)

    def scales(self, origin: Ints) -> Floats:
        """Scale of each mode (c,); a stranger takes the mean."""
        return np.where(origin >= 0, self.scale[np.maximum(origin, 0)], self.scale.mean())


@dataclass(frozen=True, eq=False)
class LivePlate:
    """A free plate, prepared. Thickness is given at `places` (n, 2), inside points in plan, mm."""

    rest: _Scaled
    coarse: _Scaled
    to_coarse: "sp.csr_matrix"

    @staticmethod
    def of(
        instrument: Instrument,
        body: PlateBody,
        field: ThicknessAt,
        *,
        openings: bool = True,
        bar: bool = True,
        size_mm: float = REST_MM,
        count: int = COUNT,
    ) -> "LivePlate":
        """Prepares a plate around a first map (a second or two; the only cold solutions).

        openings, bar: the state of the work, as in `free_plate`. Errors: Refused by the mesh.
        """

        def plate(size: float, hole: float | None = None) -> FreePlate:
            return free_plate(
                instrument, body, field, size, openings=openings, bar=bar, hole_mm=hole
            )

        truth = _Truth.of(plate(TRUE_MM, TRUE_HOLE_MM), field, count)
        rest, coarse = plate(size_mm), plate(PREVIEW_MM)
        between, t_nodes = _between(rest, coarse.plate.mesh.xy), rest.thickness(field)
        return LivePlate(
            _Scaled.of(rest, t_nodes, truth, count),
            _Scaled.of(coarse, between @ t_nodes, truth, count),
            between,
        )

    @property
    def places(self) -> Floats:
        """Where the thickness of each node is read, (n, 2)."""
        return self.rest.free.plate.inside_xy

    def at(self, t_nodes: Floats, before: Tapped | None = None) -> Tapped:
        """Tones at rest for thickness t_nodes (n,) mm, warm from the last `at`.

        The tones of this mesh lie within 1e-6 of a cold solution on it (relative).
        """
        return self.rest.at(t_nodes, before, self._grams(t_nodes), rough=False)

    def preview(self, t_nodes: Floats, before: Tapped | None = None) -> Tapped:
        """The same from the coarse mesh, warm from the last `preview`; marked approximate."""
        return self.coarse.at(self.to_coarse @ t_nodes, before, self._grams(t_nodes), rough=True)

    def gradient(
        self, tapped: Tapped, modes: Sequence[int] = (0, 1, 2), load: Floats | None = None
    ) -> Slopes:
        """Exact slopes at every node of some tones of an `at`, in Hz/mm (k, n), and of the
        compliance under a balanced load (size,), see `press`."""
        found = self.rest.shell.gradient(tapped.heard, modes, load)
        scale = self.rest.scales(tapped.origin)[list(modes)]
        return Slopes(found.hz * scale[:, None], found.compliance, found.compliance_slope)

    def press(self, x_mm: float, y_mm: float) -> Floats:
        """Nodal forces (size,): 1 N inward on a disc of 15 mm, borne along the plate's edge."""
        plate, shell = self.rest.free.plate, self.rest.free.structure.shell
        points = disc_points(x_mm, y_mm, PRESS_RADIUS_MM)
        facet, shares = locate(plate.mesh.xy, plate.triangles, points)
        disc = patch_of(shell, plate.triangles[facet], shares, np.ones(len(points)))
        inward = np.array([0.0, 0.0, -plate.body.outward])
        rim = _edge(self.rest.free)
        out: Floats = disc.load(inward) + rim.load_at(-inward, disc.place)
        return out

    def _grams(self, t_nodes: Floats) -> float:
        return self.rest.free.structure.mass_g(t_nodes)


@dataclass(frozen=True, eq=False)
class _Truth:
    """The fine plate: its places, motion across (n, c), tones."""

    free: FreePlate
    motion: Floats
    hz: Floats

    @staticmethod
    def of(free: FreePlate, field: ThicknessAt, count: int) -> "_Truth":
        t, s = free.thickness(field), free.structure
        found = free_modes(s.stiffness(t), s.mass(t), count + 4)
        return _Truth(free, motion_of(free.plate, found), found.hz)

    def scale(self, free: FreePlate, found: Modes) -> Floats:
        """Fine tone over the plate's own, paired by the likeness of their motion; 1 for a mode
        that none resembles."""
        mine = motion_of(free.plate, found)
        theirs = _between(self.free, free.plate.mesh.xy) @ self.motion
        alike = np.abs(_unit(mine).T @ _unit(theirs))
        best = alike.argmax(axis=1)
        ratio = self.hz[best] / found.hz
        return np.where(alike[np.arange(len(best)), best] > _LEAST_ALIKE, ratio, 1.0)


def _unit(columns: Floats) -> Floats:
    out: Floats = columns / np.linalg.norm(columns, axis=0)
    return out


def _between(free: FreePlate, xy: Floats) -> "sp.csr_matrix":
    """Values at places xy (k, 2) from values at the nodes of a plate, (k, n)."""
    mesh = free.plate.mesh
    facet, shares = locate(mesh.xy, mesh.triangles, xy)
    rows = np.repeat(np.arange(len(xy)), 3)
    entries = (shares.ravel(), (rows, mesh.triangles[facet].ravel()))
    return sp.csr_matrix(entries, shape=(len(xy), len(mesh.xy)))


def _edge(free: FreePlate) -> Patch:
    ring = free.plate.mesh.outline_nodes
    around = free.plate.nodes[ring]
    gap = np.linalg.norm(np.roll(around, -1, axis=0) - around, axis=1)
    return node_patch(free.structure.shell, ring, 0.5 * (gap + np.roll(gap, 1)))
