"""The outside: exact spheres and polynomials, the rule's promises, given heights, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.base.findings import Refused
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.archrule import cycloid
from graduale.geometry.outline import Outline, outline_of
from graduale.geometry.spline import fit, net_over
from graduale.records.instrument import ArchShape, Body, CrossArch
from tests.exact.geometry_bodies import (
    NARROW,
    NARROW_TOP,
    SMOOTH,
    THIN_WAIST,
    VIOLIN,
    VIOLIN_TOP,
)

PLATES = [(VIOLIN, VIOLIN_TOP), (NARROW, NARROW_TOP), (SMOOTH, NARROW_TOP)]
PLATES += [(THIN_WAIST, replace(NARROW_TOP, crown_mm=8.0))]
_MADE: dict[int, tuple[Outline, Arching]] = {}


def _plate(body: Body, shape: ArchShape) -> tuple[Outline, Arching]:
    key = hash((body, shape))
    if key not in _MADE:
        outline = outline_of(body)
        _MADE[key] = outline, arching_of(shape, outline)
    return _MADE[key]


def _field(low: float, high: float, step: float) -> Floats:
    line = np.arange(low, high, step)
    gx, gy = np.meshgrid(line, line)
    return np.column_stack([gx.ravel(), gy.ravel()])


def _drawn(z: Floats, xy: Floats) -> Arching:
    net = net_over(xy.min(axis=0), xy.max(axis=0), 3.0)
    return Arching(fit(net, xy, z, np.ones(len(xy)), 1e-9))


def test_a_cubic_surface_comes_back_exactly() -> None:
    """Cubic B-splines hold every bicubic polynomial, so heights and derivatives are exact."""
    xy = _field(-20.0, 20.0, 1.1)
    x, y = xy.T
    arching = _drawn(9.0 + 0.1 * x - 0.02 * x * y + 0.001 * x**3 - 2e-4 * x * y**2, xy)
    px, py = 3.3, -7.1
    all_of_it = [
        9.0 + 0.1 * px - 0.02 * px * py + 0.001 * px**3 - 2e-4 * px * py**2,
        0.1 - 0.02 * py + 0.003 * px**2 - 2e-4 * py**2,
        -0.02 * px - 4e-4 * px * py,
        0.006 * px,
        -0.02 - 4e-4 * py,
        -4e-4 * px,
    ]
    np.testing.assert_allclose(arching.all_at([[px, py]])[0], all_of_it, atol=1e-6)


def test_a_sphere_has_its_radius_everywhere() -> None:
    """Both principal curvatures of a sphere of radius 60 are -1/60, its normals radial."""
    xy = _field(-25.0, 25.0, 0.9)
    arching = _drawn(np.sqrt(60.0**2 - np.sum(xy**2, axis=1)) - 40.0, xy)
    spots = np.array([[0.0, 0.0], [12.0, -9.0], [-15.0, 8.0]])
    np.testing.assert_allclose(arching.curvatures(spots), -1.0 / 60.0, rtol=2e-3)
    height = arching.height(spots) + 40.0
    radial = np.column_stack([spots, height]) / 60.0
    np.testing.assert_allclose(arching.normal(spots), radial, atol=1e-4)
    steep = np.degrees(np.arcsin(np.hypot(*spots.T) / 60.0))
    np.testing.assert_allclose(arching.slope_deg(spots), steep, atol=0.01)


def test_a_cylinder_is_bent_one_way() -> None:
    """Principal curvatures of a cylinder of radius 40: 0 and -1/40, at any angle to the axes."""
    xy = _field(-20.0, 20.0, 0.8)
    across = (xy[:, 0] + xy[:, 1]) / np.sqrt(2.0)
    arching = _drawn(np.sqrt(40.0**2 - across**2), xy)
    spots = np.array([[0.0, 0.0], [5.0, 3.0], [-6.0, 1.0]])
    np.testing.assert_allclose(arching.curvatures(spots)[:, 0], 0.0, atol=2e-4)
    np.testing.assert_allclose(arching.curvatures(spots)[:, 1], -1.0 / 40.0, rtol=5e-3)


@pytest.mark.parametrize(("body", "shape"), PLATES)
def test_slopes_are_the_derivatives_of_the_heights(body: Body, shape: ArchShape) -> None:
    """Against central differences; the second derivatives do not jump (twice continuous)."""
    outline, arching = _plate(body, shape)
    rng = np.random.default_rng(7)
    xy = rng.uniform(outline.xy.min(axis=0), outline.xy.max(axis=0), (300, 2))
    d = 1e-4
    dx, dy = np.array([d, 0.0]), np.array([0.0, d])
    numeric = np.column_stack(
        [arching.height(xy + e) - arching.height(xy - e) for e in (dx, dy)]
    ) / (2.0 * d)
    np.testing.assert_allclose(arching.gradient(xy), numeric, atol=1e-6)
    bend = np.column_stack(
        [
            (arching.gradient(xy + dx) - arching.gradient(xy - dx)) / (2.0 * d),
            (arching.gradient(xy + dy) - arching.gradient(xy - dy))[:, 1:] / (2.0 * d),
        ]
    )
    np.testing.assert_allclose(arching.hessian(xy), bend, atol=1e-4)


@pytest.mark.parametrize(("body", "shape"), PLATES)
def test_crown_edge_and_channel_have_their_heights(body: Body, shape: ArchShape) -> None:
    """A channel that must turn within 3 mm (waist 25) is eased by up to 0.45, others by 0.2."""
    eased = 0.2 if body.waist_width_mm > 40.0 else 0.45
    outline, arching = _plate(body, shape)
    xy = _field(-5.0, 360.0, 2.0) * [1.0, 0.5] - [0.0, 90.0]
    xy = xy[outline.contains(xy)]
    heights = arching.height(xy)
    assert heights.max() == pytest.approx(shape.crown_mm, abs=0.05)
    np.testing.assert_allclose(arching.height(outline.xy), shape.edge_mm, atol=0.08)
    channel = arching.height(outline.inset(shape.channel_at_mm))
    np.testing.assert_allclose(channel, shape.channel_mm, atol=eased)
    assert heights.min() > shape.channel_mm - 0.2


@pytest.mark.parametrize(("body", "shape"), PLATES)
def test_the_arch_falls_steadily_from_the_middle_to_the_channel(
    body: Body, shape: ArchShape
) -> None:
    """No dent: cross arches and the long arch never rise again on the way out."""
    outline, arching = _plate(body, shape)
    for x in np.arange(12.0, body.length_mm - 12.0, 6.0):
        half = outline.half_widths([x])[0][0] - shape.channel_at_mm - 1.5
        y = np.arange(0.0, half, 0.5)
        line = np.column_stack([np.full(len(y), x), y])
        line = line[outline.edge_distance(line) > shape.channel_at_mm + 1.0]
        assert np.diff(arching.height(line)).max(initial=-1.0) < 0.02
    x = np.arange(shape.channel_at_mm + 1.5, 0.5 * body.length_mm, 0.5)
    for line_x in (x, body.length_mm - x):
        line = np.column_stack([line_x, np.zeros(len(x))])
        assert np.diff(arching.height(line)).min() > -0.02


def test_a_mirrored_outline_gives_a_mirrored_arch() -> None:
    outline, arching = _plate(VIOLIN, VIOLIN_TOP)
    xy = outline.inset(20.0)
    mirrored = arching.height(xy * [1.0, -1.0])
    np.testing.assert_allclose(arching.height(xy), mirrored, atol=2e-3)


def test_it_is_harmless_a_little_beyond_the_edge() -> None:
    outline, arching = _plate(VIOLIN, VIOLIN_TOP)
    beyond = arching.height(outline.inset(-5.0))
    assert np.abs(beyond - VIOLIN_TOP.edge_mm).max() < 0.6


def test_the_cross_arch_is_the_curtate_cycloid_when_not_eased() -> None:
    """s = r a - d sin a, z = r - d cos a (textbook trochoid), 2 pi r the width, 2 d the rise."""
    r, d = 8.0, 3.2
    a = np.linspace(0.0, np.pi, 40)
    s = r * a - d * np.sin(a)
    u = 1.0 - s / (np.pi * r)
    share = cycloid(u, np.full(40, 2.0 * d), np.full(40, np.pi * r), eased=1.0)
    np.testing.assert_allclose(share, (1.0 - np.cos(a)) / 2.0, atol=1e-9)


def test_the_cross_arch_eased_out_is_a_cosine() -> None:
    u = np.linspace(0.0, 1.0, 11)
    share = cycloid(u, np.full(11, 9.0), np.full(11, 26.0), eased=0.0)
    np.testing.assert_allclose(share, 0.5 * (1.0 + np.cos(np.pi * u)), atol=1e-12)


LONG = ((0.0, 4.0), (10.0, 3.5), (30.0, 6.0), (60.0, 10.2), (90.0, 13.0), (130.0, 14.8))
LONG += ((190.0, 15.5), (230.0, 15.0), (270.0, 13.0), (300.0, 10.2), (330.0, 6.2), (355.0, 4.0))


def test_a_given_long_arch_is_passed() -> None:
    arching = arching_of(replace(VIOLIN_TOP, long_arch=LONG), outline_of(VIOLIN))
    heights = arching.height([(x, 0.0) for x, _h in LONG])
    np.testing.assert_allclose(heights, [h for _x, h in LONG], atol=0.05)


def _cross(outline: Outline, x: float, top: float, one_side: bool) -> CrossArch:
    half = outline.half_widths([x])[0][0] - VIOLIN_TOP.channel_at_mm
    y = np.linspace(0.0 if one_side else -half, half, 6 if one_side else 11)
    h = 3.2 + (top - 3.2) * (1.0 - np.abs(y / half) ** 1.9) ** 1.4
    return CrossArch(x, tuple((float(a), float(b)) for a, b in zip(y, h, strict=True)))


def test_given_cross_arches_are_passed_and_half_ones_mirrored() -> None:
    outline = outline_of(VIOLIN)
    tops = [(74.0, 13.4), (142.0, 15.2), (196.0, 15.5), (224.0, 15.2), (288.0, 12.4)]
    whole = tuple(_cross(outline, x, t, False) for x, t in tops)
    half = tuple(_cross(outline, x, t, True) for x, t in tops)
    arching = arching_of(replace(VIOLIN_TOP, cross_arches=whole), outline)
    for arch in whole:
        heights = arching.height([(arch.x_mm, y) for y, _h in arch.points])
        np.testing.assert_allclose(heights, [h for _y, h in arch.points], atol=0.05)
    mirrored = arching_of(replace(VIOLIN_TOP, cross_arches=half), outline)
    ring = outline.inset(25.0)
    np.testing.assert_allclose(mirrored.height(ring), arching.height(ring), atol=0.05)


def test_scattered_heights_of_another_arch_are_passed_and_filled_in() -> None:
    """Heights read off an arch 1.5 lower than the rule: passed, and near it in between."""
    outline, _by_rule = _plate(VIOLIN, VIOLIN_TOP)
    true = arching_of(replace(VIOLIN_TOP, crown_mm=14.0), outline)
    rng = np.random.default_rng(11)
    xy = rng.uniform(outline.xy.min(axis=0), outline.xy.max(axis=0), (700, 2))
    xy = xy[outline.edge_distance(xy) > 6.0][:160]
    rows = tuple(
        (float(x), float(y), float(h)) for (x, y), h in zip(xy, true.height(xy), strict=True)
    )
    arching = arching_of(replace(VIOLIN_TOP, heights=rows), outline)
    np.testing.assert_allclose(arching.height(xy), true.height(xy), atol=0.05)
    spots = outline.inset(18.0)
    np.testing.assert_allclose(arching.height(spots), true.height(spots), atol=0.25)


REFUSED: dict[str, dict[str, object]] = {
    "arching-cover": {"long_arch": ((100.0, 14.0), (150.0, 15.0), (200.0, 15.0))},
    "arching-flat": {"crown_mm": 2.0},
    "arching-nan": {"edge_mm": float("nan")},
    "arching-height": {"heights": ((100.0, 0.0, -15.0),)},
    "arching-no-field": {"channel_at_mm": 60.0},
    "arching-not-positive": {"channel_mm": -1.0},
    "arching-off-plate": {"heights": ((100.0, 0.0, 15.0), (100.0, 150.0, 4.0))},
    "arching-contradicts": {
        "long_arch": LONG,
        "cross_arches": (CrossArch(190.0, ((0.0, 19.0), (50.0, 3.2))),),
    },
}


@pytest.mark.parametrize("key", REFUSED)
def test_impossible_outsides_are_refused_by_name(key: str) -> None:
    with pytest.raises(Refused) as refused:
        arching_of(replace(VIOLIN_TOP, **REFUSED[key]), outline_of(VIOLIN))  # type: ignore[arg-type]
    assert {f.key for f in refused.value.findings} == {key}


def test_heights_that_do_not_cover_name_the_bare_place() -> None:
    rows = tuple((x, y, 8.0) for x in (40.0, 70.0, 100.0) for y in (-60.0, -20.0, 20.0, 60.0))
    with pytest.raises(Refused, match=r"do not cover.*x = \d+"):
        arching_of(replace(VIOLIN_TOP, heights=rows), outline_of(VIOLIN))
