"""Shell: free vibration of plates, bars and shallow shells.

lambda = omega a^2 sqrt(rho h/D). NAFEMS targets; Leissa (NASA SP-160, 1969) from memory; converged
values computed apart.
"""

import numpy as np
import pytest

from tests.outside.shell_cases import (
    ALL,
    Mesh,
    disc_mesh,
    held,
    hertz,
    isotropic,
    orthotropic,
    rectangle,
    shell_of,
)
from tests.verification import Status, Verified

E, RHO = 1e4, 5e-10
IN_PLANE = (0, 1, 5)


def parameter(hz: np.ndarray, a: float, nu: float) -> np.ndarray:
    """lambda of a plate 1 thick."""
    return 2 * np.pi * hz * a * a * np.sqrt(RHO * 12 * (1 - nu * nu) / E)


def compare(
    verified: Verified, case: str, ours, published, source: str, status: Status, rel: float, unit=""
) -> None:
    """A row for every mode."""
    for number, (mine, theirs) in enumerate(zip(ours, published, strict=True), start=1):
        name = f"{case}, mode {number}"
        verified(name, mine, theirs, source=source, status=status, rel=rel, unit=unit)


def test_free_square(verified: Verified) -> None:
    mesh = rectangle(1000.0, 1000.0, 24, 24)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
    ours = parameter(hertz(shell, t, 6), 1000.0, 0.3)
    published = (13.4682, 19.5961, 24.2702, 34.8009, 34.8009, 61.0932)
    source = "converged; Leissa 1973 has upper bounds"
    compare(verified, "free square, λ", ours, published, source, "C", 0.007)


def test_free_rectangle(verified: Verified) -> None:
    mesh = rectangle(1500.0, 1000.0, 36, 24)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
    ours = parameter(hertz(shell, t, 6), 1500.0, 0.3)
    published = (20.096, 21.413, 46.347, 49.910, 57.713, 67.030)
    compare(verified, "free rectangle 1.5:1, λ", ours, published, "converged", "C", 0.004)


def test_free_circle(verified: Verified) -> None:
    mesh = disc_mesh(500.0, 16)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.33), 1.0, RHO)
    ours = parameter(hertz(shell, t, 6), 500.0, 0.33)[[0, 2, 3, 5]]
    published = (5.2620, 9.0689, 12.2439, 20.5131)
    source = "Bessel functions; Leissa SP-160 5.253 9.084 12.23 20.52"
    compare(verified, "free circle, λ", ours, published, source, "C", 0.006)


def test_clamped_circle(verified: Verified) -> None:
    mesh = disc_mesh(500.0, 16)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
    edge = mesh.where(lambda x, y: np.hypot(x, y) > 499.999)
    fixed = held((edge, ALL), (np.arange(len(mesh.u)), IN_PLANE))
    ours = parameter(hertz(shell, t, 6, fixed), 500.0, 0.3)[[0, 1, 3, 5]]
    published = (10.2158, 21.2604, 34.8770, 39.7711)
    compare(verified, "clamped circle, λ", ours, published, "Leissa, NASA SP-160", "M", 0.01)


def test_nafems_plates(verified: Verified) -> None:
    mesh = rectangle(10.0, 10.0, 24, 24)
    shell, t = shell_of(mesh.u, mesh.triangles, isotropic(200e9, 0.3), 0.05, 8000.0)
    free = hertz(shell, t, 3)
    compare(
        verified,
        "NAFEMS FV12, free plate",
        free,
        (1.622, 2.360, 2.922),
        "NAFEMS FV12",
        "P",
        0.003,
        "Hz",
    )
    ours = hertz(shell, t, 6, held((mesh.where(lambda x, y: x == 0), ALL)))
    published = (0.421, 1.029, 2.582, 3.306, 3.753, 6.555)
    compare(verified, "NAFEMS FV16, cantilever", ours, published, "NAFEMS FV16", "P", 0.01, "Hz")


@pytest.mark.parametrize(
    ("name", "shear", "published", "rel"),
    [
        ("without shear", 1e9, 625.572, 0.003),
        ("with shear, E/G 16", 750.0, 617.48, 0.001),
    ],
)
def test_free_bar(
    verified: Verified, name: str, shear: float, published: float, rel: float
) -> None:
    """Bar .300 x .010 m, 400 kg/m3, 12 GPa; Euler's value has no rotary inertia (0.2 %)."""
    mesh = rectangle(300.0, 30.0, 60, 6)
    moduli = orthotropic(12000.0, 12000.0, 6000.0, 0.0, shear, shear)
    shell, t = shell_of(mesh.u, mesh.triangles, moduli, 10.0, 400e-12)
    verified(
        f"free bar 300 × 10, {name}, mode 1",
        hertz(shell, t, 1)[0],
        published,
        source="Euler and Timoshenko beams, textbook",
        status="C",
        rel=rel,
        unit="Hz",
    )


def shallow(rise: float, bow: tuple[float, float], mesh: Mesh, a: float, b: float) -> np.ndarray:
    """Nodes on a parabolic arch that rises `rise` in each way with bow 1."""
    x, y = 2 * mesh.u[:, 0] / a - 1, 2 * mesh.u[:, 1] / b - 1
    height = rise * (bow[0] * (1 - x * x) + bow[1] * (1 - y * y))
    return np.column_stack([mesh.u, height])


def test_free_shallow_sphere(verified: Verified) -> None:
    """a/R = .2: rise a/80 each way is a^2/8R; Donnell's theory, Ritz."""
    mesh = rectangle(100.0, 100.0, 24, 24)
    nodes = shallow(100 * 0.2 / 8, (1, 1), mesh, 100, 100)
    shell, t = shell_of(nodes, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
    ours = parameter(hertz(shell, t, 3), 100.0, 0.3)
    source = "Donnell shell, Ritz"
    compare(
        verified,
        "free shallow sphere, a/R .2, λ",
        ours,
        (13.524, 19.754, 35.879),
        source,
        "C",
        0.004,
    )


def test_free_cylinder(verified: Verified) -> None:
    """a/R = .5, a measured along the arc."""
    mesh = rectangle(100.0, 100.0, 24, 24)
    angle = (mesh.u[:, 0] - 50) / 200
    nodes = np.column_stack([200 * np.sin(angle), mesh.u[:, 1], 200 * np.cos(angle)])
    shell, t = shell_of(nodes, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
    ours = parameter(hertz(shell, t, 4), 100.0, 0.3)
    source = "Donnell shell, Ritz"
    published = (13.508, 22.072, 34.868, 48.703)
    compare(verified, "free cylinder, a/R .5, λ", ours, published, source, "C", 0.01)


@pytest.mark.parametrize(
    ("rise", "published", "rel"),
    [
        (0, (62.04, 115.12, 139.14, 170.38, 185.93, 310.95), 0.005),
        (5, (62.12, 122.47, 176.26, 191.18, 196.62, 361.04), 0.005),
        (10, (62.23, 124.29, 184.17, 196.25, 236.31, 384.20), 0.015),
    ],
)
def test_arched_spruce_like_plate(verified: Verified, rise: float, published, rel: float) -> None:
    """Arching lifts some tap tones and leaves others; free edges."""
    mesh = rectangle(350.0, 200.0, 42, 24)
    nodes = shallow(rise, (1, 1), mesh, 350, 200)
    moduli = orthotropic(12000.0, 900.0, 750.0, 0.37)
    shell, t = shell_of(nodes, mesh.triangles, moduli, 3.0, 400e-12, (1, 0, 0))
    name = f"free orthotropic plate 350 × 200 × 3, rise {rise}"
    compare(verified, name, hertz(shell, t, 6), published, "Donnell shell, Ritz", "C", rel, "Hz")
