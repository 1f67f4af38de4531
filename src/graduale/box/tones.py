"""The plate alone, held nowhere: its tap tones and their names."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats, GridMap
from graduale.box import meshing, parts
from graduale.box.plate import PlateBody, PlateShell, ThicknessAt, lift, without_openings
from graduale.geometry.grid import plate_grid
from graduale.records.instrument import Instrument
from graduale.shell.modes import Modes, free_modes
from graduale.shell.patch import locate
from graduale.shell.structure import Structure

OVERLAP = 0.7  # least share of a mode's motion that its named shape must explain
_LEAST_CROSS = 0.12  # of the motion: below it a bending along is no X and no ring
_QUIET = 0.08  # of the greatest motion: sign changes of less are not counted


@dataclass(frozen=True, eq=False)
class FreePlate:
    """A plate by itself: its shell, structure (with the bar if asked)."""

    plate: PlateShell
    structure: Structure

    def thickness(self, field: ThicknessAt) -> Floats:
        """Nodal thickness (n,)."""
        return field(self.plate.inside_xy)

    def modes(self, field: ThicknessAt, count: int = 8) -> Modes:
        """First free modes."""
        t = self.thickness(field)
        return free_modes(self.structure.stiffness(t), self.structure.mass(t), count)

    def mass_g(self, field: ThicknessAt) -> float:
        """Plate with what is glued to it, g."""
        return self.structure.mass_g(self.thickness(field))


def free_plate(
    instrument: Instrument,
    body: PlateBody,
    nominal: ThicknessAt,
    size_mm: float,
    *,
    openings: bool = True,
    bar: bool = True,
    hole_mm: float | None = None,
) -> FreePlate:
    """Builds one plate held nowhere; the bar only on the top and only if there is one. hole_mm:
    edges beside the soundholes, as elsewhere when None."""
    used = body if openings or not body.openings else without_openings(body)
    with_bar = bar and body.which == "top" and instrument.bar.present
    meshed = meshing.mesh_for_box(instrument, used, None, size_mm, bar=with_bar, hole_mm=hole_mm)
    plate = lift(used, meshed.mesh, nominal, np.zeros(len(meshed.mesh.xy)))
    return FreePlate(plate, parts.lone_structure(instrument.bar, plate, meshed.bar))


@dataclass(frozen=True, eq=False)
class Tone:
    """One tap tone: hertz, name, the overlap that the name rests on, motion on a grid (node lines
    at 0)."""

    hz: float
    name: str
    overlap: float
    motion: GridMap


def tones(
    free: FreePlate, field: ThicknessAt, count: int = 8, grid_mm: float = 4.0
) -> tuple[Tone, ...]:
    """The first tap tones with names by shape."""
    found = free.modes(field, count)
    plate = free.plate
    weight = free.structure.averaging.T @ (free.structure.shell.surface * plate.t_ref)
    out = []
    for k, w in enumerate(motion_of(plate, found).T):
        name, overlap = name_of(plate.mesh.xy, w, weight, plate.body)
        out.append(Tone(float(found.hz[k]), name, overlap, _on_grid(plate, w, grid_mm)))
    return tuple(out)


def motion_of(plate: PlateShell, found: Modes) -> Floats:
    """Motion (n, k) of every mode square to the outside."""
    shapes = found.shapes.reshape(len(plate.nodes), 6, -1)
    out: Floats = np.einsum("nik,ni->nk", shapes[:, :3], plate.normals)
    return out


def name_of(xy: Floats, w: Floats, weight: Floats, body: PlateBody) -> tuple[str, float]:
    """Name of a motion w (n,) at places xy (n, 2) with weights (n,): by overlap with plain shapes.

    twist: x y. X: x2 and y2 bent against each other. ring: bent the same way. Rigid motion is
    taken out of the shapes first. Below the overlap: node lines across and along, 'm,n'.
    """
    x, y = (
        v / np.sqrt(weight @ v**2 / weight.sum()) for v in (_centred(xy[:, 0], weight), xy[:, 1])
    )
    rigid = np.column_stack([np.ones_like(x), x, y])
    twist = _free_of(rigid, (x * y)[:, None], weight)
    bent = _free_of(rigid, np.column_stack([x * x, y * y]), weight)
    total = float(weight @ w**2)
    share, _ = _explained(twist, w, weight, total)
    if share >= OVERLAP:
        return "twist", share
    share, amounts = _explained(bent, w, weight, total)
    sizes = [float(weight @ (a * bent[:, i]) ** 2) / total for i, a in enumerate(amounts)]
    if share >= OVERLAP and min(sizes) >= _LEAST_CROSS:
        return ("X" if amounts[0] * amounts[1] < 0.0 else "ring"), share
    return node_lines(xy, w, body), share


def node_lines(xy: Floats, w: Floats, body: PlateBody) -> str:
    """Greatest number of node lines crossed going along and going across, 'm,n'."""
    ends = xy[:, 0].min(), xy[:, 0].max()
    along = max(_crossings_along(xy, w, body, share, ends) for share in (-0.6, 0.0, 0.6))
    across = max(_crossings_across(xy, w, body, s, ends) for s in np.linspace(0.12, 0.88, 9))
    return f"{along},{across}"


def _crossings_along(
    xy: Floats, w: Floats, body: PlateBody, share: float, ends: tuple[float, float]
) -> int:
    x = np.linspace(ends[0] + 4.0, ends[1] - 4.0, 60)
    bass, treble = body.outline.half_widths(x)
    y = share * (bass if share >= 0.0 else treble)
    return _sign_changes(_nearest(xy, w, np.column_stack([x, y])), w)


def _crossings_across(
    xy: Floats, w: Floats, body: PlateBody, place: float, ends: tuple[float, float]
) -> int:
    x = ends[0] + place * (ends[1] - ends[0])
    bass, treble = (float(v[0]) for v in body.outline.half_widths(np.array([x])))
    y = np.linspace(-treble + 2.0, bass - 2.0, 31)
    return _sign_changes(_nearest(xy, w, np.column_stack([np.full_like(y, x), y])), w)


def _nearest(xy: Floats, w: Floats, points: Floats) -> Floats:
    gap, near = cKDTree(xy).query(points, k=3)
    pull = 1.0 / (np.asarray(gap) + 0.5)
    out: Floats = (w[near] * pull).sum(axis=1) / pull.sum(axis=1)
    return out


def _sign_changes(values: Floats, w: Floats) -> int:
    loud = values[np.abs(values) > _QUIET * np.abs(w).max()]
    return int(np.sum(np.sign(loud[1:]) != np.sign(loud[:-1])))


def _centred(v: Floats, weight: Floats) -> Floats:
    out: Floats = v - weight @ v / weight.sum()
    return out


def _free_of(rigid: Floats, shapes: Floats, weight: Floats) -> Floats:
    root = np.sqrt(weight)[:, None]
    solved = np.linalg.lstsq(root * rigid, root * shapes, rcond=None)[0]
    out: Floats = shapes - rigid @ solved
    return out


def _explained(shapes: Floats, w: Floats, weight: Floats, total: float) -> tuple[float, Floats]:
    root = np.sqrt(weight)
    amounts: Floats = np.asarray(np.linalg.lstsq(root[:, None] * shapes, root * w, rcond=None)[0])
    return float(weight @ (shapes @ amounts) ** 2) / total, amounts


def _on_grid(plate: PlateShell, w: Floats, step_mm: float) -> GridMap:
    grid = plate_grid(plate.body.outline, step_mm)
    facet, shares = locate(plate.mesh.xy, plate.mesh.triangles, grid.points)
    values = np.einsum("pc,pc->p", shares, w[plate.mesh.triangles[facet]])
    return grid.map_of(values / np.abs(w).max())
