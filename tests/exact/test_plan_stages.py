"""Stage maps: target and allowance, never past the gluing plane, the top stopped before its
holes."""

import math

import numpy as np
import pytest

from graduale.base.arrays import Floats, GridMap
from graduale.base.tables import sources, table
from graduale.plan.nearest import heights
from graduale.plan.stages import most_thickness, stage_maps
from graduale.plan.tools import hole_doubt, layout_rule, tool, tools
from tests.exact.plan_surfaces import Plane, bumpy

X, Y = np.arange(-20.0, 21.0, 4.0), np.arange(-16.0, 17.0, 4.0)


def grid(value: float) -> GridMap:
    values = np.full((len(X), len(Y)), value)
    values[0, 0] = np.nan
    return GridMap(X, Y, values)


@pytest.mark.parametrize(
    ("key", "wood", "least_mm", "most_mm", "scatter_mm"),
    [
        ("drill", "maple", 1.0, 1.5, 0.3),
        ("drill", "spruce", 1.5, 2.0, 0.3),
        ("gouge", "maple", 0.5, 1.0, 0.4),
        ("toothed_plane", "maple", 0.4, 0.4, 0.15),
        ("smooth_plane", "spruce", 0.15, 0.25, 0.1),
        ("scraper", "maple", 0.05, 0.05, 0.05),
        ("paper", "maple", 0.0, 0.0, 0.03),
    ],
)
def test_allowances_of_the_trade(
    key: str, wood: str, least_mm: float, most_mm: float, scatter_mm: float
) -> None:
    """Common practice, no source: what each tool leaves above the final thickness, and its
    scatter."""
    row = tool(key, wood)  # type: ignore[arg-type]
    assert (row.least_mm, row.most_mm, row.scatter_mm) == (least_mm, most_mm, scatter_mm)
    assert least_mm <= row.allowance_mm <= most_mm


def test_doubts_of_a_hole() -> None:
    """Trade notes: setting 0.1, hold 2 degrees, height 0.2, position 1.0."""
    doubt = hole_doubt()
    assert (doubt.setting_mm, doubt.hold_deg) == (0.1, 2.0)
    assert (doubt.height_mm, doubt.position_mm) == (0.2, 1.0)
    assert layout_rule().least_across_each_half == 3


def test_every_row_names_its_source() -> None:
    found = sources(table("graduale.plan", "tools"))
    assert len(found) >= 8
    assert all(found.values())


def test_stages_are_target_and_allowance_in_order() -> None:
    stages = stage_maps(grid(3.0), bumpy(2, 14.0), "maple")
    assert [s.tool for s in stages] == [t.key for t in tools("maple")]
    assert [float(s.leave.values[5, 4]) for s in stages] == pytest.approx(
        [4.0, 3.75, 3.4, 3.2, 3.05, 3.0]
    )
    assert all(np.isnan(s.leave.values[0, 0]) for s in stages)


def test_no_stage_passes_the_gluing_plane() -> None:
    """Over a plane slope of 30 degrees 4.2 high the most that can be left is 4.2 cos 30 = 3.64."""
    outside = Plane(30.0, 4.2)
    at = np.array([[0.0, 0.0]])
    assert most_thickness(outside, at)[0] == pytest.approx(4.2 * math.cos(math.radians(30)))
    drill = stage_maps(grid(3.0), outside, "maple")[0].leave
    assert drill.values[5, 4] == pytest.approx(4.2 * math.cos(math.radians(30)))
    assert drill.values[5, 2] == pytest.approx(4.0)  # y = -8, where the wood is thick enough


def test_the_platform_is_finished_at_the_outside_height() -> None:
    outside = Plane(10.0, 5.0)
    platform = np.zeros((len(X), len(Y)), dtype=bool)
    platform[:, -2:] = True
    gx, gy = np.meshgrid(X, Y, indexing="ij")
    high = heights(outside, np.stack([gx, gy], axis=-1))
    for stage in stage_maps(grid(3.0), outside, "spruce", platform=platform):
        assert stage.leave.values[platform] == pytest.approx(high[platform])


def test_the_top_stops_before_its_soundholes() -> None:
    """The last tool before the cutting lands on the map; the ones before stay above it by as much
    as their allowances differ; the finish does not know it."""
    stages = stage_maps(grid(3.0), bumpy(2, 16.0), "spruce", before_holes=grid(5.0))
    got = {s.tool: float(s.leave.values[5, 4]) for s in stages}
    assert got["toothed_plane"] == pytest.approx(5.0)
    assert got["gouge"] == pytest.approx(5.35)
    assert got["drill"] == pytest.approx(6.1)
    assert got["smooth_plane"] == pytest.approx(3.2)
    assert [s.before_soundholes for s in stages] == [True, True, True, False, False, False]
    low = stage_maps(grid(3.0), bumpy(2, 16.0), "spruce", before_holes=grid(2.0))
    assert low[0].leave.values[5, 4] == pytest.approx(4.5)  # never below its own allowance


def test_maps_on_other_grids_are_our_fault() -> None:
    other = GridMap(X, Y + 1.0, np.ones((len(X), len(Y))))
    with pytest.raises(ValueError):
        stage_maps(grid(3.0), bumpy(2), "maple", before_holes=other)


def test_most_thickness_is_the_shortest_way_out() -> None:
    outside = bumpy(9)
    xy: Floats = np.random.default_rng(2).uniform(-15, 15, (5, 2))
    line = np.arange(-14.0, 14.0, 0.05)
    for at, got in zip(xy, most_thickness(outside, xy), strict=True):
        near = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2) + at
        away = np.sqrt(np.sum((near - at) ** 2, axis=1) + outside.height(near) ** 2)
        assert got == pytest.approx(np.min(away), abs=0.001)
