"""Refusals of an outside that cannot be, contradicts itself, or does not cover the plate."""

import numpy as np
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.base.findings import Finding, Refused, refuse
from graduale.geometry.archrule import through
from graduale.geometry.outline import Outline
from graduale.records.instrument import ArchShape

REACH_SHARE = 0.12  # a height counts as known within this share of the length


def check_shape(shape: ArchShape, outline: Outline) -> None:
    """Passes, or raises Refused naming what is wrong and how to mend it."""
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
    if shape.heights:
        _check_cover(shape, outline)


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


def _check_cover(shape: ArchShape, outline: Outline) -> None:
    """Scattered heights must cover the plate inside the channel."""
    given = np.array(shape.heights, dtype=np.float64)[:, :2]
    off = np.flatnonzero(outline.edge_distance(given) < -3.0)
    if len(off):
        x, y = given[off[0]]
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
    known = np.vstack([given, ring])
    away = np.asarray(cKDTree(known).query(test)[0])
    if float(away.max()) > reach:
        x, y = test[int(np.argmax(away))]
        raise refuse(
            "arching-cover",
            "arching.heights",
            f"the heights do not cover the plate: none within {away.max():.0f} mm of x = {x:.0f}, "
            f"y = {y:.0f}; measure there too (at least every {reach:.0f} mm)",
        )
