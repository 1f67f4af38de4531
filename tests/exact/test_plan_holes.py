"""Whole hole plans: every hole, after grouping, judged by brute force from its record alone."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.arrays import Floats
from graduale.base.findings import Refused
from graduale.plan.holes import plan_guide_holes, toward
from graduale.plan.records import HolePlan
from graduale.plan.zones import Zone
from graduale.records.instrument import Drill
from tests.exact.plan_cases import drill, judge_of, oval, rim_zone
from tests.exact.plan_surfaces import Waves, bumpy, narrow_arch

OUTLINE = oval()
ZONES = rim_zone(OUTLINE)
JUDGE_MM = 0.006  # the cloud of the judge reads a little high and finds the rest a little low


def target(xy: Floats) -> Floats:
    """A map that is thicker in the middle, sloping by up to 0.05."""
    return 3.4 - 0.7 * np.exp(-np.sum(xy**2, axis=1) / 800.0) + 0.004 * xy[:, 0]


def plan(outside: Waves, how: Drill, zones: tuple[Zone, ...] = ZONES) -> HolePlan:
    return plan_guide_holes("back", OUTLINE, outside, target, "maple", how, zones)


@settings(max_examples=6, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    shape=st.sampled_from(["point118", "flat", "ball", "brad"]),
    method=st.sampled_from(["rest", "rest", "collar"]),
    hold=st.sampled_from(["level", "tilted"]),
    scrape=st.sampled_from([0.0, 0.25]),
)
def test_every_hole_leaves_enough(
    seed: int, shape: str, method: str, hold: str, scrape: float
) -> None:
    outside = bumpy(seed)
    how = drill(
        bit_shape=shape,
        method=method,
        hold=hold,
        outside_scrape_mm=scrape,
        spur_mm=1.2 if shape == "brad" else 0.0,
    )
    result, judge = plan(outside, how), judge_of(outside)
    assert len(result.holes) >= 12
    for hole in result.holes:
        q, distance = judge.bottom(hole, how)
        over = np.min(distance - target(q[:, :2])) - result.allowance_mm - scrape
        assert over > hole.tolerance_mm - JUDGE_MM
        assert over == pytest.approx(hole.over_mm, abs=JUDGE_MM)
        assert np.min(distance) - scrape == pytest.approx(hole.leaves_mm, abs=JUDGE_MM)
        thinnest = np.array([hole.thinnest_x_mm, hole.thinnest_y_mm])
        near = np.linalg.norm(q[:, :2] - thinnest, axis=1) < 0.4
        assert np.min(distance[near]) == pytest.approx(np.min(distance), abs=0.02)


def test_sharing_a_setting_leaves_no_more_than_the_spare() -> None:
    """One step of rounding at most beside a spare of 0.3: 0.3 over need and tolerance."""
    result = plan(bumpy(4), drill())
    extra = [h.over_mm - h.tolerance_mm for h in result.holes]
    assert min(extra) > -0.001
    assert max(extra) < 0.3 + 0.001


def test_one_field_for_each_kind_of_setting() -> None:
    for method in ("rest", "collar"):
        for hole in plan(bumpy(2), drill(method=method)).holes:
            assert (hole.rest_gap_mm is None) == (method == "collar")
            assert (hole.collar_depth_mm is None) == (method == "rest")
            value = hole.setting_mm / 0.1
            assert value == pytest.approx(round(value), abs=1e-6)


def test_groups_are_the_settings() -> None:
    result = plan(bumpy(11), drill())
    assert sum(g.count for g in result.groups) == len(result.holes)
    for group in result.groups:
        mine = [h for h in result.holes if h.group == group.key]
        assert {(h.method, h.hold, h.setting_mm) for h in mine} == {
            (group.method, group.hold, group.setting_mm)
        }
        assert group.leaves_min_mm == min(h.leaves_mm for h in mine)
    assert len({(g.method, g.hold, g.setting_mm) for g in result.groups}) == len(result.groups)


def test_steep_places_go_over_to_the_tilted_plate_and_it_is_said() -> None:
    outside = narrow_arch(30.0, 12.0)
    high = Waves(outside.base_mm + 4.0, outside.waves)
    result = plan(high, drill(max_level_slope_deg=20.0))
    for hole in result.holes:
        assert hole.hold == ("tilted" if hole.slope_deg > 20.0 else "level")
    assert any(f.key == "holes-tilted" for f in result.findings)
    tilted = [h for h in result.holes if h.hold == "tilted"]
    assert tilted
    for hole in tilted:
        assert hole.tilt_toward == ("bass" if hole.y_mm > 0 else "treble")
        assert hole.tilt_deg > 15.0
        # square to the bit the stop is what is left (a pointed bit; the outside bulges outward)
        assert hole.leaves_mm == pytest.approx(hole.setting_mm, abs=0.01)


def test_a_collar_stays_level_on_steep_places() -> None:
    result = plan(bumpy(3), drill(method="collar", hold="tilted", max_level_slope_deg=5.0))
    assert {h.hold for h in result.holes} == {"level"}
    assert {"collar-needs-height", "collar-level"} <= {f.key for f in result.findings}


def test_nothing_to_drill_is_no_hole_and_is_said() -> None:
    low = Waves(3.0, ((0.2, 0.0, 0.05, 0.0),))  # nowhere thicker than target and allowance
    result = plan(low, drill())
    assert result.holes == ()
    assert result.groups == ()
    assert any(f.key == "holes-none" for f in result.findings)
    assert any("nothing to drill" in b.reason for b in result.blank)


def test_no_hole_within_a_bit_of_a_zone_and_blanks_are_named() -> None:
    square = np.array([[-10.0, 4.0], [10.0, 4.0], [10.0, 16.0], [-10.0, 16.0]])
    zones = (*ZONES, Zone("post spot", square))
    result = plan(bumpy(1), drill(spacing_along_mm=9.0, spacing_across_mm=8.0), zones)
    for hole in result.holes:
        for zone in zones:
            gap = zone.shape.distance(_point(hole.x_mm, hole.y_mm))
            assert gap >= 4.0
    assert any(b.reason == "post spot" for b in result.blank)


def _point(x: float, y: float) -> object:
    from shapely import Point

    return Point(x, y)


def test_three_across_each_half_where_there_is_room() -> None:
    result = plan(bumpy(6), drill(spacing_across_mm=40.0))
    rows = {h.x_mm for h in result.holes if abs(h.x_mm) < 20}
    for x in rows:
        for sign in (1, -1):
            assert len([h for h in result.holes if h.x_mm == x and sign * h.y_mm >= 0]) >= 3


def test_a_shallow_cut_outside_is_kept_back() -> None:
    """Scraping 0.3 still to come: the same marks get settings about 0.3 / cos(slope) greater."""
    plain = plan(narrow_plate(), drill())
    kept = plan(narrow_plate(), drill(outside_scrape_mm=0.3))
    by_place = {(h.x_mm, h.y_mm): h for h in plain.holes}
    pairs = [(h, by_place[h.x_mm, h.y_mm]) for h in kept.holes if (h.x_mm, h.y_mm) in by_place]
    assert len(pairs) > 4
    for after, before in pairs:
        assert 0.0 < after.setting_mm - before.setting_mm < 0.65
        assert after.over_mm >= after.tolerance_mm - 1e-3


def narrow_plate() -> Waves:
    arch = narrow_arch(30.0, 6.0)
    return Waves(arch.base_mm + 5.0, arch.waves)


def test_a_tip_rounder_than_the_hollow_is_named() -> None:
    hollow = Waves(11.0, ((-0.8, 0.0, 0.7, 0.0),))  # curvature 0.39 / mm, radius 2.6
    result = plan(hollow, drill(rest_radius_mm=6.0))
    assert any(f.key == "rest-too-round" for f in result.findings)
    smooth = plan(narrow_plate(), drill(rest_radius_mm=6.0))
    assert not any(f.key == "rest-too-round" for f in smooth.findings)


def test_mirrored_outside_mirrors_the_plan() -> None:
    """A plate symmetric about y = 0 gets the same settings on both sides."""
    result = plan(narrow_plate(), drill(), (*ZONES, Zone("centre joint", _joint())))
    flat = plan_guide_holes(
        "back",
        OUTLINE,
        narrow_plate(),
        lambda xy: np.full(len(xy), 3.0),
        "maple",
        drill(),
        result.zones,
    )
    left = sorted((h.x_mm, -h.y_mm, h.setting_mm) for h in flat.holes if h.y_mm < 0)
    right = sorted((h.x_mm, h.y_mm, h.setting_mm) for h in flat.holes if h.y_mm > 0)
    assert np.array(left) == pytest.approx(np.array(right))


def _joint() -> Floats:
    return np.array([[-60.0, -1.0], [60.0, -1.0], [60.0, 1.0], [-60.0, 1.0]])


@pytest.mark.parametrize(
    "bad",
    [
        {"bit_mm": 0.0},
        {"step_mm": 0.0},
        {"rest_radius_mm": -1.0},
        {"spacing_along_mm": float("nan")},
    ],
)
def test_an_impossible_drill_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(Refused):
        plan(bumpy(1), replace(drill(), **bad))


def test_words_for_the_side_that_goes_down() -> None:
    assert toward(1.0, 0.0) == "neck"
    assert toward(0.0, 1.0) == "bass"
    assert toward(0.0, -1.0) == "treble"
    assert toward(-1.0, -1.0) == "lower end and treble"
    assert toward(0.0, 0.0) == ""
