"""Kriging against a slow textbook twin, brute force, and its own limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import gamma, kv

from graduale.readings.kriging import Bounds, Kriged, Scales, fit, next_places
from graduale.readings.map import merged

SCALES = Scales(along_mm=40.0, across_mm=22.0, sill_mm=0.3)
FLAT_MM = 300.0  # spread of the unknown constant in the twin: as good as no prior


def sample(count: int, seed: int = 5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    xy = rng.uniform((0.0, -40.0), (300.0, 40.0), (count, 2))
    values = 0.4 * np.sin(xy[:, 0] / 50.0) + 0.2 * np.cos(xy[:, 1] / 20.0) + 0.7
    scatter = rng.uniform(0.03, 0.12, count)
    return xy, values + rng.normal(0.0, scatter), scatter


def twin(
    xy: np.ndarray, values: np.ndarray, scatter: np.ndarray, at: np.ndarray, scales: Scales = SCALES
) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean, sd, log marginal likelihood by Rasmussen & Williams 2006, algorithm 2.1, with the
    constant as one more Gaussian of great spread (their section 2.7)."""
    root5 = np.sqrt(5.0)

    def cov(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        out = np.empty((len(a), len(b)))
        for i, p in enumerate(a):
            for j, q in enumerate(b):
                r = np.hypot((p[0] - q[0]) / scales.along_mm, (p[1] - q[1]) / scales.across_mm)
                m = (1 + root5 * r + 5 * r * r / 3) * np.exp(-root5 * r)
                out[i, j] = scales.sill_mm**2 * m + FLAT_MM**2
        return out

    lower = np.linalg.cholesky(cov(xy, xy) + np.diag(scatter**2))
    alpha = np.linalg.solve(lower.T, np.linalg.solve(lower, values))
    across = cov(at, xy)
    v = np.linalg.solve(lower, across.T)
    var = np.diag(cov(at, at)) - np.einsum("ij,ij->j", v, v)
    count = len(values)
    log = -0.5 * values @ alpha - np.log(np.diag(lower)).sum() - 0.5 * count * np.log(2 * np.pi)
    return across @ alpha, np.sqrt(var), float(log)


def test_mean_and_doubt_are_those_of_the_textbook() -> None:
    xy, values, scatter = sample(18)
    at = np.random.default_rng(1).uniform((-20.0, -50.0), (320.0, 50.0), (25, 2))
    mean, sd = Kriged(xy, values, scatter, SCALES).predict(at)
    slow_mean, slow_sd, _ = twin(xy, values, scatter, at)
    assert mean == pytest.approx(slow_mean, abs=2e-5)
    assert sd == pytest.approx(slow_sd, abs=2e-5)


def test_the_likelihood_is_that_of_the_textbook_but_for_the_flat_prior() -> None:
    """The great spread of the twin's constant adds the same log(spread) whatever the scales."""
    xy, values, scatter = sample(18)
    others = [SCALES, Scales(80.0, 30.0, 0.6), Scales(25.0, 24.0, 0.15)]
    ours = [Kriged(xy, values, scatter, s).log_likelihood() for s in others]
    slow = [twin(xy, values, scatter, xy[:1], s)[2] + np.log(FLAT_MM) for s in others]
    # 1/sqrt(2 pi) of the constant's density is dropped by the flat prior
    assert np.array(ours) - slow == pytest.approx(0.5 * np.log(2 * np.pi) * np.ones(3), abs=1e-4)


def test_the_covariance_is_matern() -> None:
    """R&W eq. 4.14 with nu = 5/2: 2^(1-nu)/Gamma(nu) (sqrt(2 nu) r)^nu K_nu(sqrt(2 nu) r)."""
    r, nu = np.linspace(0.05, 4.0, 30), 2.5
    s = np.sqrt(2.0 * nu) * r
    expected = 2.0 ** (1.0 - nu) / gamma(nu) * s**nu * kv(nu, s)
    places = np.column_stack([r * SCALES.along_mm, np.zeros_like(r)])
    ours = SCALES.covariance(np.zeros((1, 2)), places)[0] / SCALES.sill_mm**2
    assert ours == pytest.approx(expected, rel=1e-10)
    across = np.column_stack([np.zeros_like(r), r * SCALES.across_mm])
    assert SCALES.covariance(np.zeros((1, 2)), across)[0] == pytest.approx(
        ours * SCALES.sill_mm**2, rel=1e-12
    )


def test_left_out_is_what_a_refit_without_the_reading_says() -> None:
    xy, values, scatter = sample(15)
    mean, sd = Kriged(xy, values, scatter, SCALES).left_out()
    for i in range(len(values)):
        rest = np.arange(len(values)) != i
        without = Kriged(xy[rest], values[rest], scatter[rest], SCALES)
        m, s = without.predict(xy[[i]])
        assert mean[i] == pytest.approx(m[0], abs=1e-7)
        assert sd[i] == pytest.approx(np.hypot(s[0], scatter[i]), abs=1e-7)


def test_repeats_gathered_say_the_same_as_repeats_kept() -> None:
    xy, values, _ = sample(12)
    rng = np.random.default_rng(8)
    twice = np.concatenate([xy, xy[:5], xy[:2]])
    many = np.concatenate([values, values[:5], values[:2]]) + rng.normal(0.0, 0.02, 19)
    places, means, scatter = merged(twice, many, 0.08)
    assert len(places) == 12
    kept = Kriged(twice, many, np.full(19, 0.08), SCALES)
    gathered = Kriged(places, means, scatter, SCALES)
    at = rng.uniform((0.0, -40.0), (300.0, 40.0), (30, 2))
    for a, b in zip(kept.predict(at), gathered.predict(at), strict=True):
        assert a == pytest.approx(b, abs=1e-6)


def test_repeats_that_disagree_raise_the_scatter() -> None:
    """Pooled variance of pairs is the mean of half the squared differences."""
    xy = np.repeat([[10.0, 0.0], [50.0, 5.0], [90.0, -5.0]], 2, axis=0)
    values = np.array([3.0, 3.4, 2.5, 2.3, 2.8, 2.8])
    scatter = merged(xy, values, 0.05)[2]
    pooled = np.sqrt((0.4**2 + 0.2**2) / 2.0 / 3.0)
    assert scatter == pytest.approx(np.full(3, pooled / np.sqrt(2.0)))


def test_without_scatter_the_map_goes_through_the_readings() -> None:
    xy, values, _ = sample(20)
    mean, sd = Kriged(xy, values, np.full(20, 1e-5), SCALES).predict(xy)
    assert mean == pytest.approx(values, abs=1e-5)
    assert sd.max() < 1e-3


def test_far_away_the_map_is_the_constant_and_doubts_more_than_the_sill() -> None:
    xy, values, scatter = sample(20)
    kriged = Kriged(xy, values, scatter, SCALES)
    mean, sd = kriged.predict(np.array([[5000.0, 0.0]]))
    assert mean[0] == pytest.approx(kriged.constant_mm)
    assert sd[0] > SCALES.sill_mm


@settings(max_examples=20, deadline=None)
@given(st.floats(-3.0, 3.0), st.floats(0.2, 5.0), st.integers(0, 10_000))
def test_a_shift_shifts_the_map_and_a_factor_scales_it(
    shift: float, factor: float, seed: int
) -> None:
    xy, values, scatter = sample(10, seed)
    at = np.random.default_rng(seed).uniform((0.0, -40.0), (300.0, 40.0), (6, 2))
    mean, sd = Kriged(xy, values, scatter, SCALES).predict(at)
    bigger = Scales(SCALES.along_mm, SCALES.across_mm, factor * SCALES.sill_mm)
    other = Kriged(xy, factor * values + shift, factor * scatter, bigger)
    assert other.predict(at)[0] == pytest.approx(factor * mean + shift, abs=1e-6)
    assert other.predict(at)[1] == pytest.approx(factor * sd, rel=1e-4, abs=1e-7)


def test_the_next_reading_is_the_one_that_brute_force_would_take() -> None:
    """Every candidate is added in turn; the variance does not depend on the value that is read."""
    xy, values, scatter = sample(10)
    kriged = Kriged(xy, values, scatter, SCALES)
    rng = np.random.default_rng(2)
    candidates = rng.uniform((0.0, -40.0), (300.0, 40.0), (25, 2))
    over = rng.uniform((0.0, -40.0), (300.0, 40.0), (60, 2))
    places, shares = next_places(kriged, candidates, over, 0.05, 2)
    before = (kriged.predict(over)[1] ** 2).sum()

    def left(first: list[np.ndarray], c: np.ndarray) -> float:
        more = np.array([*first, c])
        grown = Kriged(
            np.concatenate([xy, more]),
            np.concatenate([values, np.zeros(len(more))]),
            np.concatenate([scatter, np.full(len(more), 0.05)]),
            SCALES,
        )
        return float((grown.predict(over)[1] ** 2).sum())

    one = [left([], c) for c in candidates]
    assert places[0] == pytest.approx(candidates[int(np.argmin(one))])
    assert shares[0] == pytest.approx(1.0 - min(one) / before, rel=1e-6)
    two = [left([places[0]], c) for c in candidates]
    assert places[1] == pytest.approx(candidates[int(np.argmin(two))])
    assert shares[0] + shares[1] == pytest.approx(1.0 - min(two) / before, rel=1e-6)


def test_the_fit_is_no_worse_than_any_of_a_grid_and_keeps_its_bounds() -> None:
    xy, values, scatter = sample(40)
    bounds = Bounds()
    found = fit(xy, values, scatter, bounds)
    best = found.log_likelihood()
    for across in np.geomspace(*bounds.across_mm, 7):
        for longer in np.geomspace(*bounds.longer, 4):
            for sill in np.geomspace(*bounds.sill_mm, 7):
                scales = Scales(longer * across, across, sill)
                assert Kriged(xy, values, scatter, scales).log_likelihood() <= best + 1e-3
    s = found.scales
    assert bounds.across_mm[0] <= s.across_mm <= bounds.across_mm[1]
    assert bounds.longer[0] - 1e-9 <= s.along_mm / s.across_mm <= bounds.longer[1] + 1e-9


def test_scales_are_found_again_in_a_field_drawn_with_them() -> None:
    """Within a factor of 1.7, from 150 readings of one drawn field; the doubt is honest there."""
    rng = np.random.default_rng(11)
    xy = rng.uniform((0.0, -50.0), (320.0, 50.0), (210, 2))
    true = Scales(45.0, 20.0, 0.3)
    square = true.covariance(xy, xy) + 1e-10 * np.eye(210)
    values = np.linalg.cholesky(square) @ rng.normal(size=210)
    read = values[:150] + rng.normal(0.0, 0.05, 150)
    found = fit(xy[:150], read, np.full(150, 0.05))
    for got, wanted in zip(
        (found.scales.along_mm, found.scales.across_mm, found.scales.sill_mm),
        (45.0, 20.0, 0.3),
        strict=True,
    ):
        assert wanted / 1.7 < got < wanted * 1.7
    mean, sd = found.predict(xy[150:])
    z = (values[150:] - mean) / sd
    assert 0.7 < float(np.sqrt((z**2).mean())) < 1.4
    assert float(np.mean(np.abs(z) < 1.645)) > 0.8


def test_two_readings_are_too_few() -> None:
    with pytest.raises(ValueError, match="three"):
        fit(np.zeros((2, 2)), np.zeros(2), np.ones(2))
