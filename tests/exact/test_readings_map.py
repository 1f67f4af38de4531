"""The map of a plate from its readings: what it keeps to, what it finds again, thin spots."""

from functools import cache

import numpy as np
import pytest
import shapely

from graduale.base.findings import Refused
from graduale.files.readings import Readings, parse_readings
from graduale.readings.current import Current, current, state_of
from graduale.readings.expected import as_it_is, expected_of
from graduale.readings.map import Pinned, PlateMap, map_of
from graduale.readings.odd import Odd
from graduale.readings.thin import thin_spots
from graduale.thickness.field import Layout
from tests.exact.box_bodies import small

CALIPER_MM = 0.05


@cache
def back() -> Layout:
    return small().layouts["back"]


def places(count: int, seed: int = 2, inside_mm: float = 0.5) -> np.ndarray:
    rng, area = np.random.default_rng(seed), back().free.buffer(-inside_mm)
    low_x, low_y, high_x, high_y = area.bounds
    found: list[tuple[float, float]] = []
    while len(found) < count:
        p = float(rng.uniform(low_x, high_x)), float(rng.uniform(low_y, high_y))
        if shapely.contains_xy(area, *p):
            found.append(p)
    return np.array(found)


def true(xy: np.ndarray) -> np.ndarray:
    """An invented half-carved back: uneven, within what its outside allows."""
    height = back().body.arching.height(xy) * back().body.arching.normal(xy)[:, 2]
    wave = 0.25 * np.sin(xy[:, 0] / 35.0) * np.cos(xy[:, 1] / 25.0)
    even = back().at(np.array([3.6, 3.0, 3.1, 2.7]))(xy)
    return np.minimum(even + wave, height)


def now_at(xy: np.ndarray, t: np.ndarray) -> Current:
    return Current("back", xy, t, tuple(range(len(t))), "", ())


@cache
def read_back() -> tuple[Current, PlateMap]:
    xy = places(40)
    t = true(xy) + np.random.default_rng(3).normal(0.0, CALIPER_MM, 40)
    now = now_at(xy, t)
    return now, map_of(now, back(), CALIPER_MM)


def test_forty_readings_find_the_plate_again() -> None:
    """Root mean square within 0.15 mm where nobody measured, and the doubt says so."""
    _, found = read_back()
    xy = places(400, seed=9)
    gap = found(xy) - true(xy)
    assert float(np.sqrt((gap**2).mean())) < 0.15
    z = gap / found.doubt(xy)
    assert 0.4 < float(np.sqrt((z**2).mean())) < 1.8


def test_the_map_keeps_near_its_readings() -> None:
    now, found = read_back()
    assert np.abs(found(now.xy) - now.t_mm).max() < 4.0 * CALIPER_MM


def test_edge_and_platform_have_the_outside_height_and_nothing_is_thicker() -> None:
    _, found = read_back()
    grid = found.on_grid(found)
    inside = np.isfinite(grid.values)
    xy = np.stack(np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij"), axis=-1)[inside]
    t, height = grid.values[inside], back().body.arching.height(xy)
    seat = ~shapely.contains_xy(back().free, xy[:, 0], xy[:, 1])
    assert seat.sum() > 1000
    assert t[seat] == pytest.approx(height[seat], abs=1e-9)
    assert (found.doubt(xy)[seat] == 0.0).all()
    assert (t <= height + 1e-9).all()
    assert (t[~seat] > 0.0).all()


def test_readings_on_the_other_side_give_the_map_on_the_other_side() -> None:
    """The outline is its own mirror image, so y -> -y of the readings mirrors the map."""
    now, found = read_back()
    other = map_of(now_at(now.xy * [1.0, -1.0], now.t_mm), back(), CALIPER_MM)
    xy = places(60, seed=5, inside_mm=2.0)
    assert other(xy * [1.0, -1.0]) == pytest.approx(found(xy), abs=5e-3)


def test_the_expected_zones_are_those_that_made_the_readings() -> None:
    zones = np.array([3.6, 3.0, 3.1, 2.8])
    xy = places(60)
    t = back().at(zones)(xy)
    t[3] -= 1.5  # one slip pulls little
    gap = expected_of(as_it_is(back()), xy, t)(xy) - back().at(zones)(xy)
    assert float(np.sqrt((gap**2).mean())) < 0.06


def test_few_readings_carry_an_even_surface() -> None:
    xy = places(6)
    zones = expected_of(as_it_is(back()), xy, np.array([3.0, 3.2, 3.1, 2.9, 3.3, 3.0])).zones
    assert zones == pytest.approx(np.full(4, 3.05))


def test_a_plate_cut_down_at_the_platform_is_expected_to_be_so() -> None:
    xy = places(60)
    found = expected_of(as_it_is(back()), xy, np.full(60, 2.1))
    assert not found.gentle
    height = back().body.arching.height(xy) * back().body.arching.normal(xy)[:, 2]
    assert found(xy) == pytest.approx(np.minimum(2.1, height), abs=0.02)


def slipped() -> tuple[Current, PlateMap, int]:
    now, _ = read_back()
    middle = int(np.argmin(np.abs(now.xy[:, 1]) + 0.2 * np.abs(now.xy[:, 0] - 200.0)))
    t = np.array(now.t_mm)
    t[middle] = 1.3
    changed = now_at(now.xy, t)
    return changed, map_of(changed, back(), CALIPER_MM), middle


def test_a_lone_slip_is_kept_at_its_reading_and_ends_at_its_neighbours() -> None:
    now, found, k = slipped()
    assert found.odd.places == pytest.approx(now.xy[[k]])
    assert found(now.xy)[k] == pytest.approx(1.3, abs=1e-6)
    rest = np.arange(len(now.t_mm)) != k
    assert np.abs(found(now.xy)[rest] - now.t_mm[rest]).max() < 4.0 * CALIPER_MM
    _, sound = read_back()
    away = np.hypot(*(places(200, 9) - now.xy[k]).T) > 60.0
    xy = places(200, 9)[away]
    assert found(xy) == pytest.approx(sound(xy), abs=0.15)


def test_the_doubt_is_greatest_beside_a_slip() -> None:
    now, found, k = slipped()
    radius = float(found.odd.radius_mm[0])
    line = now.xy[k] + np.outer(np.linspace(0.0, 1.0, 21) * radius, [-1.0, 0.0])
    doubt = found.doubt(line)
    assert 8 <= int(np.argmax(doubt)) <= 12
    assert doubt.max() > 0.5 * (now.t_mm.mean() - 1.3) * 0.7
    assert doubt[0] < 0.2


def test_where_cones_meet_the_thinner_counts() -> None:
    odd = Odd(np.array([[0.0, 0.0], [10.0, 0.0]]), np.array([-1.0, 0.6]), np.array([20.0, 20.0]))
    at = odd.off(np.array([[0.0, 0.0], [10.0, 0.0], [25.0, 0.0], [60.0, 0.0]]))
    assert at == pytest.approx([-1.0, -0.5, 0.15, 0.0])


def test_a_spot_is_named_for_each_reason_and_its_neighbours_are_told() -> None:
    now, found, k = slipped()
    spots = thin_spots(now, back(), found.expected(now.xy))
    assert [s.t_mm for s in spots] == [1.3]
    spot = spots[0]
    gap = np.hypot(*(now.xy - now.xy[k]).T)
    assert spot.nearest_mm == pytest.approx(np.sort(gap)[1])
    assert (spot.below_least, spot.below_neighbours, spot.below_floor) == (True, True, False)
    assert spot.neighbours_mm == pytest.approx(true(now.xy[[k]])[0], abs=0.35)
    high = np.full(len(now.t_mm), 9.0)
    assert sum(s.count for s in thin_spots(now, back(), found.expected(now.xy), high)) == 40


def test_a_sound_plate_has_no_thin_spot() -> None:
    now, found = read_back()
    assert thin_spots(now, back(), found.expected(now.xy)) == ()


def test_a_plate_that_is_thin_all_over_is_thin_by_its_least_and_not_by_its_neighbours() -> None:
    xy = places(40)
    thin = now_at(xy, 1.6 + np.random.default_rng(6).normal(0.0, CALIPER_MM, 40))
    found = map_of(thin, back(), CALIPER_MM)
    assert len(found.odd.off_mm) == 0
    spots = thin_spots(thin, back(), found.expected(xy))
    assert sum(s.count for s in spots) == 40
    assert all(s.below_least and not s.below_neighbours for s in spots)


def test_a_pin_holds_its_disc_down_and_nothing_else() -> None:
    _, found = read_back()
    pin = Pinned(found, np.array([[200.0, 0.0]]), np.array([1.3]), np.array([8.0]))
    xy = places(500, seed=7)
    near = np.hypot(*(xy - [200.0, 0.0]).T) <= 8.0
    assert pin(xy)[~near] == pytest.approx(found(xy)[~near])
    assert (pin(np.array([[200.0, 7.9], [203.0, 0.0]])) == 1.3).all()


def test_the_places_to_measure_are_carved_wood_away_from_readings() -> None:
    now, found = read_back()
    xy, shares = found.measure_next(CALIPER_MM, 4)
    assert shapely.contains_xy(back().free, xy[:, 0], xy[:, 1]).all()
    gap = np.hypot(*(xy[:, None] - now.xy[None]).transpose(2, 0, 1)).min(axis=1)
    assert gap.min() > 5.0
    assert (np.diff(shares) <= 1e-12).all()
    assert 0.0 < shares.sum() < 1.0


# Which readings count.

HEAD = "plate,x_mm,y_mm,thickness_mm,stage,when,note\n"
SIX = "".join(f"top,{x},0,3.1,,,\n" for x in (60, 100, 140, 180, 220, 260))


def top_of(text: str) -> Current | None:
    return current(read_of(text), small().layouts["top"], "r.csv")


def read_of(text: str) -> Readings:
    return parse_readings(HEAD + text, "r.csv")


def test_a_plate_without_readings_is_not_there() -> None:
    assert top_of(SIX.replace("top", "back")) is None


def test_five_readings_are_too_few() -> None:
    with pytest.raises(Refused, match="measure at least 6"):
        top_of("".join(SIX.splitlines(keepends=True)[:5]))


def test_a_reading_off_the_plate_is_refused_with_its_place() -> None:
    with pytest.raises(Refused, match=r"r\.csv: top, x 150, y 90: lies outside the outline"):
        top_of(SIX + "top,150,90,3.0,,,\n")


def test_a_reading_on_the_platform_is_left_out_and_one_that_differs_is_told() -> None:
    body = small().bodies["top"]
    x, _ = (float(v) for v in body.outline.xy[np.argmax(body.outline.xy[:, 1])])
    y = float(body.outline.half_widths(np.array([x]))[0][0]) - 1.5
    height = float(body.arching.height(np.array([[x, y]]))[0])
    found = top_of(f"{SIX}top,{x:.1f},{y:.1f},{height:.2f},,,\n")
    assert found is not None
    assert len(found.t_mm) == 6
    assert found.findings == ()
    found = top_of(f"{SIX}top,{x:.1f},{y:.1f},{height + 1.0:.2f},,,\n")
    assert found is not None
    assert [f.key for f in found.findings] == ["edge-differs"]


def test_a_reading_in_a_soundhole_counts_only_before_it_is_cut() -> None:
    ring = small().bodies["top"].openings[0]
    x, y = (float(v) for v in shapely.Polygon(ring).representative_point().coords[0])
    row = f"top,{x:.2f},{y:.2f},3.0,,,\n"
    cut = top_of(SIX + row)
    assert cut is not None
    assert [f.key for f in cut.findings] == ["reading-in-hole"]
    whole = top_of((SIX + row).replace(",,,\n", ",before holes,,\n"))
    assert whole is not None
    assert len(whole.t_mm) == 7
    assert whole.state == "before_holes"


def test_a_reading_thicker_than_the_outside_is_told() -> None:
    found = top_of(SIX + "top,150,0,25,,,\n")
    assert found is not None
    assert [f.key for f in found.findings] == ["thicker-than-outside"]


def test_only_the_last_stage_counts_by_day_whatever_the_order_of_the_lines() -> None:
    early = SIX.replace(",,,\n", ",gouge,2026-11-01,\n")
    late = SIX.replace("3.1", "2.6").replace(",,,\n", ",Scraper,2026-11-20,\n")
    for text in (early + late, late + early):
        found = top_of(text)
        assert found is not None
        assert set(found.t_mm) == {2.6}
        assert found.stage == "Scraper"
        assert "6 readings of the top from other stages" in found.findings[0].sentence


def test_without_days_the_last_line_tells_the_stage() -> None:
    found = top_of(SIX.replace(",,,", ",gouge,,") + SIX.replace("3.1,,", "2.6,scraper,"))
    assert found is not None
    assert set(found.t_mm) == {2.6}


def test_a_later_day_supersedes_the_same_place() -> None:
    first = SIX.replace(",,,\n", ",,2026-11-01,\n")
    found = top_of(first + "top,141,1,2.2,,2026-11-02,\n")
    assert found is not None
    assert sorted(found.t_mm) == [2.2, 3.1, 3.1, 3.1, 3.1, 3.1]
    same = top_of(first + "top,141,1,2.2,,2026-11-01,\n")
    assert same is not None
    assert len(same.t_mm) == 7


@pytest.mark.parametrize(
    ("stage", "state"),
    [
        ("before_holes", "before_holes"), ("Before holes", "before_holes"),
        ("holes-cut", "holes_cut"), ("scraper", "finished"), ("", "finished"),
    ],
)  # fmt: skip
def test_the_state_is_read_from_the_stage(stage: str, state: str) -> None:
    assert state_of(stage) == state
