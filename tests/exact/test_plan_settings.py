"""Settings against a slow judge: a dense cloud of the outside and a dense cloud of the bit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.plan.bits import Bit
from graduale.plan.nearest import Outside, normals
from graduale.plan.seat import Axes, level_axes, rest_tip, square_axes
from graduale.plan.settings import deepest, what_is_left, world
from tests.exact.plan_cases import bit_cloud, drill
from tests.exact.plan_surfaces import Waves, bumpy

BITS = (
    Bit("flat", 2.0, 0.0),
    Bit("point118", 3.0, 0.0),
    Bit("ball", 2.5, 0.0),
    Bit("brad", 2.0, 1.5),
)


def dense_bit(bit: Bit) -> Floats:
    """The bit's end (k, 3), drawn here from its shape and not by the code under test."""
    return bit_cloud(drill(bit_shape=bit.shape, bit_mm=2 * bit.radius_mm, spur_mm=bit.spur_mm))


def cloud(outside: Outside, middle: Floats, reach_mm: float = 10.0, step_mm: float = 0.1) -> Floats:
    """Points (m, 3) of the outside over a square; a distance read off them is at most
    step^2 / 4 / distance too long (0.0008 mm at 3 mm)."""
    line = np.arange(-reach_mm, reach_mm, step_mm)
    xy = np.stack(np.meshgrid(line, line, indexing="ij"), axis=-1).reshape(-1, 2) + middle
    return np.column_stack([xy, outside.height(xy)])


def judge(outside: Outside, axes: Axes, bit: Bit, along: Floats, i: int) -> tuple[Floats, Floats]:
    """Points (m, 3) of the bit in the wood and their distances (m,) to a cloud of the outside."""
    one = Axes(axes.mark[i : i + 1], axes.frame[i : i + 1], axes.hit[i : i + 1])
    q = world(one, dense_bit(bit), along[i : i + 1])[0]
    q = q[q[:, 2] > 0]
    distance, _ = cKDTree(cloud(outside, q[0, :2])).query(q)
    return q, np.asarray(distance)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("held", ["level", "square"])
def test_least_left_on_a_bumpy_outside(seed: int, held: str) -> None:
    outside = bumpy(seed)
    rng = np.random.default_rng(seed + 100)
    xy = rng.uniform(-18, 18, (3, 2))
    bit = BITS[seed]
    axes = (level_axes if held == "level" else square_axes)(outside, xy)
    along = rest_tip(outside, axes, 5.0) - rng.uniform(3.0, 5.0, 3)
    left = what_is_left(outside, axes, bit, along)
    for i in range(len(xy)):
        assert left.least_mm[i] == pytest.approx(
            np.min(judge(outside, axes, bit, along, i)[1]), abs=0.003
        )


@pytest.mark.parametrize("held", ["level", "square"])
@pytest.mark.parametrize("radius_mm", [2.0, 5.0, 12.0])
def test_the_rest_touches_and_does_not_enter(held: str, radius_mm: float) -> None:
    outside = bumpy(7)
    xy = np.random.default_rng(3).uniform(-15, 15, (4, 2))
    axes = (level_axes if held == "level" else square_axes)(outside, xy)
    middle = axes.at(rest_tip(outside, axes, radius_mm) + radius_mm)
    for i in range(len(xy)):
        points = cloud(outside, xy[i], 13.0)
        near = np.min(np.linalg.norm(points - middle[i], axis=1))
        assert near == pytest.approx(radius_mm, abs=0.004)


def test_a_channel_tighter_than_the_tip_lifts_the_plate() -> None:
    """A trough h = 8 - cos(k y) of depth 2: a tip of 5 bears on both sides, so the gap leaves
    less."""
    outside = Waves(8.0, ((-1.0, 0.0, 2 * np.pi / 8.0, 0.0),))
    axes = level_axes(outside, np.array([[0.0, 0.0]]))
    assert rest_tip(outside, axes, 0.5)[0] == pytest.approx(7.0, abs=1e-3)
    y = np.linspace(-5, 5, 200001)
    slow = np.max(8.0 - np.cos(2 * np.pi / 8 * y) + np.sqrt(25 - y**2)) - 5.0
    assert slow > 7.5
    assert rest_tip(outside, axes, 5.0)[0] == pytest.approx(slow, abs=1e-3)


def test_square_axes_are_square() -> None:
    outside = bumpy(5)
    axes = square_axes(outside, np.random.default_rng(1).uniform(-15, 15, (20, 2)))
    foot = axes.at(axes.hit)
    assert foot[:, 2] == pytest.approx(outside.height(foot[:, :2]), abs=1e-8)
    assert np.sum(normals(outside, foot[:, :2]) * axes.outward, axis=1) == pytest.approx(
        1.0, abs=1e-9
    )


@settings(max_examples=12, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    which=st.integers(0, 3),
    held=st.sampled_from(["level", "square"]),
    lean=st.floats(-0.03, 0.03),
)
def test_deepest_keeps_what_is_needed(seed: int, which: int, held: str, lean: float) -> None:
    """At the deepest setting every dense point of the bit keeps its own need, and one just keeps
    it."""
    outside, bit = bumpy(seed), BITS[which]
    xy = np.random.default_rng(seed).uniform(-18, 18, (3, 2))
    axes = (level_axes if held == "level" else square_axes)(outside, xy)

    def need(at: Floats) -> Floats:
        return 4.0 + lean * at[:, 0]

    along = deepest(outside, axes, bit, need, np.full(3, 0.2))
    for i in range(3):
        q, distance = judge(outside, axes, bit, along, i)
        over = distance - need(q[:, :2]) - 0.2
        assert np.min(over) > -0.001
        assert np.min(over) < 0.004
