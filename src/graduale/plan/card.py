"""The scrap-block card: drill a flat block at a tilt and compare what is left with what is said."""

import math
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.plan.bits import bit_of
from graduale.plan.records import HolePlan
from graduale.plan.seat import level_axes, rest_tip
from graduale.plan.settings import what_is_left
from graduale.plan.solve import Way
from graduale.plan.tools import hole_doubt
from graduale.records.instrument import Drill

CARD_SLOPES_DEG = (0.0, 10.0, 20.0, 30.0)
CARD_SETTING_MM = 4.0
CARD_BLOCK_MM = 10.0


@dataclass(frozen=True)
class CardRow:
    """One hole in the block. tilt_deg: of the block's underside to the level; block_mm: with a
    collar the height of the wedge at the mark, 0 on the rest; expect_mm: shortest distance left."""

    group: str
    method: str
    hold: str
    tilt_deg: float
    setting_mm: float
    block_mm: float
    expect_mm: float
    tolerance_mm: float


@dataclass(frozen=True)
class Block:
    """A flat block as an outside: height at the mark, falling toward +y by the slope."""

    slope_deg: float
    height_mm: float

    def height(self, xy: Floats) -> Floats:
        """Height (m,) at xy (m, 2), mm."""
        return np.asarray(self.height_mm - math.tan(math.radians(self.slope_deg)) * xy[:, 1])

    def gradient(self, xy: Floats) -> Floats:
        """Slope (m, 2)."""
        return np.tile([0.0, -math.tan(math.radians(self.slope_deg))], (len(xy), 1))

    def hessian(self, xy: Floats) -> Floats:
        """Second derivatives (m, 3): none."""
        return np.zeros((len(xy), 3))

    def all_at(self, xy: Floats) -> Floats:
        """Height, slope and second derivatives (m, 6)."""
        return np.column_stack([self.height(xy), self.gradient(xy), self.hessian(xy)])


def scrap_card(
    drill: Drill,
    slopes_deg: tuple[float, ...] = CARD_SLOPES_DEG,
    setting_mm: float = CARD_SETTING_MM,
) -> tuple[CardRow, ...]:
    """Rows for a block tilted by the given slopes: on the rest a gap of `setting_mm`, with a collar
    the depth that leaves `setting_mm` upright below a wedge of 10 mm at the mark."""
    depth = CARD_BLOCK_MM - setting_mm
    setting = depth if drill.method == "collar" else setting_mm
    return tuple(_row(drill, "", "level", slope, setting) for slope in slopes_deg)


def plan_card(plan: HolePlan, drill: Drill) -> tuple[CardRow, ...]:
    """One row for each group of the plan, at the middle slope of its holes."""
    rows = []
    for group in plan.groups:
        slopes = sorted(h.slope_deg for h in plan.holes if h.group == group.key)
        slope = 0.0 if group.hold == "tilted" else round(slopes[len(slopes) // 2])
        rows.append(_row(drill, group.key, group.hold, float(slope), group.setting_mm))
    return tuple(rows)


def _row(drill: Drill, group: str, hold: str, slope_deg: float, setting_mm: float) -> CardRow:
    collar = drill.method == "collar"
    block_mm = max(CARD_BLOCK_MM, setting_mm + 4.0) if collar else 0.0
    block = Block(slope_deg, block_mm if collar else setting_mm + 40.0)
    bit = bit_of(drill)
    way = Way(drill.method, hold, bit, drill.rest_radius_mm, drill.step_mm, hole_doubt(), 0.0, 0.0)
    axes, setting = level_axes(block, np.zeros((1, 2))), np.array([setting_mm])
    along = setting if collar else rest_tip(block, axes, drill.rest_radius_mm) - setting
    left = what_is_left(block, axes, bit, along).least_mm[0]
    tolerance = way.tolerance(block, axes, setting)[0]
    return CardRow(
        group, drill.method, hold, slope_deg, setting_mm, block_mm, float(left), float(tolerance)
    )
