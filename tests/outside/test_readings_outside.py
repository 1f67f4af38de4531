"""Kriging of readings, against a textbook example and a general library."""

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from graduale.readings.kriging import Kriged, Scales
from tests.verification import Verified


class Exponential(Scales):
    """The covariance of the textbook example, 10 exp(-3 h / 10), in place of our own."""

    def covariance(self, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        h = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
        return self.sill_mm**2 * np.exp(-3.0 * h / self.along_mm)


PLACES = np.array(
    [[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], dtype=float
)
VALUES = np.array([477.0, 696.0, 227.0, 646.0, 606.0, 791.0, 783.0])
AT = np.array([[65.0, 137.0]])
SOURCE = "Isaaks & Srivastava 1989, ch. 12, ordinary kriging of seven samples at 65E, 137N"


def test_a_textbook_example_of_ordinary_kriging(verified: Verified) -> None:
    """Estimate 592.7, error variance 8.96, weights .173 .318 .129 .086 .151 .057 .086."""
    scales = Exponential(10.0, 10.0, float(np.sqrt(10.0)))
    none = np.full(7, 1e-6)
    mean, sd = Kriged(PLACES, VALUES, none, scales).predict(AT)
    verified("estimate", mean[0], 592.7, source=SOURCE, status="M", abs=0.5, unit="")
    verified("error variance", sd[0] ** 2, 8.96, source=SOURCE, status="M", rel=0.005, unit="")
    first = np.eye(7)[0]
    weight = Kriged(PLACES, first, none, scales).predict(AT)[0][0]
    verified("weight of the first sample", weight, 0.173, source=SOURCE, status="M", abs=0.001)


def test_the_flat_limit_is_the_quintic_spline_of_a_general_library(verified: Verified) -> None:
    """As its lengths grow the Matern 5/2 map tends to the polyharmonic r^5 spline with a quadratic
    (Driscoll & Fornberg 2002 for the limit, from memory); scipy's RBFInterpolator has that."""
    rng = np.random.default_rng(4)
    xy = rng.uniform(-1.0, 1.0, (30, 2))
    values = np.sin(2.0 * xy[:, 0]) + xy[:, 1] ** 2 - 0.5 * xy[:, 0] * xy[:, 1]
    at = rng.uniform(-0.8, 0.8, (40, 2))
    spline = RBFInterpolator(xy, values, kernel="quintic", degree=2)(at)
    gaps = []
    for length in (1.5, 40.0):
        # so flat a covariance is singular to rounding: the sill grows with the length
        sill = 10.0 * length**2.5
        ours = Kriged(xy, values, np.full(30, 1e-7), Scales(length, length, sill)).predict(at)[0]
        gaps.append(float(np.abs(ours - spline).max()))
    assert gaps[1] < 0.1 * gaps[0]
    verified(
        "largest gap to the quintic spline, values of order one",
        gaps[1],
        0.0,
        source="scipy RBFInterpolator, kernel quintic, degree 2",
        status="C",
        abs=0.005,
    )


def test_the_tester_sees_a_wrong_covariance() -> None:
    """With another range the textbook's estimate is missed by far more than is allowed above."""
    scales = Exponential(25.0, 25.0, float(np.sqrt(10.0)))
    sd = Kriged(PLACES, VALUES, np.full(7, 1e-6), scales).predict(AT)[1]
    assert sd[0] ** 2 != pytest.approx(8.96, rel=0.1)
