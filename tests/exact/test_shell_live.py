"""The prepared plate and box against cold solutions, and their slopes against numerical steps."""

from functools import cache

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.box.live_box import LiveBox, Rest
from graduale.box.live_plate import LivePlate
from graduale.box.readouts import solve
from graduale.shell.buckling import buckling_factor
from graduale.shell.live import LiveShell
from graduale.shell.modes import free_modes
from graduale.shell.solver import factor_held
from tests.exact.box_bodies import small
from tests.exact.test_shell_slopes import direction, thickness, with_bar

STRIP = with_bar()


@cache
def strip() -> LiveShell:
    """The strip with a bar, prepared around an even thickness."""
    return LiveShell.of(STRIP, np.full(len(STRIP.shell.nodes), 3.0), 6)


@cache
def plate() -> LivePlate:
    """The back of the small body."""
    s = small()
    return LivePlate.of(s.box.instrument, s.box.plates["back"].body, s.fields["back"])


@cache
def box() -> tuple[LiveBox, Rest]:
    """The small box and its first answer."""
    s = small()
    live = LiveBox.of(s.reading)
    return live, live.at(s.t_nodes)


def cold(t_nodes: Floats) -> Floats:
    """Tones of the strip, solved cold."""
    return free_modes(STRIP.stiffness(t_nodes), STRIP.mass(t_nodes), 6).hz


@pytest.mark.parametrize("change", [0.0, 0.03, 0.3, 1.0])
def test_tones_of_a_new_map_are_those_of_a_cold_solution(change: float) -> None:
    even = np.full(len(STRIP.shell.nodes), 3.0)
    new = even + change * np.tanh(direction(STRIP))
    heard = strip().at(new, strip().at(even))
    assert heard.hz == pytest.approx(cold(new), rel=1e-6)
    assert heard.mass_g == pytest.approx(STRIP.mass_g(new), rel=1e-12)


def test_a_way_of_many_small_scrapes_skips_no_tone_and_comes_home() -> None:
    even = np.full(len(STRIP.shell.nodes), 3.0)
    x = STRIP.shell.nodes[:, 0] / 210.0
    end = np.where(x < 0.5, 1.2, 4.5)
    heard, origin = strip().at(even), np.arange(6)
    for share in [*np.linspace(0.1, 1.0, 8), *np.linspace(0.8, 0.0, 6)]:
        now = even + share * (end - even)
        heard = strip().at(now, heard)
        assert heard.hz == pytest.approx(cold(now), rel=1e-6)
        known = (heard.follows >= 0) & (heard.follows < 6)
        origin = np.where(known, origin[np.where(known, heard.follows, 0)], -1)
    assert set(origin[origin >= 0]) == set(range(int(np.sum(origin >= 0))))
    first = strip().at(even)
    mass = STRIP.mass(even)
    alike = np.abs(np.einsum("ik,ik->k", heard.shapes, mass @ first.shapes))
    assert alike == pytest.approx(1.0, abs=1e-5)


def test_slopes_of_tones_and_compliance_are_those_of_central_differences() -> None:
    t, d, step = thickness(STRIP), direction(STRIP), 1e-4
    motions = np.zeros((STRIP.shell.size, 6))
    motions[strip().assembly.free] = strip().rigid_motions
    load = np.zeros(STRIP.shell.size)
    load[6 * np.array([7, 37, 67]) + 2] = 1.0, -2.0, 1.0
    load -= motions @ np.linalg.lstsq(motions, load, rcond=None)[0]  # balances
    heard = strip().at(t)
    slopes = strip().gradient(heard, (0, 1, 3), load)
    assert slopes.compliance_slope is not None
    exact = np.append(slopes.hz @ d, slopes.compliance_slope @ d)

    def answer(at: Floats) -> Floats:
        there = strip().at(at, heard)
        found = strip().gradient(there, (), load).compliance
        assert found is not None
        return np.append(cold(at)[[0, 1, 3]], found)

    numeric = (answer(t + step * d) - answer(t - step * d)) / (2 * step)
    assert exact[:3] == pytest.approx(numeric[:3], rel=1e-3)  # as good as the warm shapes
    assert exact[3] == pytest.approx(numeric[3], rel=1e-5)


def test_a_load_that_balances_does_not_care_which_node_is_held() -> None:
    """The compliance is that of the body held at another node (by the plain solver)."""
    t = thickness(STRIP)
    motions = np.zeros((STRIP.shell.size, 6))
    motions[strip().assembly.free] = strip().rigid_motions
    load = np.zeros(STRIP.shell.size)
    load[6 * np.array([7, 37, 67]) + 2] = 1.0, -2.0, 1.0
    load -= motions @ np.linalg.lstsq(motions, load, rcond=None)[0]
    other = factor_held(STRIP.stiffness(t), np.arange(6))
    mine = strip().gradient(strip().at(t), (), load).compliance
    assert mine == pytest.approx(load @ other.solve(load), rel=1e-6)


def test_a_live_plate_starts_from_the_fine_tones_and_the_preview_says_that_it_is_rough() -> None:
    t = small().fields["back"](plate().places)
    rest, rough = plate().at(t), plate().preview(t)
    assert rough.approximate
    assert not rest.approximate
    assert np.array_equal(rest.origin, np.arange(8))
    assert rough.hz == pytest.approx(rest.hz, rel=1e-5)
    thinner = t - 0.3
    new = plate().at(thinner, rest)
    assert np.all(new.hz < rest.hz)  # tones fall with the thickness of an arched plate
    assert plate().preview(thinner, rough).hz == pytest.approx(new.hz, rel=0.015)
    assert new.mass_g < rest.mass_g


def test_presses_on_a_live_plate_balance() -> None:
    load = plate().press(120.0, 10.0).reshape(-1, 6)
    nodes = plate().rest.free.plate.nodes
    assert load[:, :3].sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    moment = (np.cross(nodes, load[:, :3]) + load[:, 3:]).sum(axis=0)
    assert moment == pytest.approx(np.zeros(3), abs=1e-6)


def scraped(depth_mm: float, reach_mm: float) -> Floats:
    """The small box with a hollow in its top."""
    s = small()
    xy = s.box.plates["top"].mesh.xy
    away = np.sum((xy - np.array([100.0, 12.0])) ** 2, axis=1)
    out = s.t_nodes.copy()
    out[: len(xy)] -= depth_mm * np.maximum(0.0, 1.0 - away / reach_mm**2)
    return out


@pytest.mark.parametrize(("depth_mm", "reach_mm"), [(0.1, 20.0), (0.8, 200.0)])
def test_a_scraped_box_answers_like_the_whole_solution(depth_mm: float, reach_mm: float) -> None:
    live, first = box()
    t = scraped(depth_mm, reach_mm)
    mine, whole = live.at(t, first), solve(small().reading, t, slopes=False)
    assert mine.values == pytest.approx(dict(whole.values), rel=1e-6)
    assert mine.faces == whole.faces
    assert not mine.approximate


def test_the_first_answer_of_a_box_is_the_whole_solution() -> None:
    mine, whole = box()[1], small().solved
    assert mine.values == pytest.approx(dict(whole.values), rel=1e-6)


def test_the_preview_of_a_box_is_first_order_and_says_so() -> None:
    live, first = box()
    tangent = live.tangent(first)
    wrong = []
    for depth in (0.2, 0.1):
        t = scraped(depth, 60.0)
        rough, exact = tangent.preview(t), live.at(t, first)
        assert rough.approximate
        wrong.append(max(abs(rough.values[k] / exact.values[k] - 1.0) for k in exact.values))
    assert wrong[1] < 0.35 * wrong[0]  # second order is left over: a quarter
    assert wrong[1] < 0.02


def test_buckling_of_a_scraped_box_is_that_of_the_whole_solution() -> None:
    live, first = box()
    s, t = small(), scraped(0.5, 60.0)
    now = live.at(t, first)
    start = live.buckling(first)[1]
    whole = solve(s.reading, t, slopes=False)
    facet = s.box.structure.facet_thickness(t)
    strung = whole.u[:, s.reading.cases.column("strung")]
    factor = buckling_factor(s.box.shell, facet, strung, whole.held)
    assert live.buckling(now, start)[0] == pytest.approx(factor, rel=1e-4)
