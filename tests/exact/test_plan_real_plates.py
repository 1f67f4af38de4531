"""Guide holes on the outsides of real plates, judged by brute force, with bits large and small."""

import math
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.files.instrument import parse_instrument
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.outline import Outline, outline_of
from graduale.plan.holes import LEAST_DEPTH_MM, plan_guide_holes
from graduale.plan.zones import keep_out_zones
from graduale.records.instrument import Instrument
from tests.exact.plan_cases import Judge, drill

STEP_MM = 0.25  # of the judge's cloud
BODIES = ('kind = "narrow-fiddle"\n', 'kind = "violin"\n[body]\nlength = 300\n')


@cache
def plate(which: int) -> tuple[Instrument, Outline, Arching, Judge]:
    """A back with its outside, and the outside as a cloud of points 0.25 mm apart."""
    instrument = parse_instrument("format = 1\n" + BODIES[which], "my.toml").instrument
    outline = outline_of(instrument.body)
    outside = arching_of(instrument.back.arch, outline)
    low, high = outline.xy.min(axis=0) - 4.0, outline.xy.max(axis=0) + 4.0
    x, y = np.arange(low[0], high[0], STEP_MM), np.arange(low[1], high[1], STEP_MM)
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    cloud = np.column_stack([xy, outside.height(xy)])
    return instrument, outline, outside, Judge(cloud, cKDTree(cloud))


def judge_mm(tip_mm: float) -> float:
    """How far the cloud may read high: step^2 / 4 / distance, and half a diagonal's sag of the
    rest's tip."""
    return 0.006 + STEP_MM**2 / 4.0 / 2.0 + STEP_MM**2 / 4.0 / tip_mm


def target(xy: Floats) -> Floats:
    """A map from 2.4 to 3.4, thicker in the middle."""
    return 2.4 + np.exp(-((xy[:, 0] - 150.0) ** 2) / 4000.0 - xy[:, 1] ** 2 / 300.0)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    which=st.integers(0, 1),
    shape=st.sampled_from(["point118", "flat", "ball", "brad"]),
    way=st.sampled_from([("rest", "level"), ("rest", "tilted"), ("collar", "level")]),
    bit=st.sampled_from([1.5, 4.0, 8.0, 12.0]),
    tip=st.sampled_from([1.0, 5.0, 12.0]),
    scrape=st.sampled_from([0.0, 0.3]),
)
def test_the_drilled_hole_leaves_what_the_plan_says(
    which: int, shape: str, way: tuple[str, str], bit: float, tip: float, scrape: float
) -> None:
    """Target, allowance, what is still to be scraped, and the tolerance, under the whole bit; and
    none shallower than 0.4 mm. A brad's spur is 1.2."""
    instrument, outline, outside, judge = plate(which)
    how = drill(
        method=way[0], hold=way[1], bit_shape=shape, bit_mm=bit, rest_radius_mm=tip,
        spur_mm=1.2 if shape == "brad" else 0.0, outside_scrape_mm=scrape,
        spacing_along_mm=30.0, spacing_across_mm=20.0, max_level_slope_deg=28.0,
    )  # fmt: skip
    doubt = judge_mm(tip)
    zones = keep_out_zones("back", instrument, outline)
    found = plan_guide_holes("back", outline, outside, target, "maple", how, zones)
    assert found.holes or bit == 12.0
    for hole in found.holes[::3]:
        q, distance = judge.bottom(hole, how)
        over = np.min(distance - target(q[:, :2])) - found.allowance_mm - scrape
        assert over > hole.tolerance_mm - doubt
        assert np.min(distance) - scrape == pytest.approx(hole.leaves_mm, abs=doubt)
        assert math.isfinite(hole.depth_mm)
    assert min((h.depth_mm for h in found.holes), default=1.0) >= LEAST_DEPTH_MM - 1e-6


@pytest.mark.parametrize(("method", "shape"), [("collar", "flat"), ("rest", "ball")])
def test_what_is_hardly_thicker_is_nothing_to_drill(method: str, shape: str) -> None:
    """Wood 0.2 to 0.35 mm over what drill, allowance and tolerance leave: no hole is planned."""
    instrument, outline, outside, _ = plate(0)
    zones = keep_out_zones("back", instrument, outline)
    how = drill(method=method, bit_shape=shape)

    def almost(xy: Floats) -> Floats:
        slope = np.hypot(*np.asarray(outside.gradient(xy)).T)
        return np.asarray(outside.height(xy) / np.hypot(1.0, slope) - 1.75)

    found = plan_guide_holes("back", outline, outside, almost, "maple", how, zones)
    assert min((h.depth_mm for h in found.holes), default=1.0) >= LEAST_DEPTH_MM - 1e-6
