"""Shortest distance to the outside: spheres and planes exactly, the real arch by brute force."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.outline import outline_of
from graduale.geometry.spline import Net, Surface
from graduale.geometry.surface import (
    inside_from_thickness,
    shortest_distance,
    shortest_from_vertical,
    vertical_from_shortest,
)
from graduale.records.instrument import ArchShape, Body
from tests.exact.geometry_bodies import NARROW, NARROW_TOP, VIOLIN, VIOLIN_TOP


@dataclass(frozen=True, eq=False)
class _Formula(Arching):
    """An outside known by formula."""

    def height(self, xy: ArrayLike) -> Floats:
        return self.all_at(xy)[:, 0]

    def gradient(self, xy: ArrayLike) -> Floats:
        return self.all_at(xy)[:, 1:3]


class _Sphere(_Formula):
    """Radius 40 about (0, 0, -20)."""

    def all_at(self, xy: ArrayLike) -> Floats:
        x, y = np.atleast_2d(np.asarray(xy, dtype=np.float64)).T
        z = np.sqrt(1600.0 - x * x - y * y)
        second = [-(1600.0 - y * y) / z**3, -x * y / z**3, -(1600.0 - x * x) / z**3]
        return np.column_stack([z - 20.0, -x / z, -y / z, *second])


class _Slope(_Formula):
    """A plane that falls by 20 degrees toward +y."""

    def all_at(self, xy: ArrayLike) -> Floats:
        y = np.atleast_2d(np.asarray(xy, dtype=np.float64))[:, 1]
        fall = np.tan(np.radians(20.0))
        out = np.zeros((len(y), 6))
        out[:, 0], out[:, 2] = 12.0 - fall * y, -fall
        return out


_FLAT = Surface(Net(0.0, 0.0, 1.0, 4, 4), np.zeros((7, 7)))


def test_distance_to_a_sphere_is_radius_less_distance_from_its_centre() -> None:
    rng = np.random.default_rng(2)
    plan = rng.uniform(-18.0, 18.0, (400, 2))
    sphere = _Sphere(_FLAT)
    points = np.column_stack([plan, sphere.height(plan) - rng.uniform(0.0, 8.0, 400)])
    distance, foot = shortest_distance(sphere, points)
    from_centre = points + np.array([0.0, 0.0, 20.0])
    radius = np.linalg.norm(from_centre, axis=1)
    np.testing.assert_allclose(distance, 40.0 - radius, atol=1e-9)
    np.testing.assert_allclose(foot, 40.0 * from_centre[:, :2] / radius[:, None], atol=1e-6)


def test_on_a_plane_thickness_is_vertical_times_cosine() -> None:
    """At 20 degrees with 4 vertical: 3.76 (`physics.md` section 1: t = t_vertical cos slope)."""
    plane = _Slope(_FLAT)
    spot = np.array([[3.0, 2.0]])
    got = shortest_from_vertical(plane, spot, [4.0])[0]
    assert got == pytest.approx(4.0 * np.cos(np.radians(20.0)), abs=1e-9)
    assert vertical_from_shortest(plane, spot, [got])[0] == pytest.approx(4.0, abs=1e-6)


@pytest.mark.parametrize(("body", "shape"), [(VIOLIN, VIOLIN_TOP), (NARROW, NARROW_TOP)])
def test_no_sampled_point_of_the_arch_is_nearer(body: Body, shape: ArchShape) -> None:
    """Against a sampling of the outside every 0.1 mm within 7 mm: brute force."""
    outline = outline_of(body)
    arching = arching_of(shape, outline)
    rng = np.random.default_rng(3)
    plan = rng.uniform(outline.xy.min(axis=0), outline.xy.max(axis=0), (400, 2))
    plan = plan[outline.edge_distance(plan) > 2.0][:60]
    depth = rng.uniform(0.5, 5.0, len(plan))
    points = np.column_stack([plan, arching.height(plan) - depth])
    distance, foot = shortest_distance(arching, points)
    line = np.arange(-7.0, 7.01, 0.1)
    near = np.column_stack([g.ravel() for g in np.meshgrid(line, line)])
    for point, ours in zip(points, distance, strict=True):
        around = near + point[:2]
        sampled = np.sqrt(np.sum(near**2, axis=1) + (arching.height(around) - point[2]) ** 2)
        assert ours <= sampled.min() + 1e-9
        assert ours >= sampled.min() - 0.02
    reached = np.column_stack([foot, arching.height(foot)])
    np.testing.assert_allclose(np.linalg.norm(reached - points, axis=1), distance, atol=1e-9)


def test_the_inside_face_has_its_thickness_and_stays_above_the_gluing_plane() -> None:
    outline = outline_of(NARROW)
    arching = arching_of(NARROW_TOP, outline)
    plan = outline.inset(9.0)
    z = inside_from_thickness(arching, lambda xy: 2.0 + 0.005 * xy[:, 0], plan)
    want = 2.0 + 0.005 * plan[:, 0]
    free = z > 0.0
    assert 0 < free.sum() <= len(plan)
    distance, _foot = shortest_distance(arching, np.column_stack([plan, z]))
    np.testing.assert_allclose(distance[free], want[free], atol=1e-5)
    held = inside_from_thickness(arching, lambda xy: np.full(len(xy), 50.0), plan)
    np.testing.assert_array_equal(held, 0.0)
