"""Guide holes on plane and narrow outsides against the figures of the trade notes.

Source: common practice and hand arithmetic handed to this project (round rest of radius R, gap h
to the bit's end, bit radius r, outside slope a, plate held level); status C, computed, no
publication:
  flat   t = h cos a - R (1 - cos a) - r sin a
  ball   t = h cos a - (R + r)(1 - cos a)
  point  t = h cos a - R (1 - cos a) up to 31 deg, then (h + r tan 31) cos a - r sin a - R (1 -
  cos a) collar depth = H - t / cos a, a flat bit r tan a less, a ball H + r - (t + r) / cos a
"""

import math

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.plan.bits import Bit
from graduale.plan.seat import level_axes, rest_tip, square_axes
from graduale.plan.settings import deepest, what_is_left
from graduale.plan.tolerance import collar_tolerance, rest_tolerance
from graduale.plan.tools import hole_doubt
from tests.exact.plan_surfaces import Plane, narrow_arch
from tests.verification import Verified

ORIGIN = np.array([[0.0, 0.0]])
REST_MM = 5.0
NOTES = "hand arithmetic of the plane formulas, no publication"
SLOPES = (0.0, 8.0, 20.0, 30.0, 34.0)


def bit(shape: str, diameter_mm: float = 6.0) -> Bit:
    return Bit(shape, diameter_mm / 2, 0.0)


def plane_formula(shape: str, h: float, a_deg: float, r: float) -> float:
    a = math.radians(a_deg)
    rest = REST_MM * (1 - math.cos(a))
    if shape == "flat":
        return h * math.cos(a) - rest - r * math.sin(a)
    if shape == "ball":
        return h * math.cos(a) - (REST_MM + r) * (1 - math.cos(a))
    rise = r * math.tan(math.radians(31)) if a_deg > 31 else 0.0
    return (h + rise) * math.cos(a) - (r * math.sin(a) if a_deg > 31 else 0.0) - rest


@pytest.mark.parametrize("diameter_mm", [4.0, 6.0])
@pytest.mark.parametrize("shape", ["flat", "ball", "point118"])
@pytest.mark.parametrize("slope_deg", SLOPES)
def test_rest_on_a_plane(shape: str, slope_deg: float, diameter_mm: float) -> None:
    outside = Plane(slope_deg)
    axes = level_axes(outside, ORIGIN)
    along = rest_tip(outside, axes, REST_MM) - 4.0
    left = what_is_left(outside, axes, bit(shape, diameter_mm), along).least_mm[0]
    assert left == pytest.approx(plane_formula(shape, 4.0, slope_deg, diameter_mm / 2), abs=0.005)


@pytest.mark.parametrize("shape", ["flat", "ball", "point118"])
@pytest.mark.parametrize("slope_deg", SLOPES)
def test_collar_on_a_plane(shape: str, slope_deg: float) -> None:
    outside, a, r, t = Plane(slope_deg), math.radians(slope_deg), 3.0, 3.5
    wanted = 12.0 - t / math.cos(a)
    if shape == "flat":
        wanted -= r * math.tan(a)
    if shape == "ball":
        wanted = 12.0 + r - (t + r) / math.cos(a)
    if shape == "point118" and slope_deg > 31:
        wanted = 12.0 + r * math.tan(math.radians(31)) - t / math.cos(a) - r * math.tan(a)
    axes = level_axes(outside, ORIGIN)
    got = deepest(outside, axes, bit(shape), lambda xy: np.full(len(xy), t), np.zeros(1))
    assert got[0] == pytest.approx(wanted, abs=0.005)


@pytest.mark.parametrize(
    ("shape", "slope_deg", "left_mm"),
    [("flat", 20, 2.43), ("flat", 30, 1.29), ("point118", 20, 3.46), ("point118", 30, 2.79)],
)
def test_stop_of_four_used_level(
    shape: str, slope_deg: float, left_mm: float, verified: Verified
) -> None:
    """Trade notes: a stop of 4.0 used level leaves 2.43 flat or 3.46 point at 20 deg, 1.29, 2.79
    at 30."""
    outside = Plane(slope_deg)
    axes = level_axes(outside, ORIGIN)
    along = rest_tip(outside, axes, REST_MM) - 4.0
    left = float(what_is_left(outside, axes, bit(shape), along).least_mm[0])
    what = f"gap of 4.0 held level, {shape} bit 6 mm, slope {slope_deg} deg: left"
    verified(what, left, left_mm, source=NOTES, status="C", abs=0.01, unit="mm")


@pytest.mark.parametrize("shape", ["flat", "point118"])
def test_held_square_the_stop_is_what_is_left(shape: str) -> None:
    outside = Plane(24.0)
    axes = square_axes(outside, ORIGIN)
    along = rest_tip(outside, axes, REST_MM) - 4.0
    assert what_is_left(outside, axes, bit(shape), along).least_mm[0] == pytest.approx(
        4.0, abs=0.002
    )


@pytest.mark.parametrize(("y_mm", "left_mm"), [(0.0, 3.62), (5.19, 2.38)])
def test_narrow_arch(y_mm: float, left_mm: float, verified: Verified) -> None:
    """Trade notes: half width 26, rise 9, flat 6 mm bit: 3.62 on the crown, 2.38 at 17.7 deg
    (plane 2.66).

    The notes do not name the curve; a cosine across gives both figures.
    """
    outside = narrow_arch()
    axes = level_axes(outside, np.array([[0.0, y_mm]]))
    along = rest_tip(outside, axes, REST_MM) - 4.0
    left = what_is_left(outside, axes, bit("flat"), along)
    what = f"narrow arch 52 wide, 9 high, gap of 4.0, flat bit 6 mm at y = {y_mm:g}: left"
    got = float(left.least_mm[0])
    verified(what, got, left_mm, source=NOTES, status="C", abs=0.01, unit="mm")
    assert left.at_xy[0, 1] - y_mm == pytest.approx(3.0, abs=0.05)  # the rim toward the edge


@pytest.mark.parametrize(
    ("shape", "slope_deg", "rest_mm", "collar_mm"),
    [
        ("point118", 20, 0.14, 0.40),
        ("flat", 20, 0.23, None),
        ("point118", 28, 0.17, 0.51),
        ("flat", 28, 0.26, None),
    ],
)
def test_tolerance(
    shape: str, slope_deg: float, rest_mm: float, collar_mm: float | None, verified: Verified
) -> None:
    """Trade notes: setting 0.1, hold 2 deg, height 0.2, position 1.0. Ours is the worse of both
    directions and not the mean slope of the curve, hence 0.01 allowed."""
    outside: Plane = Plane(slope_deg, 8.0)
    axes = level_axes(outside, ORIGIN)
    gap: Floats = np.array([4.0])
    got = rest_tolerance(outside, axes, bit(shape), gap, REST_MM, hole_doubt())
    what = f"tolerance on the rest, {shape} bit 6 mm, slope {slope_deg} deg"
    verified(what, float(got[0]), rest_mm, source=NOTES, status="C", abs=0.01, unit="mm")
    if collar_mm is not None:
        got = collar_tolerance(outside, axes, bit(shape), np.array([3.7]), hole_doubt())
        what = f"tolerance with a collar, {shape} bit 6 mm, slope {slope_deg} deg"
        verified(what, float(got[0]), collar_mm, source=NOTES, status="C", abs=0.012, unit="mm")


def test_brad_reaches_lower_by_its_own_length() -> None:
    outside = Plane(0.0)
    axes = level_axes(outside, ORIGIN)
    depth = np.array([7.0])
    assert what_is_left(outside, axes, Bit("brad", 3.0, 2.0), depth).least_mm[0] == pytest.approx(
        5.0
    )
    got = deepest(
        outside, axes, Bit("brad", 3.0, 2.0), lambda xy: np.full(len(xy), 4.0), np.zeros(1)
    )
    assert got[0] == pytest.approx(8.0, abs=1e-6)
    steep = Plane(40.0)  # there the rim comes nearer than the middle point
    left = what_is_left(steep, level_axes(steep, ORIGIN), Bit("brad", 3.0, 2.0), depth).least_mm[0]
    a = math.radians(40.0)
    assert left == pytest.approx((12.0 - 5.0) * math.cos(a) - 3.0 * math.sin(a), abs=0.005)


def test_point_stands_proud_by_three_tenths_of_the_diameter() -> None:
    assert bit("point118").proud_mm / 6.0 == pytest.approx(0.30, abs=0.001)
