"""Shell: identities that hold whatever the numbers.

Dimensional analysis, Maxwell's and Newton's laws: exact, so the allowed gaps are those of rounding
or of a finite step.
"""

import numpy as np
import pytest

from tests.outside.shell_cases import (
    ALL,
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

MODULI = (11880.0, 926.6, 760.3, 0.372, 690.0, 33.0)


def plate(moduli=MODULI, rise=0.0, scale=1.0, thickness=3.0, density=448e-12, along=(1, 0, 0)):
    """A free plate 350 x 200 with a parabolic rise, mesh 21 x 12."""
    mesh = rectangle(350.0, 200.0, 21, 12)
    x, y = mesh.u.T
    z = rise * (2 - (2 * x / 350 - 1) ** 2 - (2 * y / 200 - 1) ** 2)
    nodes = scale * np.column_stack([mesh.u, z])
    stiffness = orthotropic(*moduli)
    shell, t = shell_of(nodes, mesh.triangles, stiffness, scale * thickness, density, along)
    return mesh, shell, t


def tones(count: int = 5, **change) -> np.ndarray:
    _, shell, t = plate(**change)
    return hertz(shell, t, count)


@pytest.mark.parametrize("rise", [0.0, 15.0])
def test_exponents_of_moduli_and_density(verified: Verified, rise: float) -> None:
    step, total = 1e-4, np.zeros(5)
    for k in (0, 1, 2, 4, 5):
        up, down = (
            tones(rise=rise, moduli=tuple(m * (1 + s * (i == k)) for i, m in enumerate(MODULI)))
            for s in (step, -step)
        )
        total += (np.log(up) - np.log(down)) / (np.log1p(step) - np.log1p(-step))
    for number in (0, 4):
        verified(
            f"sum of the exponents of all moduli in frequency, rise {rise:g}, mode {number + 1}",
            total[number],
            0.5,
            source="dimensional analysis",
            status="C",
            abs=1e-5,
        )
    heavier = tones(rise=rise, density=2 * 448e-12) / tones(rise=rise)
    np.testing.assert_allclose(heavier, 2**-0.5, rtol=1e-9)


def test_exponent_of_thickness(verified: Verified) -> None:
    """1 on a flat thin plate; between 0 and 1 on an arched one."""
    thin = (*MODULI[:4], 1e9, 1e9)
    step = 1e-3
    for rise in (0.0, 15.0):
        up, down = (tones(rise=rise, moduli=thin, thickness=0.3 * (1 + s)) for s in (step, -step))
        slope = (np.log(up) - np.log(down)) / (np.log1p(step) - np.log1p(-step))
        if rise == 0.0:
            verified(
                "exponent of thickness in frequency, flat and thin, mode 1",
                slope[0],
                1.0,
                source="thin plate theory",
                status="C",
                abs=1e-4,
            )
        else:
            assert np.all(slope[1:] > 0.0)
            assert np.all(slope[1:] < 0.95)


def test_all_lengths_scaled(verified: Verified) -> None:
    small, large = tones(rise=12.0), tones(rise=12.0, scale=1.7)
    verified(
        "all lengths × 1.7: frequency × 1.7",
        large[0] / small[0] * 1.7,
        1.0,
        source="dimensional analysis",
        status="C",
        rel=1e-8,
    )
    masses = []
    for scale in (1.0, 1.7):
        _, shell, t = plate(rise=12.0, scale=scale)
        masses.append(float((shell.density * shell.surface * t).sum()))
        x = np.tile([1.0, 0, 0, 0, 0, 0], len(shell.nodes))
        assert x @ shell.mass(t) @ x == pytest.approx(masses[-1], rel=1e-12)
    assert masses[1] / masses[0] == pytest.approx(1.7**3, rel=1e-12)


def test_reciprocity_and_reactions(verified: Verified) -> None:
    """Maxwell: sag at b from a force at a equals sag at a from b; reactions carry the load."""
    mesh, shell, t = plate(rise=12.0)
    edge = mesh.where(lambda x, y: (x == 0) | (y == 0) | (x == 350) | (y == 200))
    fixed = held((edge, ALL))
    a, b = mesh.nearest(100, 60), mesh.nearest(240, 130)
    from_a = solve(shell, t, fixed, at_node(shell, a, (0, 0, 1.0)))
    from_b = solve(shell, t, fixed, at_node(shell, b, (0, 0, 1.0)))
    verified(
        "arched plate, sag at b from a over sag at a from b",
        from_a[b, 2] / from_b[a, 2],
        1.0,
        source="Maxwell's reciprocity",
        status="C",
        rel=1e-8,
    )
    load = spread(shell, (0.2e-3, 0.0, -1e-3))
    u = solve(shell, t, fixed, load)
    reaction = (shell.stiffness(t) @ u.ravel() - load).reshape(-1, 6)[edge]
    force = load.reshape(-1, 6)[:, :3].sum(axis=0)
    np.testing.assert_allclose(reaction[:, :3].sum(axis=0), -force, atol=1e-8 * np.abs(force).max())
    moment = reaction[:, 3:].sum(axis=0) + np.cross(shell.nodes[edge], reaction[:, :3]).sum(axis=0)
    wanted = -np.cross(shell.nodes, load.reshape(-1, 6)[:, :3]).sum(axis=0)
    np.testing.assert_allclose(moment, wanted, rtol=1e-6, atol=1e-6 * np.abs(wanted).max())


def test_grain_turned_by_a_right_angle(verified: Verified) -> None:
    """Turning the grain equals swapping the moduli of the two ways."""
    ex, ey, g, nu, gxz, gyz = MODULI
    swapped = (ey, ex, g, nu * ey / ex, gyz, gxz)
    turned, other = tones(along=(0, 1, 0)), tones(moduli=swapped)
    verified(
        "grain across by turning over grain across by moduli, mode 3",
        turned[2] / other[2],
        1.0,
        source="symmetry",
        status="C",
        rel=1e-8,
    )
    assert turned[2] != pytest.approx(tones()[2], rel=0.05)


def test_rigid_motions_cost_nothing() -> None:
    _, shell, t = plate(rise=12.0)
    k = shell.stiffness(t)
    x = shell.nodes
    for axis in range(3):
        move, turn = np.zeros((len(x), 6)), np.zeros((len(x), 6))
        move[:, axis] = 1.0
        turn[:, 3 + axis] = 1.0
        turn[:, :3] = np.cross(np.eye(3)[axis], x)
        for motion in (move, turn):
            force = k @ motion.ravel()
            scale = np.abs(k).max() * np.abs(motion).max()
            assert np.abs(force).max() < 1e-9 * scale
