"""Guide holes on an arch that is the same all along, against a polygon library.

Across such an arch everything happens in one section: the outside is a line string, the rest a
circle, the bit a polygon, and shapely measures the distances. Its line has chords of 0.02 mm, so
that it lies at most 0.02^2 / 8 * curvature = 1e-5 mm off the curve. Status C, computed by an
independent general-purpose library.
"""

import math

import numpy as np
import pytest
from shapely import LineString, Point
from shapely.affinity import rotate

from graduale.plan.bits import Bit
from graduale.plan.seat import level_axes, rest_tip, square_axes
from graduale.plan.settings import what_is_left
from tests.exact.plan_surfaces import Waves, narrow_arch
from tests.verification import Verified

SOURCE = "shapely: distances between plane figures"
RADIUS_MM = 2.5


def section(arch: Waves) -> LineString:
    y = np.arange(-40.0, 40.0, 0.02)
    return LineString(np.column_stack([y, arch.height(np.column_stack([0 * y, y]))]))


def bit_outline(shape: str) -> LineString:
    """The end of the bit as a line (across, along), the deepest point at (0, 0)."""
    r = RADIUS_MM
    if shape == "flat":
        return LineString([(-r, 0), (r, 0)])
    if shape == "point118":
        rise = r * math.tan(math.radians(31))
        return LineString([(-r, -rise), (0, 0), (r, -rise)])
    angle = np.linspace(-math.pi / 2, math.pi / 2, 2001)
    return LineString(np.column_stack([r * np.sin(angle), r * np.cos(angle) - r]))


def placed(figure: LineString, lean_deg: float, y: float, z: float) -> LineString:
    turned = rotate(figure, -lean_deg, origin=(0, 0))
    return LineString([(a + y, b + z) for a, b in turned.coords])


def rest_along(arch: LineString, mark: float, lean_deg: float, radius_mm: float) -> float:
    """Along the axis, the tip of a circle that just touches the arch from outside; by halving."""
    a = (math.sin(math.radians(lean_deg)), math.cos(math.radians(lean_deg)))
    low, high = 0.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        centre = Point(mark + middle * a[0], middle * a[1])
        under = centre.y <= np.interp(centre.x, *np.array(arch.coords).T)
        if under or arch.distance(centre) < radius_mm:
            low = middle
        else:
            high = middle
    return high - radius_mm


@pytest.mark.parametrize("shape", ["flat", "point118", "ball"])
@pytest.mark.parametrize(
    ("mark", "held"), [(0.0, "level"), (6.0, "level"), (-9.0, "level"), (8.0, "square")]
)
def test_what_is_left(shape: str, mark: float, held: str, verified: Verified) -> None:
    arch = narrow_arch(26.0, 9.0)
    arch = Waves(arch.base_mm + 4.0, arch.waves)
    axes = (square_axes if held == "square" else level_axes)(arch, np.array([[0.0, mark]]))
    lean = math.degrees(math.atan2(axes.outward[0, 1], axes.outward[0, 2]))
    line = section(arch)
    tip = rest_along(line, mark, lean, 5.0)
    along = tip - 4.2
    a = (math.sin(math.radians(lean)), math.cos(math.radians(lean)))
    bit = placed(bit_outline(shape), lean, mark + along * a[0], along * a[1])
    ours_along = rest_tip(arch, axes, 5.0) - 4.2
    assert ours_along[0] == pytest.approx(along, abs=0.002)
    ours = float(what_is_left(arch, axes, Bit(shape, RADIUS_MM, 0.0), ours_along).least_mm[0])
    what = f"arch in section, {shape} bit 5 mm at y = {mark:g}, held {held}: left"
    verified(what, ours, bit.distance(line), source=SOURCE, status="C", abs=0.003, unit="mm")
