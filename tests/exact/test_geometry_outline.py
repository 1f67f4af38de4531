"""Outlines: dimensions met, circles and rectangles exact, bad input refused."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.findings import Refused
from graduale.geometry.curves import signed_area, turning_deg
from graduale.geometry.fair import Way, fair_curve
from graduale.geometry.grid import plate_grid
from graduale.geometry.outline import outline_of
from graduale.records.instrument import Body
from tests.exact.geometry_bodies import NARROW, SMOOTH, THIN_WAIST, VIOLIN


@pytest.mark.parametrize("body", [VIOLIN, NARROW, THIN_WAIST, SMOOTH])
def test_the_drawn_outline_meets_its_dimensions(body: Body) -> None:
    """Widths and length within 0.1 mm, widest and narrowest where they were asked for."""
    outline = outline_of(body)
    at = [body.lower_at_mm, body.waist_at_mm, body.upper_at_mm]
    bass, treble = outline.half_widths(at)
    wanted = [body.lower_width_mm, body.waist_width_mm, body.upper_width_mm]
    np.testing.assert_allclose(bass + treble, wanted, atol=0.1)
    assert outline.length_mm == pytest.approx(body.length_mm, abs=0.01)
    assert 2.0 * outline.xy[:, 1].max() == pytest.approx(body.lower_width_mm, abs=0.1)
    middle = outline.half_widths(np.arange(body.lower_corner_at_mm, body.upper_corner_at_mm))[0]
    assert 2.0 * middle.min() == pytest.approx(body.waist_width_mm, abs=0.1)


@pytest.mark.parametrize("body", [VIOLIN, NARROW, THIN_WAIST])
def test_corner_tips_are_points_of_the_outline(body: Body) -> None:
    outline = outline_of(body)
    x0, y0 = body.lower_corner_at_mm, 0.5 * body.lower_corner_width_mm
    x1, y1 = body.upper_corner_at_mm, 0.5 * body.upper_corner_width_mm
    assert set(outline.corners) == {(x0, y0), (x1, y1), (x0, -y0), (x1, -y1)}
    for tip in outline.corners:
        assert np.hypot(*(outline.xy - tip).T).min() < 1e-9


@pytest.mark.parametrize("body", [VIOLIN, NARROW, SMOOTH])
def test_the_outline_is_a_fair_symmetric_ring(body: Body) -> None:
    outline = outline_of(body)
    assert signed_area(outline.xy) > 0.0
    assert outline.polygon.is_valid
    mirrored = shapely.Polygon(outline.xy * [1.0, -1.0])
    assert outline.polygon.symmetric_difference(mirrored).area < 1e-6 * outline.polygon.area
    steps = np.hypot(*np.diff(outline.xy, axis=0).T)
    assert steps.min() > 0.4
    assert steps.max() < 1.4
    sharp = np.flatnonzero(np.abs(turning_deg(outline.xy)) > 15.0)
    for i in sharp:
        assert min((np.hypot(*(outline.xy[i] - c)) for c in outline.corners), default=99.0) < 4.0
    assert np.median(np.abs(turning_deg(outline.xy))) < 2.0


def test_a_body_without_proud_corners_is_smooth_all_round() -> None:
    outline = outline_of(SMOOTH)
    assert outline.corners == ()
    assert np.abs(turning_deg(outline.xy)).max() < 4.0


def test_waist_is_hollow_and_bouts_are_full() -> None:
    """Between the corners the edge turns one way only, round the lower bout the other."""
    outline = outline_of(VIOLIN)
    turn = turning_deg(outline.xy)
    x, y = outline.xy.T
    waist = (
        (y > 0.0) & (x > VIOLIN.lower_corner_at_mm + 8.0) & (x < VIOLIN.upper_corner_at_mm - 8.0)
    )
    assert turn[waist].max() < 0.02
    bout = x < VIOLIN.lower_at_mm
    assert turn[bout].min() > -0.02


def _circle(radius: float, points: int = 60) -> Body:
    t = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    xy = tuple((radius + radius * float(np.cos(a)), radius * float(np.sin(a))) for a in t)
    return replace(VIOLIN, outline_points=xy)


def test_a_circle_of_points_stays_a_circle() -> None:
    """Area, distance to the edge and inset of a circle of radius 50: plane geometry."""
    outline = outline_of(_circle(50.0))
    assert outline.polygon.area == pytest.approx(np.pi * 50.0**2, rel=2e-4)
    spots = np.array([[50.0, 0.0], [70.0, 10.0], [50.0, -60.0]])
    expected = 50.0 - np.hypot(spots[:, 0] - 50.0, spots[:, 1])
    np.testing.assert_allclose(outline.edge_distance(spots), expected, atol=0.01)
    inner = outline.inset(7.0)
    assert signed_area(inner) == pytest.approx(np.pi * 43.0**2, rel=5e-4)
    np.testing.assert_allclose(np.hypot(inner[:, 0] - 50.0, inner[:, 1]), 43.0, atol=0.02)
    bass, treble = outline.half_widths([50.0, 80.0, 120.0])
    np.testing.assert_allclose(bass, [50.0, 40.0, 0.0], atol=0.01)
    np.testing.assert_allclose(treble, [50.0, 40.0, 0.0], atol=0.01)


def test_a_lopsided_rectangle_keeps_its_corners_and_sides() -> None:
    points = ((0.0, -20.0), (50.0, -20.0), (100.0, -20.0), (100.0, 0.0), (100.0, 45.0))
    points += ((50.0, 45.0), (0.0, 45.0), (0.0, 0.0))
    outline = outline_of(replace(VIOLIN, outline_points=points[::-1]))
    assert outline.polygon.area == pytest.approx(6500.0)
    assert set(outline.corners) == {(0.0, -20.0), (100.0, -20.0), (100.0, 45.0), (0.0, 45.0)}
    bass, treble = outline.half_widths([30.0])
    assert (bass[0], treble[0]) == pytest.approx((45.0, 20.0))
    assert signed_area(outline.inset(10.0)) == pytest.approx(80.0 * 45.0)
    assert outline.edge_distance([[50.0, 0.0]])[0] == pytest.approx(20.0)


def test_the_grid_covers_the_plate_and_counts_its_area() -> None:
    outline = outline_of(VIOLIN)
    grid = plate_grid(outline, 2.0)
    assert 0.0 in grid.y_mm
    assert (grid.x_mm[0], grid.x_mm[-1]) == (0.0, 356.0)
    assert len(grid.points) * 4.0 == pytest.approx(outline.polygon.area, rel=0.005)


def test_a_fair_curve_through_a_circle_is_the_circle() -> None:
    """Least variation of curvature is nought on a circle, so a quarter circle comes out."""
    curve = fair_curve((Way(0.0, 0.0, 90.0), Way(30.0, 30.0, 0.0)))
    np.testing.assert_allclose(np.hypot(curve[:, 0] - 30.0, curve[:, 1]), 30.0, atol=0.01)


BAD = {
    "outline-crosses-itself": tuple(
        (float(x), float(y))
        for x, y in [
            (0, 0),
            (100, 50),
            (200, -50),
            (300, 0),
            (300, 60),
            (200, 60),
            (100, -60),
            (0, 60),
        ]
    ),
    "outline-few-points": ((0.0, 0.0), (100.0, 0.0), (100.0, 50.0)),
    "outline-nan": tuple((float("nan"), float(i)) for i in range(9)),
}


@pytest.mark.parametrize("key", BAD)
def test_bad_points_are_refused_in_one_sentence(key: str) -> None:
    with pytest.raises(Refused) as refused:
        outline_of(replace(VIOLIN, outline_points=BAD[key]))
    assert [f.key for f in refused.value.findings] == [key]


@pytest.mark.parametrize(
    "change",
    [
        {"lower_width_mm": -3.0},
        {"waist_at_mm": 20.0},
        {"upper_at_mm": 400.0},
        {"length_mm": np.nan},
    ],
)
def test_impossible_dimensions_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(Refused):
        outline_of(replace(VIOLIN, **change))


def test_an_inset_wider_than_the_body_is_refused() -> None:
    with pytest.raises(Refused):
        outline_of(NARROW).inset(60.0)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.floats(215.0, 400.0), st.floats(0.2, 0.6), st.floats(0.4, 0.8), st.floats(0.75, 0.95),
    st.floats(0.2, 0.95),
)  # fmt: skip
def test_any_sensible_body_gives_a_simple_outline_with_its_widths(
    length: float, slender: float, waist: float, upper: float, corner: float
) -> None:
    lower_w = slender * length
    upper_w = upper * lower_w
    waist_w = min(waist, 0.95 * upper) * lower_w
    body = replace(
        VIOLIN,
        length_mm=length,
        lower_width_mm=lower_w,
        upper_width_mm=upper_w,
        waist_width_mm=waist_w,
        lower_at_mm=0.21 * length,
        waist_at_mm=0.55 * length,
        upper_at_mm=0.81 * length,
        lower_corner_at_mm=0.39 * length,
        upper_corner_at_mm=0.64 * length,
        upper_corner_width_mm=waist_w + corner * (upper_w - waist_w),
        lower_corner_width_mm=waist_w + corner * (lower_w - waist_w),
    )
    outline = outline_of(body)
    assert outline.polygon.is_valid
    at = [body.lower_at_mm, body.waist_at_mm, body.upper_at_mm]
    np.testing.assert_allclose(
        2.0 * outline.half_widths(at)[0], [lower_w, waist_w, upper_w], atol=0.1
    )
