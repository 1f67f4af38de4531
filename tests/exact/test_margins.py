"""Power laws and what a wider margin costs: against closed forms and full solves."""

import numpy as np
import pytest

from graduale.box.readouts import solve
from graduale.thickness.choose import Choice, Problem
from graduale.thickness.margins import MARGINS, at_margins
from graduale.thickness.power import PowerLaw, lightest
from tests.exact.box_bodies import PLATES, small


def test_the_lightest_plate_of_a_pure_power_is_known() -> None:
    """J = t^-2 on every zone of one plate: a limit of a quarter asks for twice the thickness; the
    other plate, which nothing asks for, goes to its least."""
    powers = np.zeros((1, 8))
    powers[0, :4] = -0.5  # four zones, together the square
    law = PowerLaw(np.full(8, 2.0), ("J",), np.zeros(1), powers, 0.0, np.ones(8))
    even = np.kron(np.eye(2), np.ones((4, 1)))
    zones, missing = lightest(law, even, {"J": 0.25}, [(1.5, 6.0)] * 2, 1.0)
    assert zones == pytest.approx([4.0] * 4 + [1.5] * 4, rel=1e-4)
    assert missing == pytest.approx(0.0, abs=1e-6)
    zones, missing = lightest(law, even, {"J": 1.0 / 16.0}, [(1.5, 6.0)] * 2, 3.0)
    assert zones[:4] == pytest.approx(6.0, rel=1e-4)  # as thick as may be, and still over
    assert missing == pytest.approx(np.log(16.0) - 2.0 * np.log(3.0), rel=1e-4)


def test_two_limits_share_the_mass_as_lagrange_says() -> None:
    """min a + b under a^-1 b^-3 <= 1: at the answer b = 3 a, so a = 3^(-3/4)."""
    powers = np.array([[-1.0, 0, 0, 0, -3.0, 0, 0, 0]])
    law = PowerLaw(np.ones(8), ("J",), np.zeros(1), powers, 0.0, np.eye(8)[0] + np.eye(8)[4])
    zones, _ = lightest(law, np.eye(8), {"J": 1.0}, [(0.1, 6.0)] * 8, 2.0)
    assert zones[0] == pytest.approx(3.0**-0.75, rel=1e-3)
    assert zones[4] == pytest.approx(3.0**0.25, rel=1e-3)


def test_other_margins_are_near_the_full_solve() -> None:
    """The maps for 0 and 30 % from an answer at 10 %, solved in full: the governing demand lies at
    the scaled limit within 2 %, and the mass goes up with the margin."""
    s = small()
    keys = ("across top", "across back", "lengthwise")
    even = {w: np.full(4, 3.0) for w in PLATES}
    t_nodes = s.box.thickness({w: s.layouts[w].at(even[w]) for w in PLATES})
    solved = solve(s.reading, t_nodes, slopes=True)
    problem = Problem(s.reading, s.layouts, {k: solved.values[k] for k in keys})
    made = at_margins(problem, Choice("even", even, (), solved, (), ()), 0.10)
    assert [m.margin for m in made] == list(MARGINS)
    assert [m.settled for m in made] == [False, False, True, False, False]
    masses = [sum(m.more_g.values()) for m in made]
    assert masses == sorted(masses)
    assert masses[2] == 0.0
    for one in (made[0], made[-1]):
        demands = problem.values(one.zones)
        share = max(demands[k] / limits_at for k, limits_at in _scaled(problem, one.margin).items())
        assert share == pytest.approx(1.0, abs=0.02)


def _scaled(problem: Problem, margin: float) -> dict[str, float]:
    return {k: v * 1.10 / (1.0 + margin) for k, v in problem.limits.items()}
