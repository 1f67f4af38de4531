"""The plan of a closed box for the referee: one triangle mesh that every solid part stands on.

Rings run side by side: edge, outside and inside of the ribs, inside of the linings. What lies
within the linings is meshed by Netgen (LGPL), with bar, post, soundholes and the inner faces of the
blocks as lines. Outline, inset and openings are the program's own, nothing of its meshes.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from netgen.geom2d import SplineGeometry
from shapely.ops import polygonize

from graduale.base.arrays import Floats, Ints
from graduale.box.parts import bar_outline
from graduale.box.plate import PlateBody
from graduale.geometry.curves import resample, resample_ring, turning_deg
from graduale.records.instrument import Instrument

POST_SIDES = 12


@dataclass(frozen=True, eq=False)
class Plan:
    """xy (n, 2); triangles (m, 3); for each triangle: ring 0 inside, 1 overhang, 2 rib, 3 lining;
    block number or -1; whether it lies in the bar, in the post, in a soundhole."""

    xy: Floats
    triangles: Ints
    ring: Ints
    block: Ints
    bar: "np.typing.NDArray[np.bool_]"
    post: "np.typing.NDArray[np.bool_]"
    hole: "np.typing.NDArray[np.bool_]"
    block_names: tuple[str, ...]

    @property
    def centres(self) -> Floats:
        """(m, 2)."""
        return self.xy[self.triangles].mean(axis=1)


def plan_of(
    instrument: Instrument, body: PlateBody, size_mm: float, fine_mm: float, ring_mm: float
) -> Plan:
    """The plan; `body` is the top (its openings); `fine_mm` at bar, post and soundholes."""
    b, blocks = instrument.body, instrument.blocks
    dense = body.outline.inset(b.overhang_mm + 0.5 * b.rib_thickness_mm)
    dense, marks = _with_block_ends(instrument, body, dense)
    sharp = np.flatnonzero(np.abs(turning_deg(dense)) > 30.0)
    breaks = np.union1d(sharp, np.concatenate(list(marks.values())))
    middle = resample_ring(dense, min(size_mm, ring_mm), breaks)
    half = 0.5 * b.rib_thickness_mm
    away = [b.overhang_mm + half, half, -half, -half - blocks.lining_width_mm]
    if blocks.lining_width_mm == 0.0:
        away = away[:3]
    rings = [middle + d * _outward(middle) for d in away]
    ends = {k: [_nearest(middle, dense[i]) for i in m] for k, m in marks.items()}
    inner = rings[-1]
    seats = {k: _seat_line(instrument, inner, k, e) for k, e in ends.items()}
    return _assembled(instrument, body, rings, ends, seats, size_mm, fine_mm)


def _outward(ring: Floats) -> Floats:
    """Mitred normals (k, 2) of a counter-clockwise ring: unit distance to both neighbours."""
    run = np.roll(ring, -1, axis=0) - ring
    normal = np.column_stack([run[:, 1], -run[:, 0]]) / np.hypot(*run.T)[:, None]
    before = np.roll(normal, 1, axis=0)
    total = normal + before
    return total / (1.0 + np.sum(normal * before, axis=1))[:, None]


def _nearest(ring: Floats, point: Floats) -> int:
    return int(np.argmin(np.hypot(*(ring - point).T)))


def _with_block_ends(
    instrument: Instrument, body: PlateBody, ring: Floats
) -> tuple[Floats, dict[str, Ints]]:
    """The ring with points where blocks begin and end; their numbers in ring order by block."""
    blocks = instrument.blocks
    half = 0.5 * blocks.end_width_mm
    low, high = ring[:, 0].min(), ring[:, 0].max()
    wanted: dict[str, list[Floats]] = {}
    line = shapely.LinearRing(ring)
    for name, x in (("lower block", low), ("upper block", high)):
        points = []
        for y in (-half, half):
            ray = shapely.LineString([[x - 5.0, y], [x + 5.0 + blocks.end_depth_mm, y]])
            if name == "upper block":
                ray = shapely.LineString([[x + 5.0, y], [x - 5.0 - blocks.end_depth_mm, y]])
            hit = shapely.intersection(line, ray)
            places = np.atleast_2d(shapely.get_coordinates(hit))
            points.append(places[np.argmin(np.abs(places[:, 0] - x))])
        wanted[name] = points
    if blocks.corner_depth_mm > 0.0:
        for k, tip in enumerate(body.outline.corners):
            at = line.project(shapely.Point(ring[_nearest(ring, np.array(tip))]))
            spots = [(at + s * blocks.corner_depth_mm) % line.length for s in (-1.0, 1.0)]
            wanted[f"corner block {k + 1}"] = [
                np.array(line.interpolate(s).coords[0]) for s in spots
            ]
    extra = np.array([p for points in wanted.values() for p in points])
    along = np.array([line.project(shapely.Point(p)) for p in np.vstack([ring, extra])])
    along[: len(ring)] = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    order = np.argsort(along, kind="stable")
    full = np.vstack([ring, extra])[order]
    keep = np.ones(len(full), dtype=bool)
    place = np.empty(len(full), dtype=np.int64)
    place[order] = np.arange(len(full))
    marked = place[len(ring) :]
    for i in marked:  # a ring point close to a block's end gives way
        for j in ((i - 1) % len(full), (i + 1) % len(full)):
            if j not in marked and np.hypot(*(full[i] - full[j])) < 0.2:
                keep[j] = False
    number = np.cumsum(keep) - 1
    names = [name for name, points in wanted.items() for _ in points]
    out: dict[str, list[int]] = {}
    for name, i in zip(names, marked, strict=True):
        out.setdefault(name, []).append(int(number[i]))
    return full[keep], {k: np.array(v) for k, v in out.items()}


def _seat_line(instrument: Instrument, inner: Floats, name: str, ends: list[int]) -> Floats:
    """Inner face of a block as a line from one node of the inner ring to another."""
    a, b = inner[ends[0]], inner[ends[1]]
    if name.startswith("corner"):
        return np.array([a, b])
    depth = instrument.blocks.end_depth_mm
    rib = instrument.body.overhang_mm + 0.5 * instrument.body.rib_thickness_mm
    x = rib + depth if name == "lower block" else instrument.body.length_mm - rib - depth
    return np.array([a, [x, a[1]], [x, b[1]], b])


def _block_area(ring: Floats, name: str, ends: list[int], seat: Floats) -> shapely.Polygon:
    """Between the outer ring and the block's inner face: the shorter way round."""
    i, j = ends
    count = len(ring)
    way = np.arange(i, i + (j - i) % count + 1) % count
    if len(way) > count / 2:
        way = np.arange(j, j + (i - j) % count + 1) % count
        seat = seat[::-1]
    return shapely.Polygon(np.vstack([ring[way], seat[::-1]])).buffer(1e-6)


def _assembled(
    instrument: Instrument,
    body: PlateBody,
    rings: list[Floats],
    ends: dict[str, list[int]],
    seats: dict[str, Floats],
    size_mm: float,
    fine_mm: float,
) -> Plan:
    inner = rings[-1]
    lines = [_closed(inner)] + [_pieces(s, fine_mm) for s in seats.values()]
    shapes: dict[str, list[shapely.Polygon]] = {"bar": [], "post": [], "hole": []}
    if instrument.bar.present:
        shapes["bar"].append(shapely.Polygon(bar_outline(instrument.bar)))
    if instrument.post.present:
        shapes["post"].append(_post(instrument))
    shapes["hole"] += [shapely.Polygon(resample_ring(r, fine_mm, _turns(r))) for r in body.openings]
    for kind in shapes.values():
        lines += [_pieces(np.asarray(p.exterior.coords), fine_mm) for p in kind]
    xy, triangles = _filled(lines, inner, size_mm)
    on_ring = np.array([_nearest(xy, p) for p in inner])
    if np.abs(xy[on_ring] - inner).max() > 1e-6:
        raise ValueError("the mesher moved the inner ring")
    count, start = len(inner), len(xy)
    numbers = [start + k * count + np.arange(count) for k in range(len(rings) - 1)] + [on_ring]
    every = np.vstack([xy, *rings[:-1]])
    parts, ring_of = [triangles], [np.zeros(len(triangles), dtype=np.int64)]
    for k, (out, in_) in enumerate(pairwise(numbers)):
        a, b, c, d = out, np.roll(out, -1), in_, np.roll(in_, -1)
        parts += [np.column_stack([a, b, d]), np.column_stack([a, d, c])]
        ring_of.append(np.full(2 * count, k + 1))
    tri, ring = np.vstack(parts), np.concatenate(ring_of)
    centres = every[tri].mean(axis=1)
    block = np.full(len(tri), -1)
    names = tuple(ends)
    for k, name in enumerate(names):
        area = _block_area(rings[2], name, ends[name], seats[name])
        within = shapely.contains_xy(area, centres[:, 0], centres[:, 1]) & np.isin(ring, (0, 3))
        block[within] = k
    marks = [
        np.any([shapely.contains_xy(p, centres[:, 0], centres[:, 1]) for p in kind], axis=0)
        if kind
        else np.zeros(len(tri), dtype=bool)
        for kind in shapes.values()
    ]
    return Plan(every, tri, ring, block, *marks, names)


def _turns(ring: Floats) -> Ints:
    return np.flatnonzero(np.abs(turning_deg(ring)) > 40.0)


def _post(instrument: Instrument) -> shapely.Polygon:
    """A regular polygon of the same area."""
    post = instrument.post
    turn = 2.0 * np.pi / POST_SIDES
    radius = 0.5 * post.diameter_mm * np.sqrt(turn / np.sin(turn))
    angle = turn * np.arange(POST_SIDES)
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * radius
    return shapely.Polygon(ring + np.array([post.x_mm, post.y_mm]))


def _closed(ring: Floats) -> shapely.LineString:
    return shapely.LineString(np.vstack([ring, ring[:1]]))


def _pieces(line: Floats, size_mm: float) -> shapely.LineString:
    """The polyline with points about `size_mm` apart."""
    parts = [resample(line[i : i + 2], size_mm) for i in range(len(line) - 1)]
    return shapely.LineString(np.vstack([*(p[:-1] for p in parts), line[-1:]]))


def _filled(lines: list[shapely.LineString], ring: Floats, size_mm: float) -> tuple[Floats, Ints]:
    """Netgen's triangles between the lines; nodes (n, 2), triangles (m, 3) counter-clockwise."""
    cells = list(polygonize(shapely.unary_union(lines)))
    points: dict[tuple[float, float], int] = {}
    sides: dict[tuple[int, int], list[int]] = {}
    geometry = SplineGeometry()

    def number(p: tuple[float, float]) -> int:
        key = (round(p[0], 7), round(p[1], 7))
        if key not in points:
            points[key] = geometry.AppendPoint(*key)
        return points[key]

    for k, cell in enumerate(cells, start=1):
        for n, loop in enumerate([cell.exterior, *cell.interiors]):
            ccw = shapely.LinearRing(loop.coords).is_ccw
            coords = list(loop.coords) if ccw == (n == 0) else list(loop.coords)[::-1]
            for p, q in pairwise(coords):
                a, b = number(p), number(q)
                if (b, a) in sides:
                    sides[b, a][1] = k
                else:
                    sides[a, b] = [k, 0]
    for (a, b), (left, right) in sides.items():
        geometry.Append(["line", a, b], leftdomain=left, rightdomain=right)
    mesh = geometry.GenerateMesh(maxh=size_mm * 1.3, grading=0.5, quad_dominated=False)
    xy = np.array([[p[0], p[1]] for p in mesh.Points()])
    tri = np.array([[v.nr - 1 for v in e.vertices] for e in mesh.Elements2D()])
    u, v = xy[tri[:, 1]] - xy[tri[:, 0]], xy[tri[:, 2]] - xy[tri[:, 0]]
    flip = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0.0
    tri[flip] = tri[flip][:, ::-1]
    return xy, tri
