"""Shell: orthotropic plates and plates of wood.

Navier series (Lekhnitskii, Anisotropic Plates; Ashton & Whitney 1970) for supported edges; spruce
plates of Badiane, Malvermi, Gonzalez, Antonacci, Sarti (J. Acoust. Soc. Am.), by their 3-D finite
elements and by their measurement.
"""

import numpy as np
import pytest

from graduale.records.instrument import WoodChoice
from graduale.wood.material import board_axes, facet_stiffness, wood_of
from tests.outside.shell_cases import (
    at_node,
    held,
    hertz,
    orthotropic,
    rectangle,
    shell_of,
    solve,
    spread,
)
from tests.verification import Verified

A, B, H = 350.0, 200.0, 3.0
SET_UP = (11880.0, 926.6, 760.3, 0.372)
DENSITY = 448e-12
NAVIER = "Navier series, Lekhnitskii 1968"
BADIANE = "Badiane et al., J. Acoust. Soc. Am."


def navier_hz(count: int, rise: float = 0.0) -> np.ndarray:
    """Frequencies of set-up S by the formula, with shallow curvature from a rise each way."""
    q, _ = orthotropic(*SET_UP)
    flex, a = q * H**3 / 12, np.linalg.inv(q * H)
    kx, ky = 8 * rise / A**2, 8 * rise / B**2
    m, n = (np.pi * np.arange(1, 9)[s] for s in ((slice(None), None), (None, slice(None))))
    u, v = m / A, n / B
    bracket = flex[0, 0] * u**4 + 2 * (flex[0, 1] + 2 * flex[2, 2]) * u**2 * v**2
    bracket = bracket + flex[1, 1] * v**4
    bracket += (ky * u**2 + kx * v**2) ** 2 / (
        a[1, 1] * u**4 + (2 * a[0, 1] + a[2, 2]) * u**2 * v**2 + a[0, 0] * v**4
    )
    return np.sort(np.sqrt(bracket / (DENSITY * H)).ravel() / (2 * np.pi))[:count]


def supported(rise: float, cells: int = 24):
    """Set-up S on supports that hold height and the way along the edge."""
    mesh = rectangle(A, B, int(1.75 * cells), cells)
    x, y = mesh.u.T
    z = rise * (2 - (2 * x / A - 1) ** 2 - (2 * y / B - 1) ** 2)
    nodes = np.column_stack([mesh.u, z])
    moduli = orthotropic(*SET_UP)
    shell, t = shell_of(nodes, mesh.triangles, moduli, H, DENSITY, (1, 0, 0))
    ends = mesh.where(lambda x, y: (x == 0) | (x == A))
    sides = mesh.where(lambda x, y: (y == 0) | (y == B))
    fixed = held((ends, (1, 2)), (sides, (0, 2)))
    return mesh, shell, t, fixed


def test_flat_supported_plate(verified: Verified) -> None:
    mesh, shell, t, fixed = supported(0.0)
    centre = mesh.nearest(A / 2, B / 2)
    for name, load, published, rel in (
        ("1 kPa", spread(shell, (0, 0, 1e-3)), 3.372944, 0.004),
        ("10 N at the centre", at_node(shell, centre, (0, 0, 10.0)), 1.35195, 0.003),
    ):
        ours = solve(shell, t, fixed, load)[centre, 2]
        verified(
            f"set-up S, flat, {name}",
            ours,
            published,
            source=NAVIER,
            status="C",
            rel=rel,
            unit="mm",
        )
    ours, theirs = hertz(shell, t, 5, fixed), navier_hz(5)
    assert {round(f, 2) for f in theirs} >= {94.21, 233.67, 260.61}  # the printed ones
    for number in range(5):
        verified(
            f"set-up S, flat, mode {number + 1}",
            ours[number],
            theirs[number],
            source=NAVIER,
            status="C",
            rel=0.015,
            unit="Hz",
        )


def test_shallow_supported_plate(verified: Verified) -> None:
    """The series is shallow theory: it holds at a rise of 4 and drifts at one of 15."""
    _, shell, t, fixed = supported(4.0)
    ours, theirs = hertz(shell, t, 5, fixed), navier_hz(5, 4.0)
    for number in range(5):
        verified(
            f"set-up S, rise 4, mode {number + 1}",
            ours[number],
            theirs[number],
            source=NAVIER,
            status="C",
            rel=0.02,
            unit="Hz",
        )
    mesh, shell, t, fixed = supported(15.0)
    centre = mesh.nearest(A / 2, B / 2)
    reason = "Shallow theory, while the edge slopes by 31 %"
    for name, load, published in (
        ("1 kPa", spread(shell, (0, 0, 1e-3)), 0.0619550),
        ("10 N at the centre", at_node(shell, centre, (0, 0, 10.0)), 0.104946),
    ):
        ours_mm = solve(shell, t, fixed, load)[centre, 2]
        verified.beside(
            f"set-up S, rise 15, {name}",
            ours_mm,
            published,
            source=NAVIER,
            status="C",
            unit="mm",
            reason=reason,
        )
        assert ours_mm == pytest.approx(published, rel=0.08)
    assert navier_hz(1, 15.0)[0] == pytest.approx(604.705, abs=0.01)


PLATES = {
    "1": (
        425.611,
        (11965.46, 1208.17, 745.781, 0.39, 590.0, 26.0),
        (579.44, 215.38, 4.72),
        (52.325, 76.585, 130.269, 175.275, 199.988, 215.111),
    ),
    "2": (
        415.838,
        (6558.893, 1047.013, 807.547, 0.262482, 668.486, 23.963),
        (577.582, 215.461, 3.648),
        (42.201, 44.655, 96.064, 122.994, 127.959, 153.531),
    ),
}


@pytest.mark.parametrize("name", PLATES)
def test_spruce_plates_by_solid_elements(verified: Verified, name: str) -> None:
    """A shear-flexible shell should come within 1.2 % on modes 1 to 6."""
    density, moduli, (length, width, thickness), published = PLATES[name]
    mesh = rectangle(length, width, 60, 24)
    stiffness = orthotropic(*moduli)
    shell, t = shell_of(mesh.u, mesh.triangles, stiffness, thickness, density * 1e-12, (1, 0, 0))
    for number, (ours, theirs) in enumerate(zip(hertz(shell, t, 6), published, strict=True), 1):
        verified(
            f"free spruce plate {name}, solid elements, mode {number}",
            ours,
            theirs,
            source=BADIANE,
            status="P",
            rel=0.012,
            unit="Hz",
        )


MEASURED = {
    "2": (
        (580.0, 217.2, 4.9),
        (10700.0, 976.0, 682.0),
        414.7,
        (51.5, 76.0, 127.5, 163.0, 190.5, 208.5),
    ),
    "3": (
        (581.2, 217.4, 5.0),
        (10800.0, 970.0, 794.0),
        426.1,
        (56.5, 77.5, 138.0, 163.5, 197.5, 216.5),
    ),
}


@pytest.mark.parametrize("name", MEASURED)
def test_measured_spruce_plates(verified: Verified, name: str) -> None:
    """Peaks of a real plate from the moduli that the authors identified (spread 2 to 8 %)."""
    (length, width, thickness), (ex, ey, gxy), density, peaks = MEASURED[name]
    mesh = rectangle(length, width, 60, 24)
    moduli = orthotropic(ex, ey, gxy, 0.39, 590.0, 26.0)
    shell, t = shell_of(mesh.u, mesh.triangles, moduli, thickness, density * 1e-12, (1, 0, 0))
    for number, (ours, peak) in enumerate(zip(hertz(shell, t, 6), peaks, strict=True), 1):
        verified(
            f"measured spruce plate {name}, identified moduli, mode {number}",
            ours,
            peak,
            source=f"{BADIANE}, measured peaks",
            status="P",
            rel=0.04,
            unit="Hz",
        )


SPECIES = {
    "sitka_spruce": (91.67, 147.74, 236.54, 237.17, 298.54),
    "sugar_maple": (103.29, 164.18, 206.36, 266.53, 290.49),
    "yellow_birch": (89.48, 134.60, 215.92, 225.67, 279.58),
}


@pytest.mark.parametrize("name", SPECIES)
def test_plates_of_the_handbooks_woods(verified: Verified, name: str) -> None:
    """300 x 200 x 4 mm, thin: the room of wood and the shell together; E_L = 1.1 MOE."""
    wood = wood_of(WoodChoice(name), "test")
    axes = board_axes(0.0, 0.0, "top", "bass", False)
    q, h = facet_stiffness(wood, axes, np.eye(3)[None])
    mesh = rectangle(300.0, 200.0, 36, 24)
    density = wood.density_kg_m3 * 1e-12
    for thin, factor, rel in ((True, 1e4, 0.005), (False, 1.0, 0.01)):
        shell, t = shell_of(mesh.u, mesh.triangles, (q[0], factor * h[0]), 4.0, density, (1, 0, 0))
        for number, (ours, theirs) in enumerate(
            zip(hertz(shell, t, 5), SPECIES[name], strict=True), 1
        ):
            verified(
                f"free plate 300 × 200 × 4, {wood.name}, "
                f"{'thin' if thin else 'with shear'}, mode {number}",
                ours,
                theirs,
                source="thin plate, Ritz, from Wood Handbook moduli",
                status="C",
                rel=rel,
                unit="Hz",
            )
