"""Block compliance in facets: the formula in the R-T plane, isotropy, turns, invariants."""

import numpy as np
import pytest

from graduale.records.instrument import WoodChoice
from graduale.wood.material import Wood, compliance_of, facet_stiffness, stress_to_board, wood_of
from graduale.wood.rotate import (
    across_modulus,
    board_axes,
    condensed,
    to_body,
    turned_compliance,
)


@pytest.fixture(scope="module")
def sitka() -> Wood:
    """Handbook ratios, EL 11.0 GPa."""
    return wood_of(WoodChoice("sitka_spruce", e_along_mpa=11000.0), "test")


def turned_about_x(angle_deg: float) -> np.ndarray:
    """Triad of a facet that falls toward the bass."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[[1.0, 0, 0], [0, c, -s], [0, s, c]]])


def random_triads(count: int) -> np.ndarray:
    q, _ = np.linalg.qr(np.random.default_rng(7).normal(size=(count, 3, 3)))
    q[:, 2] *= np.linalg.det(q)[:, None]
    return q


def cross_modulus(wood: Wood, slope_deg: float, ring_deg: float = 0.0, side="bass") -> float:
    axes = board_axes(ring_deg, 0.0, "top", side, False)
    sign = 1.0 if side == "bass" else -1.0
    plane, _ = facet_stiffness(wood, axes, turned_about_x(sign * slope_deg))
    return float(1e-3 / np.linalg.inv(plane[0])[1, 1])


@pytest.mark.parametrize(("slope", "gpa"), [(0, 0.86), (10, 0.51), (20, 0.25), (30, 0.16)])
def test_cross_stiffness_falls_on_the_flank(sitka: Wood, slope: float, gpa: float) -> None:
    """The figures of the project's physics note: .86, .51, .25, .16 GPa (hand formula)."""
    assert cross_modulus(sitka, slope) == pytest.approx(gpa, abs=0.005)


@pytest.mark.parametrize("side", ["bass", "treble"])
@pytest.mark.parametrize(("ring", "gpa"), [(10, 0.16), (-10, 0.51)])
def test_ring_angle_is_signed_and_mirrored_at_the_joint(
    sitka: Wood, ring: float, gpa: float, side: str
) -> None:
    """At 20 degrees of slope a ring angle of +10 or -10 makes .16 or .51 GPa, on both halves."""
    assert cross_modulus(sitka, 20.0, ring, side) == pytest.approx(gpa, abs=0.005)


def test_one_piece_plate_has_one_sign() -> None:
    bass = board_axes(15.0, 0.0, "back", "bass", True)
    np.testing.assert_allclose(bass, board_axes(15.0, 0.0, "back", "treble", True))
    assert bass[1, 2] == pytest.approx(np.sin(np.radians(15)))  # R rises toward the bass
    assert board_axes(15.0, 0.0, "back", "treble", False)[1, 2] == pytest.approx(-bass[1, 2])


@pytest.mark.parametrize("angle", [0, 7, 25, 45, 60, 90])
def test_formula_of_the_rt_plane(sitka: Wood, angle: float) -> None:
    """1/E = c^4/ER + s^4/ET + c^2 s^2 (1/GRT - 2 nuRT/ER) (Lekhnitskii, from memory)."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    w = sitka
    flexibility = c**4 / w.er + s**4 / w.et + c**2 * s**2 * (1 / w.grt - 2 * w.nu_rt / w.er)
    assert cross_modulus(w, angle) == pytest.approx(1e-3 / flexibility, rel=1e-12)
    assert across_modulus(w.er, w.et, w.grt, w.nu_rt, angle) == pytest.approx(1 / flexibility)


def test_isotropic_block_is_the_same_in_every_facet() -> None:
    """E/(1-nu^2) and G of any textbook."""
    e, nu = 1000.0, 0.3
    g = e / (2 * (1 + nu))
    block = compliance_of((e, e, e, g, g, g), (nu, nu, nu), "test")
    plane, shear = condensed(turned_compliance(block, np.eye(3), random_triads(20)))
    d = e / (1 - nu**2)
    want = np.array([[d, nu * d, 0], [nu * d, d, 0], [0, 0, g]])
    np.testing.assert_allclose(plane, np.broadcast_to(want, plane.shape), atol=1e-9)
    np.testing.assert_allclose(shear, np.broadcast_to(g * np.eye(2), shear.shape), atol=1e-9)


def test_right_angle_swaps_the_axes(sitka: Wood) -> None:
    axes = board_axes(0.0, 0.0, "top", "bass", False)
    flat, h = facet_stiffness(sitka, axes, np.eye(3)[None])
    turned = np.array([[[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]]])
    swapped, hs = facet_stiffness(sitka, axes, turned)
    order = [1, 0, 2]
    np.testing.assert_allclose(swapped[0], flat[0][order][:, order], atol=1e-9)
    np.testing.assert_allclose(hs[0], h[0][::-1, ::-1], atol=1e-9)


def test_invariants_of_the_turned_tensor(sitka: Wood) -> None:
    """S_iijj and S_ijij do not change under any rotation (tensor algebra)."""
    turned = turned_compliance(sitka.compliance(), np.eye(3), random_triads(50))
    block = sitka.compliance()

    def volume(s: np.ndarray) -> np.ndarray:
        return s[..., :3, :3].sum(axis=(-1, -2))

    def trace(s: np.ndarray) -> np.ndarray:
        d = np.diagonal(s, axis1=-2, axis2=-1)
        return d[..., :3].sum(-1) + d[..., 3:].sum(-1) / 2

    np.testing.assert_allclose(volume(turned), volume(block), rtol=1e-11)
    np.testing.assert_allclose(trace(turned), trace(block), rtol=1e-11)


def test_against_the_fourth_order_tensor(sitka: Wood) -> None:
    """The Voigt turn is the same as turning S_ijkl index by index."""
    triads, axes = random_triads(4), board_axes(12.0, 5.0, "top", "treble", False)
    pairs = [(0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
    weight = np.array([1, 1, 1, 2, 2, 2.0])
    block = sitka.compliance() / weight[:, None] / weight[None, :]
    full = np.zeros((3, 3, 3, 3))
    for i, (a, b) in enumerate(pairs):
        for j, (c, d) in enumerate(pairs):
            for p, q in {(a, b), (b, a)}:
                for r, s in {(c, d), (d, c)}:
                    full[p, q, r, s] = block[i, j]
    turned = turned_compliance(sitka.compliance(), axes, triads)
    for facet, triad in enumerate(triads):
        n = triad @ axes.T
        t = np.einsum("ia,jb,kc,ld,abcd->ijkl", n, n, n, n, full)
        want = np.array([[t[p + q] for q in pairs] for p in pairs]) * weight[:, None] * weight
        np.testing.assert_allclose(turned[facet], want, rtol=1e-9, atol=1e-15)


def test_work_of_stress_is_the_same_in_both_frames(sitka: Wood) -> None:
    """s^T S s in the board equals s'^T S' s' in the facet: pins the map of stresses."""
    triads, axes = random_triads(30), board_axes(-8.0, 3.0, "back", "bass", False)
    stress = np.random.default_rng(3).normal(size=(30, 5))
    board = stress_to_board(stress[:, :3], axes, triads, stress[:, 3:])
    facet = np.zeros((30, 6))
    facet[:, [0, 1, 5, 4, 3]] = stress
    turned = turned_compliance(sitka.compliance(), axes, triads)
    here = np.einsum("mi,ij,mj->m", board, sitka.compliance(), board)
    there = np.einsum("mi,mij,mj->m", facet, turned, facet)
    np.testing.assert_allclose(here, there, rtol=1e-10)


def test_axes_per_facet_equal_axes_for_all(sitka: Wood) -> None:
    triads, axes = random_triads(6), board_axes(9.0, 2.0, "top", "bass", False)
    one, h_one = facet_stiffness(sitka, axes, triads)
    many, h_many = facet_stiffness(sitka, np.repeat(axes[None], 6, axis=0), triads)
    np.testing.assert_allclose(many, one, rtol=1e-12)
    np.testing.assert_allclose(h_many, h_one, rtol=1e-12)


@pytest.mark.parametrize("ring", [-20.0, 0.0, 90.0])
def test_axes_are_orthonormal_and_runout_lifts_the_grain(ring: float) -> None:
    axes = board_axes(ring, 4.0, "top", "bass", False)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-14)
    assert axes[0, 2] == pytest.approx(np.sin(np.radians(4.0)))
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_slab_cut_board_swaps_r_and_t(sitka: Wood) -> None:
    """A ring angle of 90 degrees is slab-cut: ET lies across."""
    assert cross_modulus(sitka, 0.0, 90.0) == pytest.approx(sitka.et / 1000)


def test_outward_frame_of_the_back_is_turned_to_the_body() -> None:
    np.testing.assert_allclose(to_body([[1.0, 2, 3]], "back"), [[1, 2, -3]])
    np.testing.assert_allclose(to_body([[1.0, 2, 3]], "top"), [[1, 2, 3]])
