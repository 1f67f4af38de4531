"""The outside of a plate as a smooth surface: by rule, or led by what the maker measured.

One mechanism for all: heights by rule and heights given are drawn together by a bicubic spline of
least bending energy (`spline`); the surer a height, the greater its weight.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.base.findings import Finding, Refused, refuse
from graduale.geometry.archrule import Rule, cross_points, edge_rule, frame_of, long_points, through
from graduale.geometry.outline import Outline
from graduale.geometry.spline import Surface, fit, net_over
from graduale.records.instrument import ArchShape

STIFFNESS = 200.0  # bending weight against heights weighted 1 / sigma^2 (1/mm2)
SIGMA_GIVEN, SIGMA_LINE, SIGMA_EDGE, SIGMA_RULE = 0.003, 0.02, 0.03, 0.12  # mm
NEAR_ENOUGH_MM = 0.04  # the surface passes given heights nearer than this
REACH_SHARE = 0.12  # a height counts as known within this share of the length
MARGIN_MM = 9.0  # of the surface beyond the edge
MOST_UNKNOWNS = 9500


@dataclass(frozen=True, eq=False)
class Arching:
    """Outside height h(x, y) above the plate's own gluing plane, mm, in its outward frame."""

    surface: Surface

    def height(self, xy: ArrayLike) -> Floats:
        """Height (m,) at points (m, 2), mm."""
        return np.asarray(self.surface.values(xy)[:, 0], dtype=np.float64)

    def gradient(self, xy: ArrayLike) -> Floats:
        """Slopes (hx, hy) (m, 2) at points (m, 2)."""
        return self.surface.values(xy, ((1, 0), (0, 1)))

    def hessian(self, xy: ArrayLike) -> Floats:
        """Second derivatives (hxx, hxy, hyy) (m, 3) at points (m, 2), 1/mm."""
        return self.surface.values(xy, ((2, 0), (1, 1), (0, 2)))

    def all_at(self, xy: ArrayLike) -> Floats:
        """Height, gradient and second derivatives at once (m, 6)."""
        return self.surface.values(xy, ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)))

    def slope_deg(self, xy: ArrayLike) -> Floats:
        """Angle between the surface and the gluing plane (m,), degrees."""
        return np.asarray(np.degrees(np.arctan(np.hypot(*self.gradient(xy).T))))

    def normal(self, xy: ArrayLike) -> Floats:
        """Outward unit normals (m, 3)."""
        slope = self.gradient(xy)
        raw = np.column_stack([-slope, np.ones(len(slope))])
        return np.asarray(raw / np.linalg.norm(raw, axis=1)[:, None])

    def curvatures(self, xy: ArrayLike) -> Floats:
        """Principal curvatures (m, 2), 1/mm, the greater first; a crown has negative ones.

        From the first and second fundamental forms (do Carmo, Differential Geometry of Curves and
        Surfaces, section 3-3 [from memory]).
        """
        _h, p, q, r, s, t = self.all_at(xy).T
        w = 1.0 + p * p + q * q
        gauss = (r * t - s * s) / w**2
        mean = ((1.0 + q * q) * r - 2.0 * p * q * s + (1.0 + p * p) * t) / (2.0 * w**1.5)
        root = np.sqrt(np.maximum(mean * mean - gauss, 0.0))
        return np.column_stack([mean + root, mean - root])


@dataclass(frozen=True, eq=False)
class _Heights:
    """Heights to be drawn together: points (m, 2), z (m,), standard deviation (m,)."""

    xy: Floats
    z: Floats
    sigma: Floats


def _heights(xy: ArrayLike, z: ArrayLike, sigma: ArrayLike) -> _Heights:
    pts, values = np.asarray(xy, dtype=np.float64).reshape(-1, 2), np.asarray(z, dtype=np.float64)
    spread = np.broadcast_to(np.asarray(sigma, dtype=np.float64), values.shape)
    return _Heights(pts, values, spread)


def arching_of(shape: ArchShape, outline: Outline) -> Arching:
    """The outside surface of a plate.

    Errors: Refused when the heights are impossible or do not cover the plate.
    """
    _check(shape, outline)
    rule = Rule(shape, frame_of(shape, outline))
    given = _given(shape, rule)
    if shape.heights:
        _check_cover(shape, outline, given)
    low, high = outline.xy.min(axis=0) - MARGIN_MM, outline.xy.max(axis=0) + MARGIN_MM
    step = max(1.5, float(np.sqrt(np.prod(high - low) / MOST_UNKNOWNS)))
    step = min(step, max(1.5, 0.8 * shape.channel_at_mm))
    parts = [given, _lines(shape, rule), _lattice(shape, rule, max(1.6, 0.75 * step))]
    xy = np.vstack([p.xy for p in parts])
    z = np.concatenate([p.z for p in parts])
    weight = np.concatenate([p.sigma for p in parts]) ** -2.0
    net = net_over(low, high, step)
    for _ in range(4):
        surface = fit(net, xy, z, weight, STIFFNESS)
        miss = np.abs(surface.values(given.xy)[:, 0] - given.z) if len(given.z) else np.zeros(0)
        far = np.flatnonzero(miss > NEAR_ENOUGH_MM)
        if len(far) == 0:
            break
        weight[far] *= 30.0
    return Arching(surface)


def _given(shape: ArchShape, rule: Rule) -> _Heights:
    rows = [(x, 0.0, h) for x, h in shape.long_arch]
    for arch in shape.cross_arches:
        rows += [(arch.x_mm, y, h) for y, h in cross_points(arch, shape, rule.frame)]
    rows += list(shape.heights)
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return _heights(table[:, :2], table[:, 2], SIGMA_GIVEN)


def _lines(shape: ArchShape, rule: Rule) -> _Heights:
    """Long arch and cross arches as drawn curves, 1 mm apart; none when heights are scattered."""
    if shape.heights and not shape.long_arch and not shape.cross_arches:
        return _heights(np.zeros((0, 2)), np.zeros(0), SIGMA_LINE)
    x0, x1 = rule.frame.ends
    x = np.arange(x0 + 0.5, x1, 1.0)
    use = not shape.heights or long_points(shape, rule.frame) is not None
    xy = [np.column_stack([x, np.zeros(len(x))])] if use else []
    z = [rule.middle(x)] if use else []
    for arch in shape.cross_arches:
        points = cross_points(arch, shape, rule.frame)
        y = np.arange(points[0, 0] + 0.5, points[-1, 0], 1.0)
        xy.append(np.column_stack([np.full(len(y), arch.x_mm), y]))
        z.append(through(points, y))
    if not xy:
        return _heights(np.zeros((0, 2)), np.zeros(0), SIGMA_LINE)
    return _heights(np.vstack(xy), np.concatenate(z), SIGMA_LINE)


def _lattice(shape: ArchShape, rule: Rule, step: float) -> _Heights:
    """The edge with its channel, and the field by rule, on a lattice that reaches past the edge."""
    outline = rule.frame.outline
    low, high = outline.xy.min(axis=0) - 7.0, outline.xy.max(axis=0) + 7.0
    gx, gy = np.meshgrid(np.arange(low[0], high[0], step), np.arange(low[1], high[1], step))
    xy = np.column_stack([gx.ravel(), gy.ravel()])
    d = outline.edge_distance(xy)
    rim = (d > -7.0) & (d <= shape.channel_at_mm)
    soft = 0.1 if shape.heights else SIGMA_EDGE
    parts = [_heights(xy[rim], edge_rule(d[rim], shape), soft)]
    if not shape.heights:
        inner = xy[d > shape.channel_at_mm]
        z, trust = rule.heights(inner)
        parts.append(_trusted(inner, z, trust))
        away = rule.frame.field.edge_distance(inner)
        corner = inner[away <= 0.0]
        parts.append(_heights(corner, np.full(len(corner), shape.channel_mm), 0.12))
        ends = away > 0.0
        z, near = rule.beside_edge(inner[ends], away[ends])
        parts.append(_trusted(inner[ends], z, near * (1.0 - trust[ends]) ** 2))
    return _heights(
        np.vstack([p.xy for p in parts]),
        np.concatenate([p.z for p in parts]),
        np.concatenate([p.sigma for p in parts]),
    )


def _trusted(xy: Floats, z: Floats, trust: Floats) -> _Heights:
    use = trust > 1e-3
    return _heights(xy[use], z[use], SIGMA_RULE / np.sqrt(trust[use]))


def _check(shape: ArchShape, outline: Outline) -> None:
    numbers = [shape.crown_mm, shape.edge_mm, shape.channel_mm, shape.channel_at_mm]
    for x, h in shape.long_arch:
        numbers += [x, h]
    for arch in shape.cross_arches:
        numbers += [arch.x_mm, *(v for p in arch.points for v in p)]
    numbers += [v for p in shape.heights for v in p]
    if not np.all(np.isfinite(numbers)):
        raise refuse("arching-nan", "arching", "a height is not a number; give every height in mm")
    if min(numbers[:4]) <= 0.0:
        raise refuse(
            "arching-not-positive",
            "arching",
            "crown, edge, channel and channel_at must be greater than zero",
        )
    if shape.crown_mm <= shape.channel_mm:
        raise refuse(
            "arching-flat",
            "arching",
            "the crown must be higher than the channel; correct one of them",
        )
    _check_heights(shape)
    _check_reach(shape, outline)


def _check_heights(shape: ArchShape) -> None:
    heights = [h for _x, h in shape.long_arch] + [h for _x, _y, h in shape.heights]
    heights += [h for a in shape.cross_arches for _y, h in a.points]
    if heights and (min(heights) < 0.0 or max(heights) > 80.0):
        bad = min(heights) if min(heights) < 0.0 else max(heights)
        raise refuse(
            "arching-height",
            "arching",
            f"a height of {bad:g} mm cannot be; heights count from the gluing plane, edge included",
        )
    for arch in shape.cross_arches:
        middle = [h for y, h in arch.points if abs(y) < 1.0]
        line = _ordered_long(shape)
        if middle and line is not None and line[0, 0] <= arch.x_mm <= line[-1, 0]:
            there = float(through(line, np.array([arch.x_mm]))[0])
            if abs(there - middle[0]) > 0.5:
                raise refuse(
                    "arching-contradicts",
                    "arching",
                    f"the cross arch at x = {arch.x_mm:g} has {middle[0]:g} mm in the middle, the "
                    f"long arch {there:.1f} mm there; correct one of them",
                )


def _ordered_long(shape: ArchShape) -> Floats | None:
    if len(shape.long_arch) < 2:
        return None
    return np.array(sorted(shape.long_arch), dtype=np.float64)


def _check_reach(shape: ArchShape, outline: Outline) -> None:
    """Given arches must reach near the edge on both sides."""
    findings = []
    reach = REACH_SHARE * outline.length_mm
    x0, x1 = float(outline.xy[:, 0].min()), float(outline.xy[:, 0].max())
    if shape.long_arch and not shape.heights:
        xs = [x for x, _h in shape.long_arch]
        for gap, name in ((min(xs) - x0, "lower"), (x1 - max(xs), "upper")):
            if gap > reach:
                findings.append(f"the long arch stops {gap:.0f} mm short of the {name} edge")
    for arch in shape.cross_arches:
        if not x0 < arch.x_mm < x1 or len(arch.points) < 2:
            findings.append(
                f"the cross arch at x = {arch.x_mm:g} lies off the plate or has one point"
            )
            continue
        bass, treble = outline.half_widths([arch.x_mm])
        ys = [y for y, _h in arch.points]
        most, least = max(ys), min(ys)
        sides = [(bass[0] - most, "bass", most > 1.0), (treble[0] + least, "treble", least < -1.0)]
        for gap, name, used in sides:
            if used and gap > max(10.0, 0.4 * bass[0]) and not shape.heights:
                findings.append(
                    f"the cross arch at x = {arch.x_mm:g} stops {gap:.0f} mm short of the "
                    f"{name} edge"
                )
    if findings:
        mend = "; add heights there"
        raise Refused([Finding("error", "arching-cover", "arching", f + mend) for f in findings])


def _check_cover(shape: ArchShape, outline: Outline, given: _Heights) -> None:
    """Scattered heights must cover the plate inside the channel."""
    off = np.flatnonzero(outline.edge_distance(given.xy) < -3.0)
    if len(off):
        x, y = given.xy[off[0]]
        raise refuse(
            "arching-off-plate",
            "arching.heights",
            f"{len(off)} heights lie off the plate, the first at x = {x:g}, y = {y:g}; mend them",
        )
    ring = outline.inset(shape.channel_at_mm)
    reach = REACH_SHARE * outline.length_mm
    low, high = outline.xy.min(axis=0), outline.xy.max(axis=0)
    gx, gy = np.meshgrid(np.arange(low[0], high[0], 4.0), np.arange(low[1], high[1], 4.0))
    test = np.column_stack([gx.ravel(), gy.ravel()])
    test = test[outline.edge_distance(test) > shape.channel_at_mm]
    known = np.vstack([given.xy, ring])
    away = np.asarray(cKDTree(known).query(test)[0])
    if float(away.max()) > reach:
        x, y = test[int(np.argmax(away))]
        raise refuse(
            "arching-cover",
            "arching.heights",
            f"the heights do not cover the plate: none within {away.max():.0f} mm of x = {x:.0f}, "
            f"y = {y:.0f}; measure there too (at least every {reach:.0f} mm)",
        )
