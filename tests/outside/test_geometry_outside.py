"""Geometry against general-purpose libraries and the trade's own figures."""

import numpy as np
import pytest
import shapely
from scipy.interpolate import NdBSpline

from graduale.geometry.arching import arching_of
from graduale.geometry.outline import outline_of
from graduale.geometry.spline import Net, Surface
from graduale.geometry.surface import shortest_from_vertical
from graduale.records.instrument import ArchShape, Body
from tests.exact.geometry_bodies import NARROW, NARROW_TOP, VIOLIN, VIOLIN_TOP
from tests.verification import Verified


def _waist_slope(body: Body, shape: ArchShape) -> float:
    """Steepest slope within 8 mm of the waist, degrees."""
    arching = arching_of(shape, outline_of(body))
    y = np.arange(0.0, 0.5 * body.waist_width_mm, 0.25)
    lines = [np.column_stack([np.full(len(y), body.waist_at_mm + d), y]) for d in (-8.0, 0.0, 8.0)]
    return float(arching.slope_deg(np.vstack(lines)).max())


def test_the_flank_of_a_violin_waist(verified: Verified) -> None:
    """Trade text: 'a full violin's waist about 21 degrees'; common practice, no source."""
    ours = _waist_slope(VIOLIN, VIOLIN_TOP)
    verified(
        "steepest slope at a full violin's waist, by rule",
        ours,
        21.0,
        source="common practice, no source",
        status="practice",
        abs=1.5,
        unit="deg",
    )


def test_the_flank_of_a_narrow_waist(verified: Verified) -> None:
    """Trade text: 'a waist 60 wide with 8-10 of rise has flanks of 27-32 degrees'."""
    ours = _waist_slope(NARROW, NARROW_TOP)
    verified(
        "steepest slope at a waist of 60 with 9 of rise, by rule",
        ours,
        29.5,
        source="common practice, no source",
        status="practice",
        abs=2.5,
        unit="deg",
    )


def test_the_surface_is_the_general_librarys_b_spline() -> None:
    """Values and all derivatives of the same coefficients by scipy.interpolate.NdBSpline."""
    rng = np.random.default_rng(5)
    net = Net(-4.0, 10.0, 2.5, 9, 7)
    surface = Surface(net, rng.normal(size=net.shape))
    knots = tuple(
        origin + 2.5 * np.arange(-3, cells + 4)
        for origin, cells in ((-4.0, net.cells_x), (10.0, net.cells_y))
    )
    reference = NdBSpline(knots, np.asarray(surface.coefficients), k=3)
    xy = rng.uniform([-4.0, 10.0], [-4.0 + 22.5, 10.0 + 17.5], (200, 2))
    orders = ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))
    ours = surface.values(xy, orders)
    for column, order in enumerate(orders):
        np.testing.assert_allclose(ours[:, column], reference(xy, nu=order), atol=1e-11)


@pytest.mark.parametrize("body", [VIOLIN, NARROW])
def test_distance_to_the_edge_agrees_with_the_polygon_library(body: Body) -> None:
    outline = outline_of(body)
    rng = np.random.default_rng(6)
    low, high = outline.xy.min(axis=0) - 10.0, outline.xy.max(axis=0) + 10.0
    xy = rng.uniform(low, high, (2000, 2))
    away = shapely.distance(outline.polygon.exterior, shapely.points(xy))
    inside = shapely.contains_xy(outline.polygon, xy)
    np.testing.assert_allclose(outline.edge_distance(xy), np.where(inside, away, -away), atol=1e-9)


def test_thickness_on_a_flank_is_vertical_times_cosine(verified: Verified) -> None:
    """'At 20 degrees with 4 vertical: 3.76 shortest' for parallel faces, plane geometry."""
    flank = ArchShape(crown_mm=15.5, edge_mm=4.0, channel_mm=3.2, channel_at_mm=5.0)
    outline = outline_of(VIOLIN)
    arching = arching_of(flank, outline)
    y = np.arange(20.0, 45.0, 0.02)
    line = np.column_stack([np.full(len(y), VIOLIN.waist_at_mm), y])
    at = line[[int(np.argmin(np.abs(arching.slope_deg(line) - 20.0)))]]
    ours = float(shortest_from_vertical(arching, at, [4.0])[0])
    verified(
        "shortest thickness under a 20 degree flank, 4 vertical",
        ours,
        4.0 * np.cos(np.radians(20.0)),
        source="plane geometry: t = t_vertical cos(slope); the flank itself is curved",
        status="C",
        abs=0.12,
        unit="mm",
    )
