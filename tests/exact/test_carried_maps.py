"""Maps carried over or wished for: the formula of equal stiffness, masses, the nearest map."""

import numpy as np
import pytest

from graduale.base.findings import Refused
from graduale.base.progress import silent
from graduale.box.tones import FreePlate, free_plate, tones
from graduale.thickness.carried import Strip, as_it_is, equal_across, equal_factor, of_mass, strips
from graduale.thickness.field import Layout
from graduale.thickness.wanted import MODES, Wish, nearest
from tests.exact.box_bodies import COARSE_MM, small

START = np.array([3.0, 2.6, 2.8, 2.5])


def _back() -> tuple[Layout, FreePlate]:
    s = small()
    layout = s.layouts["back"]
    return layout, free_plate(s.instrument, s.bodies["back"], layout.at(START), COARSE_MM)


def _mass(layout: Layout, free: FreePlate, zones: np.ndarray) -> float:
    return free.mass_g(layout.at(zones))


def test_equal_thickness_at_a_waist_of_60_is_three_and_a_half_times_as_stiff() -> None:
    """A bare flat plate of span 60 against one of 112: 3.5 times (arithmetic of the trade's notes,
    (112/60)^2 = 3.484); equal stiffness then needs 3.484^(-1/3) = 0.6596 of the thickness."""
    wide, narrow = Strip(112.0, 800.0), Strip(60.0, 800.0)
    assert equal_factor(narrow, wide) == pytest.approx(0.6596, abs=1e-4)
    assert equal_factor(narrow, wide) ** -3 == pytest.approx(3.5, abs=0.05)


def test_half_the_modulus_needs_a_quarter_more() -> None:
    """D = E t^3 / 12: twice the modulus at 2^(-1/3) = 0.7937 of the thickness (textbook)."""
    assert equal_factor(Strip(80.0, 400.0), Strip(80.0, 800.0)) == pytest.approx(
        1 / 0.7937, abs=1e-4
    )


def test_the_deflection_under_one_foot_is_that_of_the_reference() -> None:
    """w = 0.01695 P a^2 / D of a long supported plate under a concentrated load (Timoshenko &
    Woinowsky-Krieger, table 23, from memory), worked out here for both plates."""
    ours, theirs, t_ref = Strip(54.0, 620.0), Strip(104.0, 860.0), 3.0

    def deflection(strip: Strip, t: float) -> float:
        return 0.01695 * strip.span_mm**2 / (strip.e_across_mpa * t**3 / 12.0)

    t = t_ref * equal_factor(ours, theirs)
    assert deflection(ours, t) == pytest.approx(deflection(theirs, t_ref), rel=1e-12)


def test_each_zone_has_its_own_span() -> None:
    s = small()
    ours = strips(s.instrument, s.bodies["top"])
    assert ours[0].span_mm < ours[1].span_mm < ours[2].span_mm
    same = equal_across(START, ours, ours)
    assert same == pytest.approx(START)


def test_a_school_weighs_what_it_is_asked_to() -> None:
    layout, free = _back()
    loose = as_it_is(layout)
    zones = of_mass(np.array([1.6, 1.0, 1.0, 0.9]), loose, free, 45.0, "school")
    assert _mass(loose, free, zones) == pytest.approx(45.0, abs=1e-3)
    assert zones / zones[1] == pytest.approx([1.6, 1.0, 1.0, 0.9])


def test_a_mass_that_no_scale_reaches_is_refused() -> None:
    layout, free = _back()
    with pytest.raises(Refused, match=r"weighs .* never 500"):
        of_mass(np.ones(4), as_it_is(layout), free, 500.0, "school")


def test_the_nearest_map_of_a_mass_is_nearer_than_an_even_scaling() -> None:
    """Any other map of that mass is a bound from above; scaling all zones alike is one."""
    layout, free = _back()
    wanted = _mass(layout, free, START) - 3.0
    found = nearest(layout, free, START, Wish(mass_g=wanted), -1, "--back-mass", silent)
    assert _mass(layout, free, found) == pytest.approx(wanted, rel=2e-3)
    scaled = of_mass(START, layout, free, wanted, "scaled")
    area = free.structure.averaging.T @ free.structure.shell.surface

    def away(zones: np.ndarray) -> float:
        xy = free.plate.inside_xy
        return float(area @ (layout.at(zones)(xy) - layout.at(START)(xy)) ** 2)

    assert away(found) <= away(scaled) * 1.001


def test_the_nearest_map_of_a_tone_sounds_so() -> None:
    """Heard again by a cold solve of the free modes."""
    layout, free = _back()
    heard = tones(free, layout.at(START), MODES)
    main = next(i for i, t in enumerate(heard) if t.name == "X")
    wanted = heard[main].hz * 0.94
    found = nearest(layout, free, START, Wish(tone_hz=wanted), main, "--back-tone", silent)
    again = tones(free, layout.at(found), MODES)
    assert min(abs(t.hz / wanted - 1.0) for t in again if t.name == "X") < 2e-3


def test_a_wish_beyond_the_least_thickness_is_refused_with_the_range() -> None:
    layout, free = _back()
    with pytest.raises(
        Refused, match=r"12 g cannot be reached: .* it goes from [\d.]+ to [\d.]+ g"
    ):
        nearest(layout, free, START, Wish(mass_g=12.0), -1, "--back-mass", silent)
