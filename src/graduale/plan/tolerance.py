"""How much less a hole may leave than computed: setting, hold, height, position, on the real
surface."""

import math

import numpy as np

from graduale.base.arrays import Floats
from graduale.plan.bits import Bit
from graduale.plan.nearest import Outside
from graduale.plan.seat import Axes, leaned, rest_tip, shifted
from graduale.plan.settings import probe
from graduale.plan.tools import Doubt

AZIMUTHS = tuple(math.pi / 4 * i for i in range(8))


def rest_tolerance(
    outside: Outside, axes: Axes, bit: Bit, gap_mm: Floats, rest_radius_mm: float, doubt: Doubt
) -> Floats:
    """Tolerance (n,) on the rest: worst loss by setting, hold and position, root sum of squares.

    The gap stays; the plate finds its own place on the rest again after each change.
    """
    along = rest_tip(outside, axes, rest_radius_mm, 3) - gap_mm
    feeler = probe(outside, axes, bit, along)
    base = feeler.least(outside, axes, along)

    def loss(now: Axes) -> Floats:
        return base - feeler.least(outside, now, rest_tip(outside, now, rest_radius_mm, 3) - gap_mm)

    setting = base - feeler.least(outside, axes, along + doubt.setting_mm)
    hold = _worst([loss(leaned(outside, axes, math.radians(doubt.hold_deg), a)) for a in AZIMUTHS])
    place = _worst([loss(shifted(outside, axes, doubt.position_mm, a)) for a in AZIMUTHS])
    return np.asarray(np.sqrt(setting**2 + hold**2 + place**2))


def collar_tolerance(
    outside: Outside, axes: Axes, bit: Bit, depth_mm: Floats, doubt: Doubt
) -> Floats:
    """Tolerance (n,) with a collar: as on the rest, and the doubt of the outside height; the bit
    leans about the mark."""
    feeler = probe(outside, axes, bit, depth_mm)
    base = feeler.least(outside, axes, depth_mm)

    def loss(now: Axes) -> Floats:
        return base - feeler.least(outside, now, depth_mm)

    setting = base - feeler.least(outside, axes, depth_mm + doubt.setting_mm)
    height = base - feeler.least(outside, axes, depth_mm + doubt.height_mm)
    hold = _worst([loss(leaned(outside, axes, math.radians(doubt.hold_deg), a)) for a in AZIMUTHS])
    place = _worst([loss(shifted(outside, axes, doubt.position_mm, a)) for a in AZIMUTHS])
    return np.asarray(np.sqrt(setting**2 + height**2 + hold**2 + place**2))


def _worst(losses: list[Floats]) -> Floats:
    return np.asarray(np.maximum(np.max(np.stack(losses), axis=0), 0.0), dtype=np.float64)
