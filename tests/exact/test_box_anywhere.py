"""A press at any place: on a sound plate the usual read-out; around a thin spot it sees more."""

from functools import cache

import numpy as np
import pytest

from graduale.box.anywhere import local_presses, nearest_known, press_uses
from graduale.box.plate import ThicknessAt
from graduale.box.spots import Spot
from graduale.box.verdicts import Band, judge
from graduale.readings.map import Pinned
from tests.exact.box_bodies import small


@cache
def band() -> Band:
    """The small box itself, and heavier and lighter demands, stand for a reference."""
    values = small().solved.values
    return Band(
        {
            "average": values,
            "thin": {k: 1.2 * v for k, v in values.items()},
            "thick": {k: 0.8 * v for k, v in values.items()},
        }
    )


def named(*keys: str) -> tuple[Spot, ...]:
    spots = small().reading.cases.spots["back"]
    return tuple(next(s for s in spots if s.key == k) for k in keys)


def uses(t_mm: float, reach_mm: float, spot: Spot) -> tuple[float, float]:
    """Usual and worst use on the back as it is, with a disc at `spot` held at t_mm."""
    place = np.array([[spot.x_mm, spot.y_mm]])
    pinned = Pinned(small().fields["back"], place, np.array([t_mm]), np.array([reach_mm]))
    rules: dict[str, ThicknessAt] = {"top": small().fields["top"], "back": pinned}
    t_nodes = small().box.thickness(rules)  # type: ignore[arg-type]
    usual, worst = press_uses(small().reading, t_nodes, (spot,), np.array([reach_mm]))
    return float(usual[0]), float(worst[0])


def test_at_a_named_spot_it_is_the_read_out_of_the_box() -> None:
    spots = named("press 4.1", "press 9.2", "press 3.3")
    usual, worst = press_uses(small().reading, small().t_nodes, spots, np.full(3, 10.0))
    for spot, use, most in zip(spots, usual, worst, strict=True):
        assert use == pytest.approx(small().solved.values[f"back: {spot.key}"], rel=1e-9)
        assert most >= use


def test_on_a_plate_without_thin_spots_the_verdict_is_that_of_the_spot() -> None:
    spots = named("press 4.1", "press 9.2")
    t = small().t_nodes
    found = local_presses(small().reading, t, t, spots, np.full(2, 12.0), band(), 0.1)
    judged = {j.key: j for j in judge(small().reading, small().solved, band(), 0.1)}
    for one in found:
        same = judged[f"back: {one.spot.key}"]
        # a search that finds more than 2.5 times the usual read-out counts for the rest of it
        assert one.ratio >= same.ratio * (1.0 - 1e-9)
        assert one.ratio <= 1.3 * same.ratio
        assert one.limit == pytest.approx(same.limit)
        assert one.near == one.spot


def test_a_thin_spot_is_seen_the_more_the_further_it_reaches() -> None:
    """And never by more than (t0/t)^2, as if the whole plate were so thin (load/t2; trade's rule),
    but for the search's own share."""
    spot = named("press 9.2")[0]
    place = np.array([[spot.x_mm, spot.y_mm]])
    t0 = float(small().fields["back"](place)[0])
    sound = uses(t0, 20.0, spot)[1]
    seen = [uses(1.3, reach, spot)[1] / sound for reach in (6.0, 12.0, 20.0)]
    assert seen[0] < seen[1] < seen[2]
    assert seen[2] > 1.5
    assert seen[2] < 1.3 * (t0 / 1.3) ** 2


def test_the_usual_read_out_alone_would_not_see_it() -> None:
    """Why the search is needed: in the middle of a small thin disc the inside face is relieved."""
    spot = named("press 9.2")[0]
    usual_sound = uses(9.0, 8.0, spot)[0]
    usual, worst = uses(1.3, 8.0, spot)
    assert usual < usual_sound
    assert worst > usual


def test_two_spots_in_one_solve_are_as_each_alone() -> None:
    spots, reach = named("press 4.1", "press 9.2"), np.array([10.0, 15.0])
    both = press_uses(small().reading, small().t_nodes, spots, reach)
    for k in range(2):
        alone = press_uses(small().reading, small().t_nodes, spots[k : k + 1], reach[k : k + 1])
        assert [both[0][k], both[1][k]] == pytest.approx([alone[0][0], alone[1][0]], rel=1e-9)


def test_the_nearest_spot_must_be_known_to_every_member() -> None:
    here = named("press 4.1")[0]
    near = Spot("here", "here", "back", here.x_mm + 1.0, here.y_mm - 1.0)
    assert nearest_known(small().reading, near, band()) == here
    poorer = dict(band().members)
    poorer["thin"] = {k: v for k, v in poorer["thin"].items() if k != "back: press 4.1"}
    assert nearest_known(small().reading, near, Band(poorer)) != here
    with pytest.raises(ValueError, match="no press spot"):
        nearest_known(small().reading, near, Band({"average": {}}))


def test_no_spots_ask_for_no_work() -> None:
    t = small().t_nodes
    assert local_presses(small().reading, t, t, (), np.empty(0), band(), 0.1) == ()
