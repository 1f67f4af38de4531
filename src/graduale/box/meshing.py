"""Meshes of both plates that share the nodes of the rib line; finer where stress is read."""

from collections import deque
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.parts import bar_line
from graduale.box.plate import PlateBody
from graduale.geometry.curves import resample_ring
from graduale.geometry.mesh import PlateMesh, mesh_plate
from graduale.records.instrument import Instrument

DECIDING_MM = 8.0
WIDEST_SETTLED_MM, FINEST_SETTLED_MM = 5.0, 3.5
SETTLED_SHARE = 1.0 / 26.0  # of the lower bout's width
FINE_MM = 3.0
FINE_REACH_MM = 12.0
Refine = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class Meshed:
    """mesh; rib (k,) nodes on the rib line in ring order; bar (b,) nodes along the bar or empty."""

    mesh: PlateMesh
    rib: Ints
    bar: Ints


_Facts = tuple[float, bool, bytes | None, float | None]
_KEPT: deque[tuple[Instrument, PlateBody, _Facts, Meshed]] = deque(maxlen=10)


def settled_mm(instrument: Instrument) -> float:
    """Edge length of the mesh that verdicts are read from: 5 mm, finer on a narrow body.

    The solid model shows why: at 5 mm a press on a narrow plate gives 5 to 10 % too little, at 3 mm
    3 % or less (docs/verification.md).
    """
    wanted = SETTLED_SHARE * instrument.body.lower_width_mm
    return min(WIDEST_SETTLED_MM, max(FINEST_SETTLED_MM, wanted))


def rib_ring(body: PlateBody, instrument: Instrument, size_mm: float) -> Floats:
    """Middle line of the ribs (k, 2), counter-clockwise, corners kept, about `size_mm` apart."""
    ring = body.outline.inset(instrument.body.overhang_mm + 0.5 * instrument.body.rib_thickness_mm)
    breaks = _sharp(ring)
    return resample_ring(ring, size_mm, breaks)


def _sharp(ring: Floats) -> Ints:
    """Indices of ring points that turn by more than 30 degrees."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.degrees(np.arctan2(cross, np.einsum("ki,ki->k", before, after))))
    sharp = np.flatnonzero(turn > 30.0)
    return sharp if len(sharp) else np.array([0])


def refine_spots(instrument: Instrument, body: PlateBody) -> tuple[Refine, ...]:
    """(x, y, radius, size) around feet, post, bar ends on the top; around the post on the back."""
    spots: list[tuple[float, float]] = []
    if instrument.post.present:
        spots.append((instrument.post.x_mm, instrument.post.y_mm))
    if body.which == "top":
        bridge = instrument.bridge
        spots += [(bridge.x_mm, y) for y in (bridge.bass_foot_y_mm, bridge.treble_foot_y_mm)]
        if instrument.bar.present:
            spots += [(float(x), float(y)) for x, y in bar_line(instrument.bar)]
    return tuple((x, y, FINE_REACH_MM, FINE_MM) for x, y in spots)


def mesh_for_box(
    instrument: Instrument,
    body: PlateBody,
    ring: Floats | None,
    size_mm: float,
    *,
    bar: bool,
    hole_mm: float | None = None,
) -> Meshed:
    """Mesh of one plate. `ring` None leaves the rib line out (a free plate); such a plate is finer
    at its soundholes only if `hole_mm` is given.

    The thickness has no part in it: the last few are kept, known by the identity of instrument and
    body, so that a box drawn again for another map finds its meshes.
    """
    facts = (size_mm, bar, None if ring is None else ring.tobytes(), hole_mm)
    for whose, what, how, kept in _KEPT:
        if whose is instrument and what is body and how == facts:
            return kept
    made = _meshed(instrument, body, ring, size_mm, bar, hole_mm)
    _KEPT.append((instrument, body, facts, made))
    return made


def _meshed(
    instrument: Instrument,
    body: PlateBody,
    ring: Floats | None,
    size_mm: float,
    bar: bool,
    hole_mm: float | None,
) -> Meshed:
    lines = [bar_line(instrument.bar)] if bar else []
    fixed = [] if ring is None else [np.concatenate([ring, ring[:1]])]
    fine = min(FINE_MM if hole_mm is None else hole_mm, size_mm)
    holes = [r for ring_ in body.openings for r in _around(ring_, fine)]
    refine = refine_spots(instrument, body) if ring is not None else ()
    mesh = mesh_plate(
        body.outline.xy,
        body.openings,
        size_mm,
        lines=lines,
        fixed_lines=fixed,
        refine=(*refine, *holes) if ring is not None or hole_mm is not None else (),
    )
    none = np.empty(0, dtype=np.int64)
    bar_nodes = mesh.lines[0] if bar else none
    rib = mesh.lines[-1] if ring is not None else none
    return Meshed(mesh, rib, bar_nodes)


def _around(ring: Floats, size_mm: float) -> list[Refine]:
    """Refinement discs along an opening's edge."""
    step = max(1, len(ring) // 24)
    return [(float(x), float(y), 0.5 * FINE_REACH_MM, size_mm) for x, y in ring[::step]]
