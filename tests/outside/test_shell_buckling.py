"""Shell: linear buckling of flat plates against the textbook.

Timoshenko & Gere, Theory of Elastic Stability, chapter 9; the orthotropic plate by Navier's
solution (Lekhnitskii, Anisotropic Plates). From memory. The guard of every decision is such a
factor. Before buckling the plate is evenly pressed along x and free to grow across.
"""

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.shell.buckling import buckling_factor
from graduale.shell.solver import factor_held
from tests.outside.shell_cases import Mesh, held, isotropic, orthotropic, rectangle, shell_of
from tests.verification import Verified

TG = "Timoshenko & Gere, Theory of Elastic Stability, ch. 9"
B, T, E, NU = 100.0, 0.5, 1000.0, 0.3
D = E * T**3 / 12.0 / (1.0 - NU**2)
IN_PLANE, UP = (0, 1, 5), (2,)


def edges(mesh: Mesh, a: float) -> "np.typing.NDArray[np.int64]":
    """All nodes on the rim of 0..a x 0..B."""
    return mesh.where(lambda x, y: (x == 0) | (x == a) | (y == 0) | (y == B))


def critical(
    a: float, moduli: tuple[Floats, Floats], stretch: float, *, clamped: bool = False
) -> float:
    """Force a mm edge at which a x B, supported all round, buckles; `stretch`: growth across over
    shortening along."""
    mesh = rectangle(a, B, round(24 * a / B), 24)
    shell, t = shell_of(mesh.u, mesh.triangles, moduli, T, toward=(1.0, 0.0, 0.0))
    strain = 1e-4
    u = np.zeros((len(mesh.u), 6))
    u[:, 0], u[:, 1] = -strain * mesh.u[:, 0], strain * stretch * mesh.u[:, 1]
    rim = edges(mesh, a)
    around = (2, 3, 4) if clamped else UP
    fixed = held((rim, around), (np.arange(len(mesh.u)), IN_PLANE))
    factor = buckling_factor(shell, t, u.ravel(), factor_held(shell.stiffness(t), fixed))
    force = strain * T * (moduli[0][0, 0] - stretch * moduli[0][0, 1])
    return factor * float(force)


@pytest.mark.parametrize(
    ("ratio", "k"), [(1.0, 4.0), (1.5, 4.34027778), (2.0, 4.0)], ids=["1", "1.5", "2"]
)
def test_supported_plate_pressed_one_way(verified: Verified, ratio: float, k: float) -> None:
    """k = (m b/a + a/(m b))^2, least over m."""
    verified(
        f"supported plate {ratio:g}:1 pressed along, buckling, N b²/π² D",
        critical(ratio * B, isotropic(E, NU), NU) * B**2 / np.pi**2 / D,
        k,
        source=TG,
        status="M",
        rel=0.01,
    )


def test_clamped_square_pressed_one_way(verified: Verified) -> None:
    verified(
        "clamped square pressed along, buckling, N b²/π² D",
        critical(B, isotropic(E, NU), NU, clamped=True) * B**2 / np.pi**2 / D,
        10.07,
        source=TG,
        status="M",
        rel=0.015,
    )


def test_supported_spruce_plate_pressed_along_the_grain(verified: Verified) -> None:
    """N = π² [D11 (m/a)² + 2 (D12 + 2 D66)/b² + D22 a²/(m² b⁴)], least over m."""
    ex, ey, g, nu = 11880.0, 926.6, 760.3, 0.372
    moduli = orthotropic(ex, ey, g, nu)
    d = moduli[0] * T**3 / 12.0
    a = 2.0 * B
    loads = [
        np.pi**2
        * (
            d[0, 0] * (m / a) ** 2
            + 2.0 * (d[0, 1] + 2.0 * d[2, 2]) / B**2
            + d[1, 1] * a**2 / m**2 / B**4
        )
        for m in (1, 2, 3, 4)
    ]
    verified(
        "supported spruce plate 2:1 pressed along the grain, buckling",
        critical(a, moduli, nu),
        min(loads),
        source="Navier's solution, Lekhnitskii, Anisotropic Plates",
        status="M",
        rel=0.015,
        unit="N/mm",
    )
