"""Shell: orders of convergence.

Theory: with linear curvatures per facet the error of a frequency or a deflection falls with the
square of the facets' size h (Batoz 1980, Katili 1993 [from memory]; Strang & Fix, An Analysis of
the Finite Element Method, 1973, for the eigenvalues [from memory]). The observed order is the slope
of log error over log h where the converged value is published or has a series; on curved cases it
is taken from three halvings, log2 of the ratio of successive changes. Allowed: 0.3.
"""

import numpy as np
import pytest

from tests.outside.shell_cases import (
    held,
    hertz,
    isotropic,
    orthotropic,
    rectangle,
    shell_of,
    solve,
    spread,
)
from tests.outside.test_shell_vibration import RHO, E, parameter, shallow
from tests.outside.test_shell_wood import A, B, supported
from tests.verification import Verified

THEORY = "theory of the element: h²"
ALLOWED = 0.3
CELLS = (8, 12, 16, 24)
HALVED = (8, 16, 32)


def by_fit(cells: tuple[int, ...], errors: np.ndarray) -> np.ndarray:
    """Slope of log |error| (levels, ...) over log h."""
    assert np.all(np.diff(np.abs(errors), axis=0) < 0.0)
    flat = np.log(np.abs(errors)).reshape(len(cells), -1)
    return np.polyfit(-np.log(cells), flat, 1)[0]


def by_halving(values: np.ndarray) -> np.ndarray:
    """log2 of the ratio of successive changes, values (3, ...) at h, h/2, h/4."""
    return np.log2((values[0] - values[1]) / (values[1] - values[2]))


def rate(verified: Verified, what: str, order: float) -> None:
    """A row for one observed order."""
    verified(f"order: {what}", order, 2.0, source=THEORY, status="M", abs=ALLOWED)


def test_free_square_plate(verified: Verified) -> None:
    """Against the converged values (computed apart; Leissa 1973 has upper bounds)."""
    converged = np.array((13.4682, 19.5961, 24.2702, 34.8009))
    errors = []
    for cells in CELLS:
        mesh = rectangle(1000.0, 1000.0, cells, cells)
        shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
        errors.append(parameter(hertz(shell, t, 4), 1000.0, 0.3) / converged - 1.0)
    for number, order in enumerate(by_fit(CELLS, np.array(errors)), start=1):
        rate(verified, f"free square, mode {number}, 8 to 24 facets a side", order)


def test_supported_square_under_uniform_load(verified: Verified) -> None:
    """0.00406235 q a^4/D: Navier series (Timoshenko & Woinowsky-Krieger, table 8)."""
    side, errors = 1000.0, []
    for cells in CELLS:
        mesh = rectangle(side / 2, side / 2, cells, cells)
        shell, t = shell_of(mesh.u, mesh.triangles, isotropic(E, 0.3), 1.0)
        half = side / 2
        fixed = held(
            (mesh.where(lambda x, y: x == 0), (2, 3)),
            (mesh.where(lambda x, y: y == 0), (2, 4)),
            (mesh.where(lambda x, y, at=half: x == at), (0, 4)),
            (mesh.where(lambda x, y, at=half: y == at), (1, 3)),
            (np.arange(len(mesh.u)), (0, 1, 5)),
        )
        u = solve(shell, t, fixed, spread(shell, (0.0, 0.0, 1e-6)))
        flex = E / (12 * (1 - 0.09))
        sag = u[mesh.nearest(half, half), 2] * flex / (1e-6 * side**4)
        errors.append(sag / 0.00406235 - 1.0)
    order = float(by_fit(CELLS, np.array(errors))[0])
    rate(verified, "supported square, uniform load, 16 to 48 facets a side", order)


def test_supported_curved_plate(verified: Verified) -> None:
    """Set-up S with a rise of 15 mm each way: five modes."""
    found = []
    for cells in HALVED:
        _, shell, t, fixed = supported(15.0, cells)
        found.append(hertz(shell, t, 5, fixed))
    for number, order in enumerate(by_halving(np.array(found)), start=1):
        rate(verified, f"set-up S, rise 15, mode {number}, 8 to 32 facets across", order)


def test_sag_of_the_curved_plate(verified: Verified) -> None:
    """The same under 1 kPa, at the centre."""
    sag = []
    for cells in (16, 32, 64):
        mesh, shell, t, fixed = supported(15.0, cells)
        u = solve(shell, t, fixed, spread(shell, (0.0, 0.0, 1e-3)))
        sag.append(u[mesh.nearest(A / 2, B / 2), 2])
    order = float(by_halving(np.array(sag)))
    rate(verified, "set-up S, rise 15, 1 kPa, 16 to 64 facets across", order)


def test_free_arched_plate(verified: Verified) -> None:
    """The spruce-like plate 350 x 200 x 3 with a rise of 10 mm each way, free: six modes."""
    found = []
    for cells in (12, 24, 48):
        mesh = rectangle(350.0, 200.0, 3 * cells // 2, cells)
        nodes = shallow(10.0, (1, 1), mesh, 350.0, 200.0)
        moduli = orthotropic(12000.0, 900.0, 750.0, 0.37)
        shell, t = shell_of(nodes, mesh.triangles, moduli, 3.0, 400e-12, (1, 0, 0))
        found.append(hertz(shell, t, 6))
    for number, order in enumerate(by_halving(np.array(found)), start=1):
        rate(verified, f"free arched plate, mode {number}, 12 to 48 facets across", order)


def test_where_the_edge_layer_comes_into_view(verified: Verified) -> None:
    """Shown, not judged: on a shear-soft plate whose facets come down to twice its thickness, the
    layer along a free edge in which the twisting moment turns into shear is resolved bit by bit;
    the twist keeps falling a little, more slowly than h^2. The first bending does not have it."""
    found = []
    for cells in (12, 24, 48):
        mesh = rectangle(100.0, 100.0, cells, cells)
        nodes = shallow(100 * 0.2 / 8, (1, 1), mesh, 100, 100)
        shell, t = shell_of(nodes, mesh.triangles, isotropic(E, 0.3), 1.0, RHO)
        found.append(hertz(shell, t, 2))
    twist, bending = by_halving(np.array(found))
    reason = "Facets of 8 to 2 thicknesses: the layer along the free edge comes into view"
    what = "order: free shallow sphere a/h 100, twist"
    verified.beside(what, twist, 2.0, source=THEORY, status="M", reason=reason)
    rate(verified, "free shallow sphere a/h 100, mode 2, 12 to 48 facets a side", bending)
    assert 0.5 < twist < 2.0
    assert np.abs(found[1][0] / found[2][0] - 1.0) < 0.002


def test_the_watch_sees_a_slower_element() -> None:
    """Errors that fall with h, or stand still at a wrong value, are not taken for h^2."""
    h = 1.0 / np.array(CELLS)
    assert by_fit(CELLS, 0.3 * h)[0] == pytest.approx(1.0)
    assert by_fit(CELLS, 0.3 * h**2)[0] == pytest.approx(2.0)
    assert by_fit(CELLS, 0.3 * h**2 + 0.01)[0] < 2.0 - ALLOWED
    assert float(by_halving(1.0 + 0.3 / np.array(HALVED))) == pytest.approx(1.0)
