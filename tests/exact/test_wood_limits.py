"""Norris's criterion: pure stresses meet their limits, the gradient is exact, scaling is square."""

import numpy as np
import pytest

from graduale.wood import limits
from graduale.wood.species import species

STRENGTH = species("sitka_spruce").strength


@pytest.mark.parametrize(
    ("component", "stress", "plane", "kind"),
    [
        (0, 70.0, "LR", "break"),
        (0, -38.7, "LR", "break"),
        (1, 2.6, "LR", "split"),
        (1, -4.0, "LR", "dent"),
        (2, 2.6, "LT", "split"),
        (3, STRENGTH.rolling_shear, "RT", "rolling"),
        (4, 7.9, "LT", "shear"),
        (5, -7.9, "LR", "shear"),
    ],
)
def test_a_pure_stress_at_its_strength_is_just_one(component, stress, plane, kind) -> None:
    sigma = np.zeros((1, 6))
    sigma[0, component] = stress
    index, _ = limits.norris(sigma, STRENGTH)
    assert index[0] == pytest.approx(1.0)
    assert limits.governing(sigma, STRENGTH) == ((plane, kind),)
    assert limits.load_factor(limits.norris(2 * sigma, STRENGTH)[0])[0] == pytest.approx(0.5)


def test_equal_biaxial_use_in_one_plane() -> None:
    """Norris 1962: full use of both normals in one plane gives 1 - 1 + 1 = 1 (by hand)."""
    index, _ = limits.norris_planes([[70.0, 2.6, 0, 0, 0, 0]], STRENGTH)
    assert index[0, 0] == pytest.approx(1.0)


def test_isotropic_norris_is_von_mises() -> None:
    """With one strength F and shear F/sqrt(3), plane stress gives von Mises squared over F^2."""
    f = 10.0
    iso = limits.Strength(f, f, f, f, f / np.sqrt(3), f / np.sqrt(3))
    a, b, t = 4.0, 3.0, 2.0
    index, _ = limits.norris_planes([[a, b, 0, 0, 0, t]], iso)
    assert index[0, 0] == pytest.approx((a * a - a * b + b * b + 3 * t * t) / f**2)


def test_gradient_against_central_steps() -> None:
    sigma = np.random.default_rng(1).normal(scale=3.0, size=(200, 6))
    index, slope = limits.norris(sigma, STRENGTH)
    step = 1e-6
    for c in range(6):
        shift = np.zeros(6)
        shift[c] = step
        up, _ = limits.norris(sigma + shift, STRENGTH)
        down, _ = limits.norris(sigma - shift, STRENGTH)
        np.testing.assert_allclose(slope[:, c], (up - down) / (2 * step), rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose((slope * sigma).sum(1), 2 * index, rtol=1e-12)  # Euler


def test_lognormal_fifth_percentile_by_sampling() -> None:
    """Mean 2.6, spread .25: the 5 % point of a large lognormal sample."""
    s = np.sqrt(np.log1p(0.25**2))
    sample = np.random.default_rng(5).lognormal(np.log(2.6) - s * s / 2, s, 400_000)
    assert limits.f05(2.6, 0.25) == pytest.approx(np.quantile(sample, 0.05), rel=5e-3)
    assert sample.mean() == pytest.approx(2.6, rel=5e-3)


def test_no_stress_has_no_limit() -> None:
    index, slope = limits.norris(np.zeros((2, 6)), STRENGTH)
    assert np.isinf(limits.load_factor(index)).all()
    assert np.isfinite(slope).all()


def test_time_under_load_must_be_above_zero() -> None:
    with pytest.raises(ValueError, match="above zero"):
        limits.load_duration(0.0)
