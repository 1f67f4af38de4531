"""The band: yardstick, ratios, and the rule for spots that a violin hardly stresses."""

import pytest

from graduale.box.verdicts import QUIET_SHARE, Band


def members() -> dict[str, dict[str, float]]:
    """Two invented violins; the second stresses everything half as much again."""
    average = {
        "top: treble foot": 0.26,
        "top: hole": 0.02,
        "top: press 3.1": 0.4,
        "back: post": 0.1,
    }
    return {"average": average, "thin": {k: 1.5 * v for k, v in average.items()}}


def test_a_spot_is_held_to_the_same_spot() -> None:
    band = Band(members())
    assert band.yard("top: treble foot") == 0.26
    assert band.ratios("top: press 3.1") == pytest.approx((1.0, 1.5))


def test_a_quiet_spot_is_held_to_half_of_the_plates_most_in_every_member() -> None:
    band = Band(members())
    assert band.yard("top: hole") == pytest.approx(QUIET_SHARE * 0.26)
    assert band.ratios("top: hole") == pytest.approx((1.0, 1.5))
    assert band.yard("back: post") == 0.1  # the other plate's peers do not count


def test_a_press_has_no_quiet_rule_and_an_unknown_spot_no_yardstick() -> None:
    few = members()
    few["average"]["top: press 3.1"] = 0.01
    band = Band(few)
    assert band.yard("top: press 3.1") == 0.01
    assert band.yard("top: elsewhere") is None
    assert band.ratios("top: elsewhere") is None
