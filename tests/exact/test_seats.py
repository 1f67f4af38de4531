"""Seats of corner blocks on bodies that nobody has chosen."""

import numpy as np
import pytest
import shapely

from graduale.box.plate import plate_bodies
from graduale.files.instrument import parse_instrument
from graduale.geometry.seats import corner_seats
from graduale.jobs.seeded import seeded_toml
from graduale.thickness.field import layout_of


@pytest.mark.parametrize("seed", [3, 17, 20261125])
def test_a_seat_is_a_simple_ring_inside_the_edge_and_holds_the_corner(seed: int) -> None:
    instrument = parse_instrument(seeded_toml(seed, "narrow-fiddle"), "seeded.toml").instrument
    body = plate_bodies(instrument)["back"]
    edge = shapely.Polygon(body.outline.xy)
    reach = instrument.blocks.corner_depth_mm
    seats = corner_seats(body.outline.xy, body.outline.corners, reach)
    assert len(seats) == len(body.outline.corners)
    for ring, tip in zip(seats, body.outline.corners, strict=True):
        seat = shapely.Polygon(ring)
        assert seat.is_valid
        assert seat.difference(edge).area < 1e-6
        assert seat.distance(shapely.Point(tip)) < 0.5
        assert np.hypot(*(ring - tip).T).max() <= reach + 0.5
    layout = layout_of(instrument, body)
    assert layout.free.is_valid
    assert 0.3 * edge.area < layout.free.area < edge.area


def test_no_seat_without_reach() -> None:
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    assert corner_seats(square, [(0.0, 0.0)], 0.0) == []


def test_the_seat_of_a_square_corner_is_half_a_square() -> None:
    """Both legs 4 long: area 8 (plane geometry)."""
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    seat = corner_seats(square, [(10.0, 10.0)], 4.0)[0]
    assert shapely.Polygon(seat).area == pytest.approx(8.0)
