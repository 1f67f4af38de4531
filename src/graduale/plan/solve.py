"""From marks to settings: what each hole needs, and what holes leave at the settings they share."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.plan.bits import Bit
from graduale.plan.grouping import shared_settings
from graduale.plan.nearest import Outside
from graduale.plan.seat import Axes, level_axes, rest_tip, square_axes
from graduale.plan.settings import Thickness, deepest, what_is_left
from graduale.plan.tolerance import collar_tolerance, rest_tolerance
from graduale.plan.tools import Doubt

FIRST_GUESS_MM = 0.2
ROUNDS = 3


@dataclass(frozen=True)
class Way:
    """How a set of holes is drilled: method 'rest' | 'collar', hold 'level' | 'tilted'.

    allowance_mm is kept over the target, scrape_mm is still to come off the outside.
    """

    method: str
    hold: str
    bit: Bit
    rest_radius_mm: float
    step_mm: float
    doubt: Doubt
    allowance_mm: float
    scrape_mm: float

    def axes(self, outside: Outside, xy: Floats) -> Axes:
        """The bit's axes through marks xy (n, 2)."""
        return (square_axes if self.hold == "tilted" else level_axes)(outside, xy)

    def tolerance(self, outside: Outside, axes: Axes, setting: Floats) -> Floats:
        """Tolerance (n,) of what is left."""
        if self.method == "collar":
            return collar_tolerance(outside, axes, self.bit, setting, self.doubt)
        return rest_tolerance(outside, axes, self.bit, setting, self.rest_radius_mm, self.doubt)


@dataclass(frozen=True, eq=False)
class Needed:
    """n holes at the exact setting (n,) that each needs: axes, rest tip along the axis (n,), how
    far the bit goes along the axis (n,)."""

    axes: Axes
    tip: Floats
    setting: Floats
    along: Floats

    def only(self, keep: Ints) -> "Needed":
        """The holes with index `keep`."""
        axes = Axes(self.axes.mark[keep], self.axes.frame[keep], self.axes.hit[keep])
        return Needed(axes, self.tip[keep], self.setting[keep], self.along[keep])


@dataclass(frozen=True, eq=False)
class Drilled:
    """n holes as drilled: setting (n,), along (n,), what is left after scraping (n,) and where
    (n, 2), the least over target and allowance (n,), tolerance (n,)."""

    setting: Floats
    along: Floats
    left: Floats
    at_xy: Floats
    over: Floats
    tolerance: Floats


def needed(outside: Outside, way: Way, xy: Floats, target: Thickness) -> Needed:
    """The setting that leaves target, allowance and tolerance over the whole bit, at marks (n,
    2)."""
    axes = way.axes(outside, xy)
    tip = rest_tip(outside, axes, way.rest_radius_mm)
    tolerance = np.full(len(xy), FIRST_GUESS_MM)
    along = setting = np.zeros(len(xy))
    for i in range(ROUNDS):
        over = way.allowance_mm + way.scrape_mm + tolerance
        along = deepest(outside, axes, way.bit, target, over)
        setting = along if way.method == "collar" else tip - along
        if i < ROUNDS - 1:
            now = way.tolerance(outside, axes, setting)
            tolerance = now if i == 0 else np.maximum(now, tolerance)
    return Needed(axes, tip, setting, along)


def shared(way: Way, exact: Floats, spare_mm: float) -> Floats:
    """Settings (n,) shared by as many holes as can be; none leaves more than `spare_mm` over its
    own need (or over the next whole step), none less."""
    if way.method == "collar":  # deeper leaves less: depths are grouped as negative gaps
        return -shared_settings(-exact, -exact + spare_mm, way.step_mm)
    return shared_settings(exact, exact + spare_mm, way.step_mm)


def drilled(
    outside: Outside, way: Way, holes: Needed, setting: Floats, target: Thickness
) -> Drilled:
    """What the holes leave at these settings, computed anew on the real outside."""
    along = setting if way.method == "collar" else holes.tip - setting
    left = what_is_left(outside, holes.axes, way.bit, along)
    over = what_is_left(outside, holes.axes, way.bit, along, target).least_mm
    return Drilled(
        setting,
        along,
        left.least_mm - way.scrape_mm,
        left.at_xy,
        over - way.scrape_mm - way.allowance_mm,
        way.tolerance(outside, holes.axes, setting),
    )
