"""Shell against exact 3-D elasticity: a small load on flat wood.

A cell of spruce 120 x 84, 30 N on a bridge foot of 4 x 11 in its middle, repeated without end, so
that no support disturbs; ring angles of 0, 8 and 20 degrees are what a slope of the arch does to
the grain in the plate. The exact solution is checked first by the published plates of Pagano and
of Srinivas & Rao.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from graduale.records.instrument import WoodChoice
from graduale.wood.material import board_axes, wood_of
from tests.outside.referee.exact import Cell, Layers, respond
from tests.outside.referee.periodic import PeriodicShell
from tests.outside.referee.solid import turned_stiffness
from tests.verification import Verified

CELL, FOOT, DISC_MM = (120.0, 84.0), (4.0, 11.0), 6.0
HARMONICS = 16


def _layer(turned: bool) -> np.ndarray:
    """The graphite-epoxy of Pagano: EL/ET = 25, GLT = 0.5, GTT = 0.2, nu = 0.25, ET = 1."""
    s = np.diag([1 / 25, 1.0, 1.0, 1 / 0.2, 2.0, 2.0])
    s[0, 1] = s[1, 0] = s[0, 2] = s[2, 0] = -0.01
    s[1, 2] = s[2, 1] = -0.25
    c = np.linalg.inv(s)
    order = [1, 0, 2, 4, 3, 5]
    return c[np.ix_(order, order)] if turned else c


@pytest.mark.parametrize(
    ("slender", "bend", "deflection", "shear", "twist"),
    [(4, 0.801, 2.006, 0.256, 0.0511), (10, 0.590, 0.753, 0.357, 0.0289)],
)
def test_pagano_1970_three_plies(
    verified: Verified, slender: int, bend: float, deflection: float, shear: float, twist: float
) -> None:
    """Square supported plate 0/90/0, sin x sin load: four harmonics; values times the paper's."""
    plies = Layers(np.array([_layer(False), _layer(True), _layer(False)]), np.full(3, 1 / 3))
    p = np.pi / slender
    total = np.zeros(4)
    for one in (1, -1):
        for two in (1, -1):
            r = respond(plies, one * p, two * p, -0.25 * one * two)
            middle = np.exp(0.5j * np.pi * (one + two))
            total[0] += np.real(-r.stress(2, 1.0)[0] * middle) / slender**2
            total[1] += np.real(-r.displacement(1, 0.0)[2] * middle) * 100 / slender**4
            total[2] += np.real(-r.stress(1, 0.0)[4] * np.exp(0.5j * np.pi * two)) / slender
            total[3] += np.real(r.stress(2, 1.0)[5]) / slender**2
    names = ("bending stress, top", "deflection", "shear stress xz", "twist stress")
    for name, ours, value in zip(
        names, np.abs(total), (bend, deflection, shear, twist), strict=True
    ):
        verified(
            f"the exact solution: plies 0/90/0, a/h = {slender}, {name}",
            ours,
            value,
            source="Pagano 1970, J. Composite Materials 4, 20",
            status="M",
            rel=0.004,
        )


def test_srinivas_and_rao_1970(verified: Verified) -> None:
    """Square supported plate of aragonite, h/a = 0.1, even load q: w C11/(h q), sigma_x/q."""
    c = np.diag([1.0, 0.543103, 0.530172, 0.26681, 0.159914, 0.262931])
    for i, j, v in ((0, 1, 0.23319), (0, 2, 0.010776), (1, 2, 0.098276)):
        c[i, j] = c[j, i] = v
    plate, w, bend = Layers(c[None], np.array([0.1])), 0.0, 0.0
    for m in range(1, 40, 2):
        for n in range(1, 40, 2):
            r = respond(plate, m * np.pi, n * np.pi, 16 / (np.pi**2 * m * n))
            sign = np.sin(m * np.pi / 2) * np.sin(n * np.pi / 2)
            w -= sign * r.displacement(0, 0.0)[2].real
            bend -= sign * r.stress(0, 1.0)[0].real
    for name, ours, value in (("deflection", w / 0.1, 688.57), ("bending stress", bend, 36.021)):
        verified(
            f"the exact solution: aragonite plate, h/a = 0.1, {name}",
            ours,
            value,
            source="Srinivas & Rao 1970, Int. J. Solids Struct. 6, 1463",
            status="M",
            rel=0.002,
        )


@cache
def exact(ring_deg: float, t_mm: float) -> tuple[PeriodicShell, Cell, np.ndarray]:
    """Our cell; the exact one; its stress on the lower face by harmonic."""
    choice = WoodChoice("european_spruce", ring_angle_deg=ring_deg, one_piece=True)
    wood, axes = wood_of(choice, "cell"), board_axes(ring_deg, 0.0, "top", "bass", True)
    block = Layers(turned_stiffness(wood.compliance(), axes)[None], np.array([t_mm]))
    cell = Cell.of(CELL, np.array(FOOT), HARMONICS, 30.0)
    stress = np.array([h.stress(0, -1.0)[[0, 1, 5]] for h in cell.solve(block)])
    return PeriodicShell(wood, axes, CELL, t_mm, 3.0), cell, stress


@pytest.mark.parametrize("t_mm", [3.5, 2.5])
@pytest.mark.parametrize("ring_deg", [0.0, 8.0, 20.0])
def test_stress_under_a_foot(verified: Verified, ring_deg: float, t_mm: float) -> None:
    """Disc of 6 mm on the face away from the load, facets of 3 mm: along and across the grain."""
    ours, cell, stress = exact(ring_deg, t_mm)
    u, _ = ours.press(FOOT, 30.0)
    theirs = cell.disc_mean(stress, DISC_MM, (0.0, 0.0))
    here = ours.stress(u, ours.disc((0.0, 0.0), DISC_MM))
    for k, way in enumerate(("along", "across")):
        verified(
            f"{t_mm:g} mm, ring angle {ring_deg:g}, under the foot, stress {way} the grain",
            here[k],
            theirs[k],
            source="exact 3-D Fourier series (Pagano's problem)",
            status="C",
            rel=0.05,
            unit="MPa",
        )


@pytest.mark.parametrize("ring_deg", [8.0, 20.0])
def test_a_sloping_grain_stretches_by_shear(verified: Verified, ring_deg: float) -> None:
    """9 mm beside the load the coupling of shear and stretch is most of the stress across.

    Plane sections miss it; the gap that stays is of the next power of the thickness.
    """
    ours, cell, stress = exact(ring_deg, 3.5)
    u, _ = ours.press(FOOT, 30.0)
    for side in (9.0, -9.0):
        theirs = cell.disc_mean(stress, DISC_MM, (0.0, side))[1]
        disc = ours.disc((0.0, side), DISC_MM)
        here = ours.stress(u, disc)[1]
        verified(
            f"3.5 mm, ring angle {ring_deg:g}, {side:+g} mm beside the foot, stress across",
            here,
            theirs,
            source="exact 3-D Fourier series (Pagano's problem)",
            status="C",
            abs=0.03,
            unit="MPa",
        )
        plain = replace(disc, warped=None)
        assert abs(ours.stress(u, plain)[1] - theirs) > 5.0 * abs(here - theirs)
