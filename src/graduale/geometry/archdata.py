"""The heights from which an outside is drawn: given ones and those by rule, each with its trust."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats, freeze
from graduale.geometry.archrule import Rule, cross_points, edge_rule, through
from graduale.geometry.outline import Outline
from graduale.records.instrument import ArchShape

SIGMA_GIVEN, SIGMA_LINE, SIGMA_EDGE, SIGMA_RULE = 0.003, 0.02, 0.03, 0.12  # mm
PAST_MM = 7.0  # how far past the edge the edge's height is carried


@dataclass(frozen=True, eq=False)
class Heights:
    """Heights to be drawn together: points (m, 2), z (m,), standard deviation (m,)."""

    xy: Floats
    z: Floats
    sigma: Floats


def heights_of(xy: ArrayLike, z: ArrayLike, sigma: ArrayLike) -> Heights:
    """Points (m, 2) with heights (m,) and one or each its own standard deviation (mm)."""
    pts, values = np.asarray(xy, dtype=np.float64).reshape(-1, 2), np.asarray(z, dtype=np.float64)
    spread = np.broadcast_to(np.asarray(sigma, dtype=np.float64), values.shape)
    return Heights(pts, values, spread)


def given_lines(shape: ArchShape, rule: Rule) -> Heights:
    """The points of the given long arch and cross arches."""
    rows = [(x, 0.0, h) for x, h in shape.long_arch]
    for arch in shape.cross_arches:
        rows += [(arch.x_mm, y, h) for y, h in cross_points(arch, shape, rule.frame)]
    table = np.array(rows, dtype=np.float64).reshape(-1, 3)
    return heights_of(table[:, :2], table[:, 2], SIGMA_GIVEN)


def drawn_lines(shape: ArchShape, rule: Rule) -> Heights:
    """Long arch (given or by rule) and given cross arches as curves, points 1 mm apart."""
    x0, x1 = rule.frame.ends
    x = np.arange(x0 + 0.5, x1, 1.0)
    xy = [np.column_stack([x, np.zeros(len(x))])]
    z = [rule.middle(x)]
    for arch in shape.cross_arches:
        points = cross_points(arch, shape, rule.frame)
        y = np.arange(points[0, 0] + 0.5, points[-1, 0], 1.0)
        xy.append(np.column_stack([np.full(len(y), arch.x_mm), y]))
        z.append(through(points, y))
    return heights_of(np.vstack(xy), np.concatenate(z), SIGMA_LINE)


def rim_and_field(shape: ArchShape, rule: Rule, step: float) -> tuple[Heights, Heights]:
    """Edge and channel, and the field by rule, on a lattice that reaches past the edge."""
    xy, d = _lattice(rule.frame.outline, step)
    rim = (d > -PAST_MM) & (d <= shape.channel_at_mm)
    edge = heights_of(xy[rim], edge_rule(d[rim], shape), SIGMA_EDGE)
    inner = xy[d > shape.channel_at_mm]
    z, trust = rule.heights(inner)
    away = rule.frame.field.edge_distance(inner)
    corner = inner[away <= 0.0]
    ends = away > 0.0
    z_end, near = rule.beside_edge(inner[ends], away[ends])
    field = [
        _trusted(inner, z, trust),
        heights_of(corner, np.full(len(corner), shape.channel_mm), SIGMA_RULE),
        _trusted(inner[ends], z_end, near * (1.0 - trust[ends]) ** 2),
    ]
    return edge, together(field)


@lru_cache(maxsize=2)
def _lattice(outline: Outline, step: float) -> tuple[Floats, Floats]:
    """Points (m, 2) and their distance to the edge (m,); kept for the other plate."""
    low, high = outline.xy.min(axis=0) - PAST_MM, outline.xy.max(axis=0) + PAST_MM
    gx, gy = np.meshgrid(np.arange(low[0], high[0], step), np.arange(low[1], high[1], step))
    xy = freeze(np.column_stack([gx.ravel(), gy.ravel()]), (None, 2))
    return xy, freeze(outline.edge_distance(xy), (len(xy),))


def together(parts: list[Heights]) -> Heights:
    """All heights in one."""
    xy = np.vstack([p.xy for p in parts])
    z = np.concatenate([p.z for p in parts])
    return Heights(xy, z, np.concatenate([p.sigma for p in parts]))


def _trusted(xy: Floats, z: Floats, trust: Floats) -> Heights:
    use = trust > 1e-3
    return heights_of(xy[use], z[use], SIGMA_RULE / np.sqrt(trust[use]))
