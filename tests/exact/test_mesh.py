"""The mesher: areas, edges where they were asked for, quality, the same mesh every time."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.base.arrays import Floats, Ints
from graduale.base.findings import Refused
from graduale.geometry.curves import resample_ring, signed_area, turning_deg
from graduale.geometry.mesh import PlateMesh, mesh_plate, ring_nodes
from graduale.geometry.meshedges import delaunay, edges_of, missing, with_segments
from graduale.geometry.openings import soundholes_of
from graduale.geometry.outline import Outline, outline_of
from graduale.records.instrument import Body, Soundholes
from tests.exact.geometry_bodies import (
    NARROW,
    NARROW_HOLES,
    SMOOTH,
    THIN_WAIST,
    VIOLIN,
    VIOLIN_HOLES,
)

SQUARE = np.array([[0.0, 0.0], [120.0, 0.0], [120.0, 80.0], [0.0, 80.0]])


def _circle(x: float, y: float, radius: float, count: int = 90) -> Floats:
    t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    return np.column_stack([x + radius * np.cos(t), y + radius * np.sin(t)])


def _rib_line(outline: Outline, size: float) -> Floats:
    ring = outline.inset(3.0)
    nodes = resample_ring(ring, size, np.flatnonzero(np.abs(turning_deg(ring)) > 35.0))
    return np.vstack([nodes, nodes[:1]])


def _closed(nodes: Ints) -> Ints:
    return np.column_stack([nodes, np.roll(nodes, -1)])


def _sound(mesh: PlateMesh, holes: int) -> None:
    """What every mesh must be."""
    count = len(mesh.xy)
    assert mesh.areas.min() > 0.0
    assert np.array_equal(np.unique(mesh.triangles), np.arange(count))
    assert len(np.unique(mesh.xy.round(9), axis=0)) == count
    edges = edges_of(mesh.triangles)
    assert count - len(edges) + len(mesh.triangles) == 1 - holes
    rings = [_closed(mesh.outline_nodes), *(_closed(o) for o in mesh.opening_nodes)]
    assert len(missing(mesh.triangles, np.vstack(rings), count)) == 0
    area = signed_area(mesh.xy[mesh.outline_nodes])
    area -= sum(abs(signed_area(mesh.xy[o])) for o in mesh.opening_nodes)
    assert mesh.areas.sum() == pytest.approx(area, rel=1e-9)


def _are_edges(mesh: PlateMesh, nodes: Ints, closed: bool) -> bool:
    pairs = _closed(nodes) if closed else np.column_stack([nodes[:-1], nodes[1:]])
    return len(missing(mesh.triangles, pairs, len(mesh.xy))) == 0


def test_a_rectangle_with_a_round_hole() -> None:
    mesh = mesh_plate(SQUARE, [_circle(60.0, 40.0, 12.0)], 6.0)
    _sound(mesh, 1)
    assert mesh.areas.sum() == pytest.approx(120.0 * 80.0 - np.pi * 144.0, rel=2e-3)
    assert mesh.min_angle_deg > 28.0
    inner = np.hypot(*(mesh.xy[mesh.opening_nodes[0]] - [60.0, 40.0]).T)
    np.testing.assert_allclose(inner, 12.0, atol=0.01)


@pytest.mark.parametrize("size", [9.0, 6.0, 4.0])
def test_edges_have_the_wanted_length(size: float) -> None:
    mesh = mesh_plate(SQUARE, [], size)
    ends = mesh.xy[edges_of(mesh.triangles)]
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    assert np.median(length) == pytest.approx(size, rel=0.12)
    assert length.max() < 1.7 * size
    assert length.min() > 0.5 * size


def test_a_disc_is_finer_and_fades_out() -> None:
    mesh = mesh_plate(SQUARE, [], 8.0, refine=[(40.0, 40.0, 10.0, 3.0)])
    _sound(mesh, 0)
    ends = mesh.xy[edges_of(mesh.triangles)]
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    away = np.hypot(*(ends.mean(axis=1) - [40.0, 40.0]).T)
    assert length[away < 9.0].max() < 4.5
    assert np.median(length[away > 35.0]) > 6.5
    assert mesh.min_angle_deg > 28.0


PLATES: list[tuple[Body, Soundholes | None]] = [
    (VIOLIN, VIOLIN_HOLES),
    (NARROW, NARROW_HOLES),
    (SMOOTH, NARROW_HOLES),
    (THIN_WAIST, None),
]


@pytest.mark.parametrize("size", [8.0, 7.0, 5.0])
@pytest.mark.parametrize(("body", "holes"), PLATES)
def test_a_plate_with_rib_line_bar_and_holes(
    body: Body, holes: Soundholes | None, size: float
) -> None:
    """Fixed rib nodes kept exactly and as edges, the bar a line of edges, fine at its ends."""
    outline = outline_of(body)
    rings = soundholes_of(holes, body, outline) if holes else ()
    y = 0.07 * body.waist_width_mm
    bar = np.array([[45.0, 1.2 * y], [body.length_mm - 45.0, y]])
    rib = _rib_line(outline, size)
    spots = [(float(x), float(v), 12.0, 4.0) for x, v in bar]
    mesh = mesh_plate(outline.xy, rings, size, lines=[bar], fixed_lines=[rib], refine=spots)
    _sound(mesh, len(rings))
    along, ring = mesh.lines
    assert _are_edges(mesh, along, closed=False)
    assert _are_edges(mesh, ring, closed=True)
    np.testing.assert_array_equal(mesh.xy[ring], rib[:-1])
    np.testing.assert_array_equal(mesh.xy[along[[0, -1]]], bar)
    across = (mesh.xy[along] - bar[0]) @ np.array([bar[0, 1] - bar[1, 1], bar[1, 0] - bar[0, 0]])
    np.testing.assert_allclose(across, 0.0, atol=1e-6)
    assert mesh.min_angle_deg > 13.0
    assert np.mean(mesh.min_angles_deg < 22.0) < 0.005


def test_the_overhang_is_one_row_of_triangles() -> None:
    """Between rib line and edge no node lies, and every triangle there touches both."""
    outline = outline_of(VIOLIN)
    mesh = mesh_plate(outline.xy, [], 8.0, fixed_lines=[_rib_line(outline, 8.0)])
    edge = np.zeros(len(mesh.xy), dtype=bool)
    edge[mesh.outline_nodes] = True
    line = np.zeros(len(mesh.xy), dtype=bool)
    line[mesh.lines[0]] = True
    middle = mesh.xy[mesh.triangles].mean(axis=1)
    strip = mesh.triangles[outline.edge_distance(middle) < 2.5]
    assert np.all((edge | line)[strip])
    assert np.all(edge[strip].any(axis=1))
    assert line[strip].any(axis=1).mean() > 0.95


def test_lines_keep_their_own_points_when_asked() -> None:
    bent = [[20.0, 20.0], [55.0, 33.0], [100.0, 20.0]]
    kept = mesh_plate(SQUARE, [], 8.0, lines=[bent], keep_vertices=True)
    on_line = kept.xy[kept.lines[0]]
    for point in bent:
        assert np.hypot(*(on_line - point).T).min() < 1e-9
    ring = np.vstack([_circle(60.0, 40.0, 20.0), _circle(60.0, 40.0, 20.0)[:1]])
    closed = mesh_plate(SQUARE, [], 8.0, lines=[ring])
    assert _are_edges(closed, closed.lines[0], closed=True)
    _sound(closed, 0)


def test_a_ring_for_two_meshes_is_fine_where_either_is() -> None:
    outline = outline_of(NARROW)
    nodes = ring_nodes(outline.inset(3.0), 8.0, refine=[(176.0, 27.0, 10.0, 3.0)])
    step = np.hypot(*(np.roll(nodes, -1, axis=0) - nodes).T)
    near = np.hypot(*(nodes - [176.0, 27.0]).T) < 8.0
    assert step[near].max() < 4.0
    assert np.median(step) > 6.0


def test_crossing_lines_are_refused() -> None:
    crossing = [[[20.0, 20.0], [100.0, 60.0]], [[20.0, 60.0], [100.0, 21.0]]]
    with pytest.raises(Refused, match="cross or touch"):
        mesh_plate(SQUARE, [], 8.0, lines=crossing)
    with pytest.raises(Refused, match="share a point"):
        mesh_plate(SQUARE, [], 8.0, lines=[[[0.0, 0.0], [60.0, 40.0]]])


@pytest.mark.parametrize("size", [0.0, -1.0])
def test_a_size_must_be_positive(size: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        mesh_plate(SQUARE, [], size)


def test_a_clockwise_edge_is_turned_round_and_gives_the_same_mesh() -> None:
    ring = outline_of(NARROW).xy
    meshes = [mesh_plate(r, [], 8.0) for r in (ring, ring[::-1], ring)]
    assert len({len(m.xy) for m in meshes}) <= 2
    assert meshes[0].xy.tobytes() == meshes[2].xy.tobytes()
    assert meshes[0].triangles.tobytes() == meshes[2].triangles.tobytes()
    assert meshes[1].areas.min() > 0.0


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_segments_are_put_into_random_triangles(seed: int) -> None:
    """The swapping of diagonals: any segment between random points becomes an edge."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, 100.0, (60, 2))
    far = np.argsort(xy[:, 0])
    segments = np.array([[far[0], far[-1]]])
    triangles, failed = with_segments(xy, delaunay(xy), segments)
    assert failed == []
    assert len(missing(triangles, segments, len(xy))) == 0
    u, v = xy[triangles[:, 1]] - xy[triangles[:, 0]], xy[triangles[:, 2]] - xy[triangles[:, 0]]
    areas = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    hull = 0.5 * np.abs(_doubled(xy, delaunay(xy))).sum()
    assert areas.min() > 0.0
    assert areas.sum() == pytest.approx(hull, rel=1e-9)


def _doubled(xy: Floats, triangles: Ints) -> Floats:
    a, b, c = (xy[triangles[:, k]] for k in range(3))
    return np.asarray((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])


def _wavy(rng: np.random.Generator) -> Floats:
    """A random smooth ring about 200 across."""
    t = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    radius = 70.0 + sum(
        rng.uniform(-14.0, 14.0) / k * np.cos(k * t + rng.uniform(0.0, 6.3)) for k in range(2, 6)
    )
    return np.column_stack([rng.uniform(1.0, 1.8) * radius * np.cos(t), radius * np.sin(t)])


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from([5.0, 7.0, 9.0]))
def test_any_smooth_plate_is_meshed_soundly(seed: int, size: float) -> None:
    rng = np.random.default_rng(seed)
    ring = _wavy(rng)
    hole = _circle(float(rng.uniform(-25.0, 25.0)), float(rng.uniform(5.0, 20.0)), 8.0)
    line: Sequence[Sequence[float]] = [[-45.0, -18.0], [45.0, float(rng.uniform(-25.0, -12.0))]]
    spot = (float(rng.uniform(-40.0, 40.0)), -15.0, 8.0, 3.5)
    mesh = mesh_plate(ring, [hole], size, lines=[line], refine=[spot])
    _sound(mesh, 1)
    assert _are_edges(mesh, mesh.lines[0], closed=False)
    assert mesh.min_angle_deg > 20.0
