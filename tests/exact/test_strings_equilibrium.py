"""The set-up is in equilibrium with itself: forces and moments about any point sum to zero."""

import math
from dataclasses import replace

import numpy as np
import pytest

from graduale.base.findings import Refused
from graduale.records.instrument import Body, Bridge, Neck, String, Strings
from graduale.strings.setup import StringForces, setup_of, top_plane_z

BODY = Body(320, 96, 60, 108, 260, 180, 66, 200, 130, 90, 102, 18, 20, 1, 2.5, 170)
BRIDGE = Bridge(150.0, 28.0, 30.0, 26.0, 12.0, -11.0, 7.0, 3.0, None)
NECK = Neck(3.0, 20.0, 15.0, 8.0)
SET = Strings(
    440.0,
    290.0,
    tuple(
        String(n, f, "gut", g, None)
        for n, f, g in (
            ("G3", 196, 1.25),
            ("D4", 293.7, 1.03),
            ("A4", 440, 0.75),
            ("E5", 659, 0.62),
        )
    ),
)
CASES = {
    "plain": BRIDGE,
    "given angle": replace(BRIDGE, break_angle_deg=158.0),
    "feet inside the strings": replace(BRIDGE, bass_foot_y_mm=7.0, treble_foot_y_mm=-3.0),
}


def made(bridge: Bridge) -> StringForces:
    return setup_of(SET, bridge, NECK, BODY, 10.0, (9.7, 9.4))


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("point", [(0, 0, 0), (150, 0, 40), (-300, 77, 1000)])
def test_all_forces_and_moments_sum_to_zero(case: str, point: tuple[float, float, float]) -> None:
    forces = made(CASES[case])
    told = [w.at(point) for w in forces.wrenches]
    scale = forces.tension_total_n
    np.testing.assert_allclose(sum(w.force for w in told), 0.0, atol=1e-9 * scale)
    span = np.linalg.norm(np.asarray(point)) + 600.0
    np.testing.assert_allclose(sum(w.moment for w in told), 0.0, atol=1e-9 * scale * span)


def test_string_length_is_straight_from_nut_to_bridge() -> None:
    """On the middle line; the nut stands its height above the top's gluing plane, run on."""
    one = replace(SET, strings=SET.strings[:1])
    line = setup_of(one, BRIDGE, NECK, BODY, 10.0).lines[0]
    assert np.linalg.norm(line.nut - line.bridge) == pytest.approx(290.0, rel=1e-12)
    assert line.nut[2] - top_plane_z(BODY, line.nut[0]) == pytest.approx(NECK.nut_height_mm)
    assert line.bridge[2] == pytest.approx(top_plane_z(BODY, 150.0) + 38.0)
    assert line.saddle[0] == 0.0


@pytest.mark.parametrize("angle", [150.0, 157.0, 165.0])
def test_given_break_angle_is_met(angle: float) -> None:
    one = replace(SET, strings=SET.strings[:1])
    forces = setup_of(one, replace(BRIDGE, break_angle_deg=angle), NECK, BODY, 10.0)
    line = forces.lines[0]
    a, b = line.nut - line.bridge, line.saddle - line.bridge
    cos = a @ b / np.linalg.norm(a) / np.linalg.norm(b)
    assert math.degrees(math.acos(cos)) == pytest.approx(angle, abs=1e-9)
    assert forces.break_angle_deg == pytest.approx(angle, abs=1e-9)


def test_shares_follow_the_strings_and_outside_strings_lift_a_foot() -> None:
    forces = made(BRIDGE)
    assert sum(forces.shares) == pytest.approx(1.0)
    assert not forces.lifts
    gut_e_alone = replace(SET, strings=SET.strings[3:] * 2)
    far = replace(BRIDGE, bass_foot_y_mm=40.0, treble_foot_y_mm=20.0)
    lifted = setup_of(gut_e_alone, far, NECK, BODY, 10.0)
    assert lifted.lifts
    assert lifted.shares[0] < 0.0
    assert "foot-lifts" in [f.key for f in lifted.findings]


def test_press_lies_inside_both_feet() -> None:
    """Contact bears no pull: the moment across the foot is at most press times a sixth of width."""
    forces = made(BRIDGE)
    for foot in forces.feet.values():
        assert foot.force[2] < 0.0
        assert abs(foot.moment[1]) <= -foot.force[2] * BRIDGE.foot_width_mm / 6 * 1.01
    assert 1.0 < forces.tail_ratio < 1.06


def test_mirrored_bridge_mirrors_the_forces() -> None:
    mirrored = replace(BRIDGE, bass_foot_y_mm=11.0, treble_foot_y_mm=-12.0)
    strings = replace(SET, strings=SET.strings[::-1])
    a = made(BRIDGE)
    b = setup_of(strings, mirrored, NECK, BODY, 10.0, (9.4, 9.7))
    np.testing.assert_allclose(b.bass_foot.force, a.treble_foot.force * [1, -1, 1], atol=1e-9)
    np.testing.assert_allclose(b.saddle.moment, a.saddle.moment * [-1, 1, -1], atol=1e-6)


def test_forces_grow_with_tension() -> None:
    twice = replace(SET, pitch_a_hz=440.0 * math.sqrt(2))
    louder = replace(
        twice,
        strings=tuple(
            replace(s, frequency_hz=s.frequency_hz * math.sqrt(2)) for s in twice.strings
        ),
    )
    a, b = made(BRIDGE), setup_of(louder, BRIDGE, NECK, BODY, 10.0, (9.7, 9.4))
    np.testing.assert_allclose(b.bass_foot.force, 2 * a.bass_foot.force, rtol=1e-9)


@pytest.mark.parametrize(
    ("bridge", "neck", "strings", "key"),
    [
        (replace(BRIDGE, treble_foot_y_mm=20.0), NECK, SET, "bridge-feet"),
        (replace(BRIDGE, crown_radius_mm=5.0), NECK, SET, "bridge-crown"),
        (BRIDGE, replace(NECK, nut_height_mm=90.0, saddle_height_mm=90.0), SET, "no-press"),
        (BRIDGE, NECK, replace(SET, length_mm=10.0), "string-length"),
        (BRIDGE, NECK, replace(SET, length_mm=float("nan")), "string-length"),
        (BRIDGE, NECK, replace(SET, strings=()), "no-strings"),
        (replace(BRIDGE, break_angle_deg=23.0), NECK, SET, "break-angle"),
        (replace(BRIDGE, x_mm=0.0), NECK, SET, "bridge-place"),
    ],
)
def test_impossible_set_up_is_refused(bridge, neck, strings, key) -> None:
    with pytest.raises(Refused) as caught:
        setup_of(strings, bridge, neck, BODY, 10.0)
    assert caught.value.findings[0].key == key
