"""Shell: curved shells and the obstacle course.

R. H. MacNeal and R. L. Harder, A proposed standard set of problems to test finite element accuracy,
Finite Elements in Analysis and Design 1 (1985) 3-20; NAFEMS standard benchmarks.
"""

from itertools import pairwise

import numpy as np
import pytest

from tests.outside.shell_cases import (
    ALL,
    X_PLANE,
    Y_PLANE,
    Z_PLANE,
    along_edge,
    at_node,
    grid,
    held,
    isotropic,
    rectangle,
    shell_of,
    solve,
    spread,
    stress_at,
)
from tests.verification import Verified

MH = "MacNeal & Harder 1985"


def barrel(mesh, radius: float) -> np.ndarray:
    """x along the axis, angle in degrees from the crown."""
    x, angle = mesh.u[:, 0], np.radians(mesh.u[:, 1])
    return np.column_stack([x, radius * np.sin(angle), radius * np.cos(angle)])


def test_roof(verified: Verified) -> None:
    mesh = rectangle(25.0, 40.0, 24, 24)
    shell, t = shell_of(barrel(mesh, 25.0), mesh.triangles, isotropic(4.32e8, 0.0), 0.25)
    fixed = held(
        (mesh.where(lambda x, y: x == 25), (1, 2)),
        (mesh.where(lambda x, y: x == 0), X_PLANE),
        (mesh.where(lambda x, y: y == 0), Y_PLANE),
    )
    u = solve(shell, t, fixed, spread(shell, (0, 0, -90.0)))
    verified(
        "Scordelis-Lo roof, middle of the free edge",
        -u[mesh.nearest(0, 40), 2],
        0.3024,
        source=MH,
        status="P",
        rel=0.01,
    )


def test_pinched_cylinder(verified: Verified) -> None:
    mesh = rectangle(300.0, 90.0, 24, 24)
    shell, t = shell_of(barrel(mesh, 300.0), mesh.triangles, isotropic(3e6, 0.3), 3.0)
    fixed = held(
        (mesh.where(lambda x, y: x == 300), (1, 2)),
        (mesh.where(lambda x, y: x == 0), X_PLANE),
        (mesh.where(lambda x, y: y == 0), Y_PLANE),
        (mesh.where(lambda x, y: y == 90), Z_PLANE),
    )
    u = solve(shell, t, fixed, at_node(shell, mesh.nearest(0, 0), (0, 0, -0.25)))
    verified(
        "pinched cylinder with diaphragms, under the load",
        -u[mesh.nearest(0, 0), 2],
        1.8248e-5,
        source=MH,
        status="P",
        rel=0.015,
    )


def pinched_hemisphere(top_deg: float, e: float, force: float) -> float:
    """Displacement under one of four forces at the equator; quarter model."""
    mesh = rectangle(90.0, top_deg, 40, 40)
    angle, rise = np.radians(mesh.u).T
    nodes = 10 * np.column_stack(
        [np.cos(rise) * np.cos(angle), np.cos(rise) * np.sin(angle), np.sin(rise)]
    )
    shell, t = shell_of(nodes, mesh.triangles, isotropic(e, 0.3), 0.04)
    first, second = mesh.nearest(0, 0), mesh.nearest(90, 0)
    fixed = held(
        (mesh.where(lambda x, y: x == 0), Y_PLANE),
        (mesh.where(lambda x, y: x == 90), X_PLANE),
        (np.array([first]), (2,)),
    )
    load = at_node(shell, first, (force, 0, 0)) + at_node(shell, second, (0, -force, 0))
    return float(solve(shell, t, fixed, load)[first, 0])


def test_hemispheres(verified: Verified) -> None:
    verified(
        "pinched hemisphere with a hole of 18°",
        pinched_hemisphere(72.0, 6.825e7, 1.0),
        0.0940,
        source=f"{MH} (others 0.0924)",
        status="P",
        rel=0.01,
    )
    verified(
        "NAFEMS LE3, hemisphere under point loads (top open by 0.5°)",
        pinched_hemisphere(89.5, 68.25e9, 2000.0),
        0.185,
        source="NAFEMS LE3",
        status="P",
        rel=0.01,
        unit="m",
    )


def test_twisted_beam(verified: Verified) -> None:
    mesh = rectangle(12.0, 1.1, 48, 8)
    x, s = mesh.u[:, 0], mesh.u[:, 1] - 0.55
    angle = x / 12 * np.pi / 2
    nodes = np.column_stack([x, s * np.cos(angle), s * np.sin(angle)])
    shell, t = shell_of(nodes, mesh.triangles, isotropic(29e6, 0.22), 0.32)
    fixed = held((mesh.where(lambda x, y: x == 0), ALL))
    tip, middle = mesh.where(lambda x, y: x == 12), mesh.nearest(12, 0.55)
    for way, force, axis, published in (
        ("along the tip's width", (0, 0, 1.0), 2, 0.005424),
        ("along the tip's thickness", (0, 1.0, 0), 1, 0.001754),
    ):
        u = solve(shell, t, fixed, along_edge(shell, tip, force))
        verified(
            f"twisted beam, load {way}",
            u[middle, axis],
            published,
            source=MH,
            status="P",
            rel=0.005,
        )


def test_cylindrical_patch(verified: Verified) -> None:
    """NAFEMS LE2, case 1: 30 degrees of a cylinder, R 1 m, t 10 mm, built in at one straight edge,
    bent by 1 kN m a metre at the other: 6 M/t^2 = 60 MPa on the outside, wherever it is read."""
    mesh = rectangle(500.0, 30.0, 12, 12)
    shell, t = shell_of(
        barrel(mesh, 1000.0), mesh.triangles, isotropic(210e3, 0.3), 10.0, toward=(1, 0, 0)
    )
    fixed = held(
        (mesh.where(lambda x, a: a == 0), ALL),
        (mesh.where(lambda x, a: (x == 0) | (x == 500)), X_PLANE),
    )
    edge = mesh.where(lambda x, a: a == 30)
    couple = along_edge(shell, edge, (1000.0 * 500.0, 0, 0)).reshape(-1, 6)
    load = np.zeros_like(couple)
    load[:, 3] = couple[:, 0]  # a couple about the axis
    u = solve(shell, t, fixed, load.ravel())
    middle = shell.nodes[mesh.nearest(250, 15)]
    face = 1.0 if shell.triads[0, 2] @ shell.nodes[0] > 0 else -1.0
    verified(
        "NAFEMS LE2, cylindrical patch under an edge moment, stress outside",
        abs(stress_at(shell, t, u, face, middle)[1]),
        60.0,
        source="NAFEMS LE2",
        status="P",
        rel=0.02,
        unit="MPa",
    )


def test_elliptic_membrane(verified: Verified) -> None:
    mesh = grid(np.linspace(0, 1, 25) ** 1.3, np.linspace(0, 1, 49) ** 1.3)
    r, angle = mesh.u[:, 0], mesh.u[:, 1] * np.pi / 2
    inner = np.column_stack([2 * np.cos(angle), np.sin(angle)])
    outer = np.column_stack([3.25 * np.cos(angle), 2.75 * np.sin(angle)])
    nodes = inner * (1 - r)[:, None] + outer * r[:, None]
    shell, t = shell_of(nodes, mesh.triangles, isotropic(210e3, 0.3), 0.1, toward=(1, 0, 0))
    edge = mesh.where(lambda a, b: a == 1)
    load = np.zeros((len(nodes), 6))
    for a, b in pairwise(edge):
        along = nodes[b] - nodes[a]
        load[[a, b], :2] += 10 * 0.1 * np.array([along[1], -along[0]]) / 2
    fixed = held(
        (np.arange(len(nodes)), (2, 3, 4)),
        (mesh.where(lambda a, b: b == 0), (1, 5)),
        (mesh.where(lambda a, b: b == 1), (0, 5)),
    )
    u = solve(shell, t, fixed, load.ravel())
    verified(
        "NAFEMS LE1, elliptic membrane, stress at D",
        stress_at(shell, t, u, 0.0, np.array([2.0, 0, 0]))[1],
        92.7,
        source="NAFEMS LE1",
        status="P",
        rel=0.01,
        unit="MPa",
    )


def test_z_section(verified: Verified) -> None:
    """The target equals thin-walled beam theory (Vlasov: sinh(.832)/cosh(1.109) gives -108.0)."""
    mesh = grid(np.linspace(0, 10, 41), np.linspace(0, 4, 17))
    x, s = mesh.u.T
    y = np.where(s <= 1, 1 - s, np.where(s >= 3, 3 - s, 0))
    z = np.clip(2 - s, -1, 1)
    nodes = np.column_stack([x, y, z])
    shell, t = shell_of(nodes, mesh.triangles, isotropic(210e9, 0.3), 0.1, toward=(1, 0, 0))
    fixed = held((mesh.where(lambda a, b: a == 0), ALL))
    top = mesh.where(lambda a, b: (a == 10) & (b <= 1))
    bottom = mesh.where(lambda a, b: (a == 10) & (b >= 3))
    load = along_edge(shell, top, (0, 0.6e6, 0)) + along_edge(shell, bottom, (0, -0.6e6, 0))
    u = solve(shell, t, fixed, load)
    ours = stress_at(shell, t, u, 0.0, np.array([2.5, 1.0, 1.0]))[0] / 1e6
    verified.beside(
        "NAFEMS LE5, Z-section cantilever, stress at A",
        ours,
        -108.0,
        source="NAFEMS LE5",
        status="P",
        unit="MPa",
        reason="The target is thin-walled beam theory, whose section keeps its shape",
    )
    assert -117.0 < ours < -108.0


def test_skew_plate(verified: Verified) -> None:
    mesh = rectangle(1.0, 1.0, 24, 24)
    a, b = mesh.u.T
    nodes = np.column_stack([a + b * np.cos(np.pi / 6), b * np.sin(np.pi / 6)])
    shell, t = shell_of(nodes, mesh.triangles, isotropic(210e9, 0.3), 0.01, toward=(1, 0, 0))
    edge = mesh.where(lambda x, y: (x == 0) | (y == 0) | (x == 1) | (y == 1))
    fixed = held((edge, (2,)), (np.arange(len(nodes)), (0, 1, 5)))
    u = solve(shell, t, fixed, spread(shell, (0, 0, -700.0)))
    middle = np.append(nodes[mesh.nearest(0.5, 0.5)], 0.0)
    s11, s22, s12 = stress_at(shell, t, u, -1.0, middle) / 1e6
    verified(
        "NAFEMS LE6, skew plate, greatest stress at the centre below",
        (s11 + s22) / 2 + np.hypot((s11 - s22) / 2, s12),
        0.802,
        source="NAFEMS LE6",
        status="P",
        rel=0.015,
        unit="MPa",
    )


@pytest.mark.parametrize("tilt", [(0.3, -0.2, 0.5), (0.0, 1.2, 0.0)])
def test_uniform_strain_on_any_triangles(tilt: tuple[float, float, float]) -> None:
    """Patch test: a linear in-plane displacement leaves no force inside, however the plate lies."""
    mesh = rectangle(10.0, 7.0, 4, 3)
    rng = np.random.default_rng(2)
    inside = mesh.where(lambda x, y: (x > 0) & (y > 0) & (x < 10) & (y < 7))
    flat = np.column_stack([mesh.u, np.zeros(len(mesh.u))])
    flat[inside, :2] += rng.uniform(-0.6, 0.6, (len(inside), 2))
    turn = rotation(tilt)
    shell, t = shell_of(flat @ turn.T, mesh.triangles, isotropic(1000.0, 0.3), 0.5)
    u = np.zeros((len(flat), 6))
    u[:, :3] = (
        np.column_stack([1e-3 * flat[:, 0] + 4e-4 * flat[:, 1], -3e-4 * flat[:, 1], 0 * flat[:, 0]])
        @ turn.T
    )
    u[:, 3:] = turn @ np.array([0, 0, -2e-4])
    force = (shell.stiffness(t) @ u.ravel()).reshape(-1, 6)
    np.testing.assert_allclose(force[inside], 0.0, atol=1e-10 * np.abs(force).max())


def rotation(vector: tuple[float, float, float]) -> np.ndarray:
    """Matrix of a rotation vector."""
    angle = np.linalg.norm(vector)
    x, y, z = np.asarray(vector) / angle
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def test_constant_curvature_on_any_triangles() -> None:
    """Patch test of bending: w = quadratic gives constant moments, no force inside (thin plate)."""
    mesh = rectangle(10.0, 7.0, 5, 4)
    rng = np.random.default_rng(4)
    inside = mesh.where(lambda x, y: (x > 0) & (y > 0) & (x < 10) & (y < 7))
    nodes = mesh.u.copy()
    nodes[inside] += rng.uniform(-0.5, 0.5, (len(inside), 2))
    x, y = nodes.T
    shell, t = shell_of(nodes, mesh.triangles, isotropic(1000.0, 0.3), 1e-2)
    u = np.zeros((len(nodes), 6))
    u[:, 2] = 1e-3 * x * x - 2e-3 * x * y + 5e-4 * y * y
    u[:, 3] = -2e-3 * x + 1e-3 * y  # dw/dy
    u[:, 4] = -(2e-3 * x - 2e-3 * y)  # -dw/dx
    force = (shell.stiffness(t) @ u.ravel()).reshape(-1, 6)
    assert np.abs(force[inside][:, 2]).max() < 1e-6 * np.abs(force).max()
    assert np.abs(force[inside][:, 3:5]).max() < 1e-6 * np.abs(force).max()
