"""Exact slopes against central differences; rigid motion costs nothing; beams against composite
theory."""

from dataclasses import replace

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.shell import stress as st
from graduale.shell.beams import Beams
from graduale.shell.facets import triads_of
from graduale.shell.fronts import FrontFactor
from graduale.shell.model import Links, Shell
from graduale.shell.modes import free_modes
from graduale.shell.solver import factor, factor_held, factor_lu
from graduale.shell.structure import Structure

SPRUCE_Q = np.array([[12000.0, 330.0, 40.0], [330.0, 900.0, 15.0], [40.0, 15.0, 750.0]])
SPRUCE_H = np.array([[700.0, 5.0], [5.0, 40.0]])


def arched(
    nx: int, ny: int, length: float, width: float, rise: float, shake: float = 0.15
) -> Shell:
    """An anisotropic strip arched along x, inner nodes shaken, on a nominal thickness of 3."""
    x, y = np.meshgrid(np.linspace(0, length, nx + 1), np.linspace(0, width, ny + 1), indexing="ij")
    nodes = np.stack([x.ravel(), y.ravel(), rise * np.sin(np.pi * x.ravel() / length)], axis=1)
    rng = np.random.default_rng(4)
    inner = (x.ravel() % length > 1e-9) & (y.ravel() % width > 1e-9)
    nodes[inner, :2] += rng.uniform(-shake, shake, (int(inner.sum()), 2)) * length / nx
    tri = []
    for i in range(nx):
        for j in range(ny):
            a, b = i * (ny + 1) + j, (i + 1) * (ny + 1) + j
            tri += [[a, b, b + 1], [a, b + 1, a + 1]]
    triangles = np.array(tri)
    count = len(triangles)
    return Shell(
        nodes,
        triangles,
        triads_of(nodes, triangles, np.array([1.0, 0.0, 0.0])),
        np.tile(SPRUCE_Q, (count, 1, 1)),
        np.tile(SPRUCE_H, (count, 1, 1)),
        np.full(count, 4.3e-10),
        np.full(count, 3.0),
        np.ones(count),
        Links.none(len(nodes)),
    )


def with_bar() -> Structure:
    """The strip with a bar along its middle."""
    shell = arched(14, 4, 210.0, 60.0, 9.0)
    line = np.array([i * 5 + 2 for i in range(2, 13)])
    pairs = np.stack([line[:-1], line[1:]], axis=1)
    count = len(pairs)
    bar = Beams(
        shell.nodes,
        pairs,
        np.tile([0.0, 0.0, -1.0], (count, 1)),
        np.full(count, 5.0),
        np.full(count, 9.0),
        np.full(count, 4.5 - 1.5),
        11000.0,
        700.0,
        4.3e-10,
        shell.links,
    )
    return Structure(shell, np.full(len(shell.triangles), np.nan), (bar,))


def thickness(structure: Structure) -> Floats:
    """An uneven map, off the nominal one."""
    rng = np.random.default_rng(1)
    return 2.7 + 0.5 * rng.uniform(-1, 1, len(structure.shell.nodes))


def direction(structure: Structure) -> Floats:
    """A random change of the map."""
    return np.random.default_rng(2).normal(size=len(structure.shell.nodes))


def clamped(structure: Structure) -> "np.typing.NDArray[np.int64]":
    """All freedoms of the first five nodes."""
    return np.arange(30)


def test_hertz_slopes_are_those_of_central_differences() -> None:
    structure = with_bar()
    t, d, step = thickness(structure), direction(structure), 1e-4

    def hertz(at: Floats) -> Floats:
        return free_modes(structure.stiffness(at), structure.mass(at), 5).hz

    found = free_modes(structure.stiffness(t), structure.mass(t), 5)
    numeric = (hertz(t + step * d) - hertz(t - step * d)) / (2 * step)
    assert structure.hertz_slopes(t, found).T @ d == pytest.approx(numeric, rel=2e-5)


@pytest.mark.parametrize("warped", [False, True])
def test_compliance_and_stress_slopes_are_those_of_central_differences(warped: bool) -> None:
    """Plane sections, and the read-out with sections that warp under a grain that slopes."""
    structure = with_bar()
    couple = 1e-3 * np.sin(np.arange(6.0 * len(structure.shell.triangles))).reshape(-1, 3, 2)
    structure = replace(structure, shell=replace(structure.shell, couple=couple))
    shell = structure.shell
    t, d, step = thickness(structure), direction(structure), 1e-4
    load = np.zeros(shell.size)
    load[6 * 72 + 2], load[6 * 70] = -3.0, 2.0
    turn = np.tile(np.eye(3), (4, 1, 1))
    face = np.ones(4) if warped else np.array([1.0, 1.0, -1.0, 1.0])
    middle = np.array([[0.2, 0.3, 0.5], [0.6, 0.2, 0.2], [0.1, 0.8, 0.1], [0.3, 0.4, 0.3]])
    plain = st.Disc(np.array([40, 41, 44, 52]), np.array([0.1, 0.4, 0.3, 0.2]), face, turn, middle)
    disc = st.refined(shell, plain) if warped else plain
    weight = np.array([[1.0], [0.4], [-0.7]])

    def answer(at: Floats) -> tuple[Floats, Floats, object]:
        held = factor_held(structure.stiffness(at), clamped(structure))
        u = held.solve(load)
        mean = st.stress(shell, structure.facet_thickness(at), disc, u[:, None])
        return np.array([load @ u, float(weight[:, 0] @ mean[:, 0])]), u, held

    _, u, held = answer(t)
    facet = structure.facet_thickness(t)
    adjoint = held.solve(st.pull_back(shell, facet, disc, weight))  # type: ignore[attr-defined]
    both = np.column_stack([u, adjoint[:, 0]])
    through = structure.stiffness_slopes(t, both, np.column_stack([u, u]))
    direct = structure.averaging.T @ st.explicit_slopes(shell, facet, disc, u[:, None], weight)
    exact = np.array([-through[:, 0] @ d, (direct[:, 0] - through[:, 1]) @ d])
    numeric = (answer(t + step * d)[0] - answer(t - step * d)[0]) / (2 * step)
    assert exact == pytest.approx(numeric, rel=1e-5)


def test_rigid_motion_costs_nothing() -> None:
    structure = with_bar()
    k = structure.stiffness(thickness(structure))
    nodes = structure.shell.nodes
    for turn in np.eye(3):
        motion = np.zeros((len(nodes), 6))
        motion[:, :3] = np.cross(turn, nodes) + turn
        motion[:, 3:] = turn
        u = motion.ravel()
        assert np.abs(k @ u).max() < 1e-7 * np.abs(k).max() * np.abs(u).max()


def test_mass_is_that_of_the_wood() -> None:
    structure = with_bar()
    t = thickness(structure)
    m = structure.mass(t)
    along_z = np.tile([0.0, 0.0, 1.0, 0.0, 0.0, 0.0], len(structure.shell.nodes))
    assert along_z @ m @ along_z * 1e6 == pytest.approx(structure.mass_g(t), rel=1e-9)


def test_offset_middle_surface_bends_like_a_plate_about_its_own_middle() -> None:
    """A flat strip thinned from 3 to 2 with its outside kept bends as a strip 2 thick.

    Source: Euler-Bernoulli cantilever w = F L^3 / (3 E I), textbook; isotropic, nu = 0.
    """
    shell = arched(40, 2, 200.0, 10.0, 0.0)
    count, e = len(shell.triangles), 1.0e4
    q, h = np.diag([e, e, e / 2.0]), np.diag([e / 2.0, e / 2.0])
    plain = Shell(
        shell.nodes,
        shell.triangles,
        shell.triads,
        np.tile(q, (count, 1, 1)),
        np.tile(h, (count, 1, 1)),
        shell.density,
        shell.t_ref,
        shell.outward,
        shell.links,
    )
    structure = Structure(plain, np.full(count, np.nan))
    held = factor_held(structure.stiffness(np.full(len(shell.nodes), 2.0)), np.arange(18))
    load = np.zeros(plain.size)
    tips = np.arange(len(shell.nodes) - 3, len(shell.nodes))
    load[6 * tips + 2] = np.array([0.25, 0.5, 0.25])
    bent = float(load @ held.solve(load))
    assert bent == pytest.approx(200.0**3 / (3.0 * e * 10.0 * 2.0**3 / 12.0), rel=6e-3)


def test_a_glued_bar_makes_a_composite_section() -> None:
    """Plate 20 x 3 with a bar 5 x 10 under it, cantilever 200 long.

    Source: parallel-axis theorem, textbook (no shear: our beam and plate shear, hence 1 %).
    """
    shell = arched(20, 2, 200.0, 20.0, 0.0, shake=0.0)
    count, e = len(shell.triangles), 1.0e4
    q, h = np.diag([e, e, e / 2.0]), np.diag([e / 2.0, e / 2.0])
    moduli = np.tile(q, (count, 1, 1)), np.tile(h, (count, 1, 1))
    plain = Shell(
        shell.nodes, shell.triangles, shell.triads, *moduli, shell.density, shell.t_ref,
        shell.outward, shell.links,
    )  # fmt: skip
    middle = np.array([i * 3 + 1 for i in range(21)])
    pairs = np.stack([middle[:-1], middle[1:]], axis=1)
    full = np.ones(20)
    inward = np.tile([0.0, 0.0, -1.0], (20, 1))
    bar = Beams(
        plain.nodes,
        pairs,
        inward,
        5.0 * full,
        10.0 * full,
        3.5 * full,
        e,
        e / 2.0,
        1e-9,
        plain.links,
    )
    structure = Structure(plain, np.full(count, np.nan), (bar,))
    held = factor_held(structure.stiffness(np.full(len(plain.nodes), 3.0)), np.arange(18))
    load = np.zeros(plain.size)
    load[6 * middle[-1] + 2] = 1.0
    axis = 50.0 * 6.5 / 110.0
    inertia = 20.0 * 27.0 / 12.0 + 60.0 * axis**2 + 5.0 * 1000.0 / 12.0 + 50.0 * (6.5 - axis) ** 2
    assert float(load @ held.solve(load)) == pytest.approx(
        200.0**3 / (3.0 * e * inertia), rel=0.012
    )


def test_the_door_to_the_solver_takes_another_solver() -> None:
    """The door's answer is that of LAPACK's dense solver (numpy), a second, independent one."""
    structure = with_bar()
    k = structure.stiffness(thickness(structure))
    free = np.arange(30, k.shape[0])
    inner = k[free][:, free].tocsc()
    right = np.random.default_rng(5).normal(size=(len(free), 2))
    dense = pytest.approx(np.linalg.solve(inner.toarray(), right), rel=1e-6, abs=1e-9)
    mine = factor(inner)
    assert isinstance(mine, FrontFactor)
    assert mine.solve(right) == dense
    assert factor_lu(inner).solve(right) == dense
