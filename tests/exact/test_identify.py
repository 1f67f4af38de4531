"""The wood's slopes, its prior, and the assignment of taps to modes."""

from functools import cache

import numpy as np
import pytest

from graduale.box.plate import plate_bodies
from graduale.box.tones import free_plate
from graduale.readings.assign import SPURIOUS, allowed_pairs, assign, cost_of
from graduale.readings.evidence import Evidence, Tap
from graduale.readings.identify import identify
from graduale.readings.remarks import helps_most, remarks
from graduale.readings.tapped import NUMBERS, Tapped, tapped_board, tapped_plate
from graduale.records.instrument import BoardMeasure, WoodChoice
from graduale.thickness.field import layout_of
from graduale.wood.material import wood_of
from graduale.wood.prior import NAMES, logs_of, prior_of, wood_at
from tests.exact.box_bodies import narrow

SPRUCE = WoodChoice("european_spruce")
SIZE = (400.0, 150.0, 4.0)


@cache
def carved() -> Tapped:
    """The narrow example's top with soundholes and bar, coarse."""
    body = plate_bodies(narrow())["top"]
    rule = layout_of(narrow(), body).at(np.array([3.1, 2.7, 2.6, 2.4]))
    return tapped_plate(free_plate(narrow(), body, rule, 14.0), rule)


@cache
def board() -> Tapped:
    """A flat board of spruce, coarse."""
    return tapped_board(SIZE, wood_of(SPRUCE, "test"), SPRUCE, 14.0)


def start(plate: Tapped) -> "np.typing.NDArray[np.float64]":
    """Logarithms of the wood before the taps, thickness as it is."""
    return np.append(logs_of(plate.wood), 0.0)


@pytest.mark.parametrize("plate", [carved, board])
def test_slopes_of_hertz_and_mass_by_a_numerical_step(plate) -> None:
    """d log hz and d log mass to every number, against full solves at both sides."""
    tapped = plate()
    at, step = start(tapped), 1e-4
    exact = tapped.heard(at, 6)
    for column in range(len(NUMBERS)):
        shift = step * (np.arange(len(NUMBERS)) == column)
        high, low = (tapped.heard(at + s, 6, slopes=False) for s in (shift, -shift))
        by_step = np.log(high.hz / low.hz) / (2 * step)
        assert exact.slopes[:, column] == pytest.approx(by_step, abs=2e-5), NUMBERS[column]
        mass = np.log(high.mass_g / low.mass_g) / (2 * step)
        assert exact.mass_slopes[column] == pytest.approx(mass, abs=1e-6)


def test_exponents_of_moduli_sum_to_one_half() -> None:
    """Of a plate of one wood: hz goes with the root of all moduli together, and with density to
    minus one half; a flat plate's with its thickness, but for shear (dimensional analysis)."""
    heard = board().heard(start(board()), 8)
    moduli = [NUMBERS.index(n) for n in ("EL", "ER", "ET", "GLR", "GLT", "GRT")]
    assert heard.slopes[:, moduli].sum(axis=1) == pytest.approx(np.full(8, 0.5), abs=1e-6)
    assert heard.slopes[:, 0] == pytest.approx(np.full(8, -0.5), abs=1e-9)
    assert np.all((heard.slopes[:, -1] > 0.94) & (heard.slopes[:, -1] < 1.0))


def test_board_modes_are_named_by_their_node_lines() -> None:
    """Spruce 400 x 150: twist, first bendings along and across, as any book on free plates has."""
    names = board().names(board().heard(start(board()), 6))
    assert names[:3] == ("twist", "2,0", "2,1")
    assert "0,2" in names


def test_the_prior_keeps_the_spreads_and_ties_followers_to_leaders() -> None:
    wood = wood_of(SPRUCE, "test")
    prior = prior_of(wood)
    for k, name in enumerate(NAMES[:-1]):
        assert prior.spread[k] == pytest.approx(wood.spread[name], rel=1e-9)
    tie = prior.covariance / np.outer(prior.spread, prior.spread)
    assert tie[NAMES.index("ER"), NAMES.index("GRT")] > 0.6
    assert tie[NAMES.index("GLR"), NAMES.index("GLT")] > 0.6
    assert 0.1 < tie[0, NAMES.index("EL")] < 0.6
    assert np.linalg.eigvalsh(prior.covariance)[0] > 0.0


def test_a_weighed_board_has_a_narrower_prior() -> None:
    measure = BoardMeasure(
        mass_g=299.0, length_mm=345.0, width_mm=118.0, thickness_mm=17.0, end_tap_hz=7830.0
    )
    known = prior_of(wood_of(WoodChoice("european_spruce", board=measure), "test"))
    table = prior_of(wood_of(SPRUCE, "test"))
    assert known.spread[0] < 0.2 * table.spread[0]
    assert known.spread[NAMES.index("EL")] < 0.2 * table.spread[NAMES.index("EL")]
    assert np.linalg.eigvalsh(known.covariance)[0] > 0.0


def test_the_assignment_is_the_cheapest_of_all() -> None:
    """Against brute force over every one-to-one assignment of three taps to four modes or none."""
    rng = np.random.default_rng(5)
    allowed = np.ones((3, 4), dtype=bool)
    for _ in range(40):
        taps, modes = np.sort(rng.uniform(4.0, 4.3, 3)), np.sort(rng.uniform(4.0, 4.3, 4))
        ours = assign(taps, modes, np.full((3, 4), 0.02), allowed)
        ways = [
            np.array([a, b, c])
            for a in range(-1, 4)
            for b in range(-1, 4)
            for c in range(-1, 4)
            if len({m for m in (a, b, c) if m >= 0}) == sum(m >= 0 for m in (a, b, c))
        ]
        costs = [cost_of(taps, modes, np.full(3, 0.02), way) for way in ways]
        assert cost_of(taps, modes, np.full(3, 0.02), ours) == pytest.approx(min(costs))


def test_a_tap_far_from_every_mode_is_left_out() -> None:
    taps, modes = np.log([100.0, 150.0, 200.0]), np.log([100.5, 201.0])
    ours = assign(taps, modes, np.full((3, 2), 0.01), np.ones((3, 2), dtype=bool))
    assert ours.tolist() == [0, -1, 1]
    assert cost_of(taps, modes, np.full(3, 0.01), ours) < 2.0 + SPURIOUS


def test_a_named_tap_takes_the_mode_of_that_name() -> None:
    allowed = allowed_pairs(["X", None, "humming"], ["twist", "X", "2,3"])
    assert allowed.tolist() == [[False, True, False], [True] * 3, [True] * 3]


@pytest.mark.parametrize("seed", range(2))
def test_random_boards_come_back(seed: int) -> None:
    """Wood drawn from the prior, eight tones with 0.3 % scatter, one of them spurious, one mode
    silent: each asked-for modulus within three of its own deviations, and the spurious left out."""
    rng = np.random.default_rng(seed)
    plate = board()
    prior = prior_of(plate.wood)
    true = rng.multivariate_normal(prior.mean, prior.covariance)
    hertz = plate.heard(np.append(true, 0.0), 8, slopes=False).hz * rng.normal(1.0, 0.003, 8)
    kept = np.delete(hertz, rng.integers(1, 7))
    odd = float(np.sqrt(kept[3] * kept[4])) if kept[4] > 1.12 * kept[3] else 0.83 * kept[0]
    order = np.argsort([*kept, odd])
    taps = tuple(Tap(float(hz)) for hz in np.array([*kept, odd])[order])
    found = identify(plate, Evidence(taps, None, 0.002))
    for name in ("EL", "ER", "GLR"):
        k = NAMES.index(name)
        # without a weight only moduli over density speak
        off = (found.mean[k] - found.mean[0]) - (true[k] - true[0])
        assert abs(off) < 3.0 * found.spread[name], name
    assert found.mode_of[order.tolist().index(7)] == -1


def test_remarks_and_what_would_help() -> None:
    """A tone that no mode explains, one unheard between, a wood unlike its kind, a foreign name."""
    plate = board()
    heard = plate.heard(start(plate), 6, slopes=False).hz
    odd = float(np.sqrt(heard[2] * heard[3]))
    taps = (Tap(heard[0]), Tap(heard[2], "wolf"), Tap(odd), Tap(heard[4]))
    evidence = Evidence(taps, 2.0 * plate.structure.mass_g(plate.t_nodes), 0.002)
    found = identify(plate, evidence)
    keys = {f.key for f in remarks(found, evidence, "board")}
    assert {"unknown-mode", "unlike-its-kind"} <= keys
    assert keys & {"tone-unexplained", "mode-not-heard"}
    gains = [h.gain for h in helps_most(found, evidence)]
    assert gains == sorted(gains, reverse=True)
    assert all(g >= -1e-12 for g in gains)
    unweighed = Evidence((Tap(heard[0]), Tap(heard[3])), None, 0.002)
    ways = helps_most(identify(plate, unweighed), unweighed)
    assert {h.kind for h in ways} == {"tone", "weight", "thickness"}


def test_the_wood_found_says_how_it_is_known() -> None:
    plate = board()
    heard = plate.heard(start(plate), 4, slopes=False).hz
    found = identify(plate, Evidence(tuple(Tap(f) for f in heard), 106.0, 0.002))
    assert found.wood.known["EL"].how == "measured"
    assert found.wood.spread["EL"] == pytest.approx(found.spread["EL"])
    assert wood_at(plate.wood, found.mean[:-1]).el == pytest.approx(found.wood.el)
    assert found.modes[0].overlap > 0.99
