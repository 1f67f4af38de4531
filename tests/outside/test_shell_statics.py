"""Shell: plates and strips under static load.

D = E h^3/12 (1 - nu^2). Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells (from memory,
recomputed apart); the mesh has 32 cells a side, thickness a thousandth of the side.
"""

import numpy as np
import pytest

from tests.outside.shell_cases import (
    ALL,
    along_edge,
    at_node,
    disc_mesh,
    grid,
    held,
    isotropic,
    orthotropic,
    rectangle,
    shell_of,
    solve,
    spread,
    stress_at,
)
from tests.verification import Verified

TW = "Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells"
A, E, NU, Q = 1000.0, 1000.0, 0.3, 1e-6
D = E / 12.0 / (1.0 - NU**2)
IN_PLANE = (0, 1, 5)


@pytest.mark.parametrize(
    ("ratio", "published"), [(1, 0.00406235), (1.5, 0.00772402), (2, 0.01012866)]
)
def test_supported_plate_under_uniform_load(
    verified: Verified, ratio: float, published: float
) -> None:
    side = A * ratio
    mesh = rectangle(side, A, int(32 * ratio), 32)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, NU), 1.0)
    edge = mesh.where(lambda x, y: (x == 0) | (y == 0) | (x == side) | (y == A))
    fixed = held((edge, (2,)), (np.arange(len(mesh.u)), IN_PLANE))
    u = solve(shell, t, fixed, spread(shell, (0, 0, Q)))
    centre = mesh.nearest(side / 2, A / 2)
    verified(
        f"supported rectangle {ratio:g}:1, uniform load, centre, w D/q a⁴",
        u[centre, 2] * D / Q / A**4,
        published,
        source=f"{TW}, table 8",
        status="M",
        rel=0.002,
    )
    if ratio == 1:
        moment = stress_at(shell, t, u, 1.0, np.array([A / 2, A / 2, 0]))[1] / 6.0
        verified(
            "supported square, uniform load, moment at the centre, M/q a²",
            moment / Q / A**2,
            0.0478864,
            source=f"{TW}, table 8",
            status="M",
            rel=0.005,
        )


def test_supported_square_under_a_point_load(verified: Verified) -> None:
    mesh = rectangle(A, A, 32, 32)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, NU), 1.0)
    edge = mesh.where(lambda x, y: (x == 0) | (y == 0) | (x == A) | (y == A))
    fixed = held((edge, (2,)), (np.arange(len(mesh.u)), IN_PLANE))
    centre = mesh.nearest(A / 2, A / 2)
    u = solve(shell, t, fixed, at_node(shell, centre, (0, 0, 1)))
    verified(
        "supported square, point load, centre, w D/P a²",
        u[centre, 2] * D / A**2,
        0.01160084,
        source=f"{TW}, table 23",
        status="M",
        rel=0.003,
    )


def test_clamped_square(verified: Verified) -> None:
    mesh = rectangle(A, A, 32, 32)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, NU), 1.0)
    edge = mesh.where(lambda x, y: (x == 0) | (y == 0) | (x == A) | (y == A))
    fixed = held((edge, (2, 3, 4)), (np.arange(len(mesh.u)), IN_PLANE))
    load = spread(shell, (0, 0, Q))
    u = solve(shell, t, fixed, load)
    verified(
        "clamped square, uniform load, centre, w D/q a⁴",
        u[mesh.nearest(A / 2, A / 2), 2] * D / Q / A**4,
        0.00126532,
        source=f"{TW}, table 35",
        status="M",
        rel=0.003,
    )
    reaction = (shell.stiffness(t) @ u.ravel() - load).reshape(-1, 6)
    near = [mesh.nearest(0, A / 2 + step * A / 32) for step in (-1, 0, 1)]
    moment = abs(reaction[near, 4] @ [0.25, 0.5, 0.25]) / (A / 32)
    verified(
        "clamped square, uniform load, moment at the middle of an edge, M/q a²",
        moment / Q / A**2,
        0.0513,
        source=f"{TW}, table 35",
        status="M",
        rel=0.01,
    )


@pytest.mark.parametrize(
    ("support", "which", "uniform", "point", "equations"),
    [
        ("clamped", (2, 3, 4), 1 / 64, 1 / (16 * np.pi), "eq. 62, 92"),
        ("supported", (2,), 0.06370192, 0.05050109, "eq. 68, 89"),
    ],
)
def test_circle(
    verified: Verified, support: str, which: tuple[int, ...], uniform, point, equations
) -> None:
    mesh = disc_mesh(A, 20)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, NU), 1.0)
    edge = mesh.where(lambda x, y: np.hypot(x, y) > A * (1 - 1e-9))
    fixed = held((edge, which), (np.arange(len(mesh.u)), IN_PLANE))
    source = f"{TW}, {equations}"
    u = solve(shell, t, fixed, spread(shell, (0, 0, Q)))
    ours = u[0, 2] * D / Q / A**4
    verified(
        f"{support} circle, uniform load, centre, w D/q a⁴",
        ours,
        uniform,
        source=source,
        status="M",
        rel=0.002,
    )
    u = solve(shell, t, fixed, at_node(shell, 0, (0, 0, 1)))
    verified(
        f"{support} circle, point load, centre, w D/P a²",
        u[0, 2] * D / A**2,
        point,
        source=source,
        status="M",
        rel=0.003,
    )


def test_cantilever_in_and_out_of_its_plane(verified: Verified) -> None:
    mesh = rectangle(6.0, 0.2, 60, 4)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(1e7, 0.3), 0.1)
    fixed = held((mesh.where(lambda x, y: x == 0), ALL))
    tip, middle = mesh.where(lambda x, y: x == 6.0), mesh.nearest(6.0, 0.1)
    for way, force, axis, published in (
        ("in its plane", (0, 1.0, 0), 1, 0.1081),
        ("out of its plane", (0, 0, 1.0), 2, 0.4321),
    ):
        u = solve(shell, t, fixed, along_edge(shell, tip, force))
        verified(
            f"straight cantilever 6 × .2 × .1, {way}",
            u[middle, axis],
            published,
            source="MacNeal & Harder 1985",
            status="P",
            rel=0.005,
        )


@pytest.mark.parametrize(
    ("name", "moduli", "peak"),
    [
        ("isotropic", isotropic(1000.0, 0.3), 3.0),
        (
            "spruce along the grain",
            orthotropic(11880.0, 926.6, 760.3, 0.372),
            1 + np.sqrt(2 * (np.sqrt(11880 / 926.6) - 0.372) + 11880 / 760.3),
        ),
    ],
)
def test_hole_in_a_pulled_plate(verified: Verified, name: str, moduli, peak: float) -> None:
    """Stress along the pull at the side of a round hole, quarter of a wide plate (60 radii)."""
    away = np.expm1(6 * np.linspace(0, 1, 81)) / np.expm1(6)
    fine = 90 - 45 * np.linspace(1, 0, 61) ** 1.3
    mesh = grid(away, np.append(np.linspace(0, 45, 21), fine[1:]))
    s, angle = mesh.u[:, 0], np.radians(mesh.u[:, 1])
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    nodes = circle * (1 + 59 * s[:, None])
    nodes *= (1 - s + s / np.abs(circle).max(axis=1))[:, None]
    shell, t = shell_of(nodes, mesh.triangles, moduli, 1.0, toward=(1, 0, 0))
    flat = np.arange(len(nodes))
    fixed = held(
        (flat, (2, 3, 4)),
        (mesh.where(lambda s, v: v == 0), (1, 5)),
        (mesh.where(lambda s, v: v == 90), (0, 5)),
    )
    end = mesh.where(lambda s, v: (s == 1) & (v <= 45))
    u = solve(shell, t, fixed, along_edge(shell, end, (60.0, 0, 0)))
    beside = mesh.where(lambda s, v: s == 0)[-2]  # the edge bears only along itself: E x strain
    ours = u[beside, 0] / nodes[beside, 0] / np.linalg.inv(moduli[0])[0, 0]
    verified(
        f"round hole in a pulled wide plate, {name}, peak over pull",
        ours,
        peak,
        source="Lekhnitskii, Anisotropic Plates",
        status="M",
        rel=0.006,
    )
