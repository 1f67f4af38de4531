"""A small plate with a bumpy outside, a drill, and a slow judge of one drilled hole."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.geometry.outline import Outline
from graduale.plan.nearest import Outside
from graduale.plan.records import GuideHole
from graduale.plan.zones import Zone, simple_rings
from graduale.records.instrument import Drill

HALF_X, HALF_Y = 45.0, 30.0


def oval() -> Outline:
    angle = np.linspace(0.0, 2 * math.pi, 240, endpoint=False)
    return Outline(np.column_stack([HALF_X * np.cos(angle), HALF_Y * np.sin(angle)]))


def rim_zone(outline: Outline, width_mm: float = 6.0) -> tuple[Zone, ...]:
    ring = outline.polygon.difference(outline.polygon.buffer(-width_mm))
    return tuple(Zone("gluing platform and edge", r) for r in simple_rings(ring))


def drill(**changes: object) -> Drill:
    values: dict[str, object] = {
        "method": "rest",
        "hold": "level",
        "bit_shape": "point118",
        "bit_mm": 4.0,
        "spur_mm": 0.0,
        "rest_radius_mm": 5.0,
        "step_mm": 0.1,
        "spacing_along_mm": 16.0,
        "spacing_across_mm": 14.0,
        "max_level_slope_deg": 18.0,
        "outside_scrape_mm": 0.0,
    }
    return Drill(**{**values, **changes})  # type: ignore[arg-type]


def bit_cloud(drill: Drill) -> Floats:
    """The bit's end (k, 3), drawn here from its drawing and not from the code under test."""
    r = drill.bit_mm / 2
    rho, phi = np.meshgrid(np.linspace(0, r, 17), np.linspace(0, 2 * math.pi, 97), indexing="ij")
    rho, phi = rho.ravel(), phi.ravel()
    w = {
        "flat": np.zeros_like(rho),
        "point118": -rho * math.tan(math.radians(31)),
        "ball": np.sqrt(np.maximum(r * r - rho * rho, 0.0)) - r,
        "brad": np.full_like(rho, -drill.spur_mm),
    }[drill.bit_shape]
    cloud = np.column_stack([rho * np.cos(phi), rho * np.sin(phi), w])
    return np.vstack([cloud, np.zeros((1, 3))])


@dataclass(frozen=True, eq=False)
class Judge:
    """The whole outside as a cloud of points (m, 3), 0.2 mm apart."""

    cloud: Floats
    tree: cKDTree

    def bottom(self, hole: GuideHole, drill: Drill) -> tuple[Floats, Floats]:
        """Points (k, 3) of the hole's bottom and their distances (k,) to the outside."""
        mark = np.array([hole.x_mm, hole.y_mm, 0.0])
        tilt, turn = math.radians(hole.tilt_deg), math.radians(hole.tilt_azimuth_deg)
        flat = math.sin(tilt) * np.array([math.cos(turn), math.sin(turn), 0.0])
        axis = flat + np.array([0.0, 0.0, math.cos(tilt)])
        along = hole.collar_depth_mm
        if along is None:
            assert hole.rest_gap_mm is not None
            along = self.rest_tip(mark, axis, drill.rest_radius_mm) - hole.rest_gap_mm
        side = np.cross(axis, [0.3, 0.7, 0.1])
        side /= np.linalg.norm(side)
        q = mark + along * axis + bit_cloud(drill) @ np.stack([side, np.cross(axis, side), axis])
        q = q[q[:, 2] > 0]
        return q, np.asarray(self.tree.query(q)[0])

    def rest_tip(self, mark: Floats, axis: Floats, radius_mm: float) -> float:
        near = self.cloud[np.max(np.abs(self.cloud[:, :2] - mark[:2]), axis=1) < 16.0] - mark
        along = near @ axis
        off = np.sum(near**2, axis=1) - along**2
        under = off <= radius_mm**2
        return float(np.max(along[under] + np.sqrt(radius_mm**2 - off[under])) - radius_mm)


def judge_of(outside: Outside) -> Judge:
    x, y = np.arange(-HALF_X - 6, HALF_X + 6, 0.2), np.arange(-HALF_Y - 6, HALF_Y + 6, 0.2)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    cloud = np.column_stack([xy, outside.height(xy)])
    return Judge(cloud, cKDTree(cloud))
