"""Soundholes and level lines."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from graduale.base.arrays import GridMap
from graduale.base.findings import Refused
from graduale.geometry.arching import arching_of
from graduale.geometry.contours import level_lines
from graduale.geometry.curves import signed_area
from graduale.geometry.openings import clearance, disc, eyes_of, soundholes_of
from graduale.geometry.outline import outline_of
from graduale.records.instrument import Body, Soundholes
from tests.exact.geometry_bodies import (
    NARROW,
    NARROW_HOLES,
    SMOOTH,
    VIOLIN,
    VIOLIN_HOLES,
    VIOLIN_TOP,
)

CASES = [(VIOLIN, VIOLIN_HOLES), (NARROW, NARROW_HOLES), (SMOOTH, NARROW_HOLES)]


@pytest.mark.parametrize(("body", "holes"), CASES)
def test_the_holes_have_their_dimensions(body: Body, holes: Soundholes) -> None:
    outline = outline_of(body)
    bass, treble = (shapely.Polygon(r) for r in soundholes_of(holes, body, outline))
    assert bass.is_valid
    assert bass.bounds[2] - bass.bounds[0] == pytest.approx(holes.length_mm, abs=0.6)
    assert 2.0 * bass.bounds[1] == pytest.approx(holes.upper_eye_gap_mm, abs=0.05)
    assert 0.5 * (bass.bounds[0] + bass.bounds[2]) == pytest.approx(holes.notch_x_mm, abs=0.5)
    line = shapely.LineString([(holes.notch_x_mm, 0.0), (holes.notch_x_mm, 200.0)])
    assert holes.width_mm <= bass.intersection(line).length < 1.25 * holes.width_mm
    assert (
        outline.edge_distance(np.asarray(bass.exterior.coords)).min() > holes.lower_eye_edge_mm - 2
    )
    mirrored = shapely.Polygon(np.asarray(bass.exterior.coords) * [1.0, -1.0])
    assert mirrored.symmetric_difference(treble).area < 1e-9


@pytest.mark.parametrize(("body", "holes"), CASES)
def test_each_eye_is_a_round_part_of_its_hole(body: Body, holes: Soundholes) -> None:
    """The disc of every eye lies in the hole, and most of its rim is the rim of the hole."""
    outline = outline_of(body)
    rings = soundholes_of(holes, body, outline)
    eyes = eyes_of(holes, outline, body)
    assert [(e.side, e.which) for e in eyes] == [
        ("bass", "upper"),
        ("bass", "lower"),
        ("treble", "upper"),
        ("treble", "lower"),
    ]
    for eye in eyes:
        hole = shapely.Polygon(rings[0] if eye.side == "bass" else rings[1])
        assert (eye.y_mm > 0.0) == (eye.side == "bass")
        rim = disc(eye.x_mm, eye.y_mm, eye.radius_mm)
        assert shapely.Polygon(rim).difference(hole).area < 1e-6
        on_rim = shapely.distance(hole.exterior, shapely.points(rim)) < 0.05
        assert on_rim.mean() > 0.5


def test_the_lower_eye_keeps_its_distance_where_the_slot_can_reach() -> None:
    outline = outline_of(NARROW)
    lower = eyes_of(replace(NARROW_HOLES, upper_eye_gap_mm=22.0), outline, NARROW)[1]
    away = outline.edge_distance([[lower.x_mm, lower.y_mm]])[0] - lower.radius_mm
    assert away == pytest.approx(NARROW_HOLES.lower_eye_edge_mm, abs=0.05)


@pytest.mark.parametrize("waist", [56.0, 58.0, 60.0])
def test_a_slot_beside_a_tight_waist_is_drawn_inward(waist: float) -> None:
    """The hole keeps clear of ribs and gluing surface instead of being refused."""
    body = replace(NARROW, waist_width_mm=waist, waist_at_mm=172.0)
    outline = outline_of(body)
    holes = replace(NARROW_HOLES, upper_eye_gap_mm=24.0)
    ring = soundholes_of(holes, body, outline)[0]
    assert outline.edge_distance(ring).min() > body.overhang_mm + body.rib_thickness_mm + 1.5


def test_on_an_arch_the_eye_is_round_on_the_surface() -> None:
    """Seen from above it is narrower down the slope by the cosine of the slope."""
    outline = outline_of(VIOLIN)
    arching = arching_of(VIOLIN_TOP, outline)
    flat = shapely.Polygon(soundholes_of(VIOLIN_HOLES, VIOLIN, outline)[0])
    laid = shapely.Polygon(soundholes_of(VIOLIN_HOLES, VIOLIN, outline, arching)[0])
    eye = eyes_of(VIOLIN_HOLES, outline, VIOLIN)[0]
    slope = np.radians(arching.slope_deg([[eye.x_mm, eye.y_mm]])[0])
    inner = flat.bounds[1] + eye.radius_mm * (1.0 - np.cos(slope))
    assert laid.bounds[1] == pytest.approx(inner, abs=0.1)
    assert laid.area < flat.area


def test_notches_are_cut_on_demand() -> None:
    outline = outline_of(VIOLIN)
    plain, notched = (
        shapely.Polygon(soundholes_of(VIOLIN_HOLES, VIOLIN, outline, notched=n)[0])
        for n in (False, True)
    )
    extra = notched.difference(plain)
    assert 0.5 < extra.area < 6.0
    assert extra.centroid.x == pytest.approx(VIOLIN_HOLES.notch_x_mm, abs=1.0)


def test_absent_holes_are_no_rings_and_given_ones_are_kept() -> None:
    outline = outline_of(VIOLIN)
    assert soundholes_of(replace(VIOLIN_HOLES, present=False), VIOLIN, outline) == ()
    square = ((150.0, 30.0), (150.0, 40.0), (170.0, 40.0), (170.0, 30.0))
    given = replace(VIOLIN_HOLES, points=(square,))
    rings = soundholes_of(given, VIOLIN, outline)
    assert signed_area(rings[0]) == pytest.approx(200.0)
    assert eyes_of(given, outline, VIOLIN) == ()


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("soundhole-edge", {"upper_eye_gap_mm": 110.0}),
        ("soundhole-overlap", {"upper_eye_gap_mm": 2.0}),
        ("soundhole-no-room", {"lower_eye_edge_mm": 150.0}),
        ("soundhole-off", {"notch_x_mm": 500.0}),
        ("soundhole-short", {"length_mm": 12.0}),
        ("soundhole-numbers", {"width_mm": -1.0}),
        ("soundhole-numbers", {"upper_eye_mm": float("nan")}),
        ("soundhole-points", {"points": (((0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 9.0)),)}),
    ],
)
def test_impossible_holes_are_refused(key: str, change: dict[str, object]) -> None:
    with pytest.raises(Refused) as refused:
        soundholes_of(replace(VIOLIN_HOLES, **change), VIOLIN, outline_of(VIOLIN))  # type: ignore[arg-type]
    assert key in {f.key for f in refused.value.findings}


def test_clearance_between_discs() -> None:
    """Distance of centres less both radii; 0 when they overlap; a segment counts as one."""
    assert clearance(disc(0.0, 0.0, 5.0), disc(20.0, 0.0, 4.0)) == pytest.approx(11.0, abs=0.01)
    assert clearance(disc(0.0, 0.0, 5.0), disc(6.0, 0.0, 4.0)) == 0.0
    assert clearance([[0.0, 9.0], [10.0, 9.0]], disc(5.0, 0.0, 4.0)) == pytest.approx(5.0, abs=0.01)


def _cone() -> GridMap:
    x, y = np.arange(-30.0, 31.0, 1.0), np.arange(-25.0, 26.0, 1.0)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    z = np.hypot(gx, gy)
    return GridMap(x, y, np.where(z > 24.0, np.nan, z))


def test_level_lines_of_a_cone_are_circles() -> None:
    lines = level_lines(_cone(), [8.0, 15.0, 40.0])
    assert lines[40.0] == []
    for level in (8.0, 15.0):
        (line,) = lines[level]
        np.testing.assert_allclose(np.hypot(*line.T), level, atol=0.12)
        np.testing.assert_array_equal(line[0], line[-1])
        area = shapely.Polygon(line).area
        assert area == pytest.approx(np.pi * level**2, rel=0.02)


def test_level_lines_keep_rows_along_x() -> None:
    """A map that rises along x has its level line across, at its x."""
    x, y = np.arange(0.0, 11.0), np.arange(0.0, 6.0)
    values = np.repeat(x[:, None], 6, axis=1)
    (line,) = level_lines(GridMap(x, y, values), [3.5])[3.5]
    np.testing.assert_allclose(line[:, 0], 3.5)
    assert sorted(line[:, 1].round(6)) == [0.0, 5.0]


def test_level_lines_hold_no_repeated_point_and_pass_a_polygon_library() -> None:
    rng = np.random.default_rng(4)
    x, y = np.arange(0.0, 60.0, 2.0), np.arange(0.0, 40.0, 2.0)
    values = rng.normal(size=(30, 20)).cumsum(axis=0).cumsum(axis=1).round(1)
    for lines in level_lines(GridMap(x, y, values), [-4.0, 0.0, 3.0]).values():
        for line in lines:
            assert np.hypot(*np.diff(line, axis=0).T).min() > 0.0
            assert shapely.LineString(line).is_simple
