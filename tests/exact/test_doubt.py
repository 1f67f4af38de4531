"""Doubt: spreads of a board, first-order effects against full solves, limits at a confidence."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from graduale.box import nudge
from graduale.box.build import Box
from graduale.box.cases import (
    Cases,
    moved_cases,
    pushes,
    resultant,
    string_forces,
    with_strings,
)
from graduale.box.firstorder import FirstOrder, first_order
from graduale.box.readouts import reading_of, solve
from graduale.box.verdicts import Band, limits
from graduale.records.instrument import BoardMeasure, PlateName, Provenance, WoodChoice
from graduale.shell.stress import refined
from graduale.thickness.doubt import Doubt, Theirs
from graduale.thickness.sources import Source, stepped
from graduale.thickness.worth import Near
from graduale.wood.scatter import NAMES, Look, narrowed, prior, scatter_of
from graduale.wood.species import species
from tests.exact.box_bodies import small

_AT = {name: i for i, name in enumerate(NAMES)}


@cache
def order() -> FirstOrder:
    """The small box with its adjoints."""
    return first_order(small().reading, small().t_nodes)


def _full(box: Box, cases: Cases) -> "np.typing.NDArray[np.float64]":
    """Every read-out by a full solve of the nudged box, on the discs of the old one."""
    made = reading_of(box, cases)
    old = order().reading
    probes = tuple(
        replace(
            p,
            disc=refined(box.shell, replace(p.disc, turn=q.disc.turn)),
            strength=q.strength,
        )
        for p, q in zip(old.probes, made.probes, strict=True)
    )
    values = solve(replace(made, probes=probes), small().t_nodes, slopes=False).values
    return np.array([values[n] for n in order().names])


def _judge(box: Box, cases: Cases, *, moved: bool, step: float, near: float) -> None:
    """First order against the logarithm of full solves; the remainder is of second order."""
    got = order().change(box, cases=cases if moved else None)
    wanted = np.log(_full(box, cases) / order().values)
    assert np.abs(wanted).max() > 0.01 * step  # it does something
    assert got == pytest.approx(wanted, abs=near * step)


@pytest.mark.parametrize(("which", "name"), [("top", "GRT"), ("top", "EL"), ("back", "ER")])
def test_wood_moves_every_readout_as_a_full_solve_does(which: PlateName, name: str) -> None:
    """Numerical step of the whole computation (an independent path)."""
    step = 2e-4
    plate = small().box.plates[which]
    other = nudge.with_wood(plate, stepped(plate.body.wood, name, step))
    box = nudge.with_plate(small().box, which, other)
    _judge(box, small().reading.cases, moved=False, step=step, near=2e-3)


@pytest.mark.parametrize(
    "move",
    [
        nudge.Move(along=1e-4),
        nudge.Move(across=(0.0, 1e-4, 0.0)),
        nudge.Move(crown_mm={"top": 2e-3}),
        nudge.Move(ribs_mm=2e-3),
    ],
)
def test_shape_moves_every_readout_as_a_full_solve_does(move: nudge.Move) -> None:
    """Numerical step; the loads of the moved box are in balance with themselves."""
    box, cases = small().box, small().reading.cases
    moved = nudge.moved_box(box, move)
    strings = string_forces(box, rise_mm=move.crown_mm.get("top", 0.0))
    again = moved_cases(moved, cases, pushes(box, cases), strings)
    for k, name in enumerate(again.names):
        if name != "bend":
            force, moment = resultant(moved, again.forces[:, k])
            assert np.abs(force).max() < 1e-6, name
            assert np.abs(moment).max() < 1e-3, name
    _judge(moved, again, moved=True, step=1e-4, near=0.05)


def test_bar_and_bridge_move_every_readout_as_a_full_solve_does() -> None:
    """Numerical step for a part and for the set-up alone."""
    box, cases = small().box, small().reading.cases
    stiffer = nudge.with_bar(box, box.instrument, 1.0002)
    _judge(stiffer, cases, moved=False, step=2e-4, near=2e-3)
    taller = replace(
        box.instrument,
        bridge=replace(box.instrument.bridge, height_mm=box.instrument.bridge.height_mm + 0.01),
    )
    again = with_strings(box, cases, string_forces(box, taller))
    got = order().change(cases=again)
    assert got == pytest.approx(np.log(_full(box, again) / order().values), abs=1e-5)


def test_draws_of_the_boards_stay_by_the_linear_spread() -> None:
    """Six seeded draws of both boards, full solves: what the line misses stays below a third of
    the spread for the median read-out (the large sample stands in benchmarks/doubt)."""
    from graduale.thickness.sources import wood_effects

    effects = {w: wood_effects(order(), w) for w in nudge.PLATES}
    dice = np.random.default_rng(7)
    inst = small().instrument
    misses, spread2 = [], np.zeros(len(order().names))
    roots = {}
    for w in nudge.PLATES:
        cov = scatter_of(inst.plate(w).wood, inst.known, f"{w}.wood")
        roots[w] = np.linalg.cholesky(cov + 1e-12 * np.eye(len(cov)))
        spread2 += np.einsum("pk,pq,qk->k", effects[w], cov, effects[w])
    for _ in range(6):
        box, line = small().box, np.zeros(len(order().names))
        for w in nudge.PLATES:
            x = roots[w] @ dice.standard_normal(len(NAMES))
            wood = box.plates[w].body.wood
            for name in ("EL", "ER", "ET", "GLR", "GLT", "GRT", "poisson"):
                wood = stepped(wood, name, float(x[_AT[name]]))
            strengths = {n: getattr(wood.strength, n) for n in NAMES[8:]}
            strong = {n: v * math.exp(x[_AT[n]]) for n, v in strengths.items()}
            wood = replace(wood, strength=replace(wood.strength, **strong))
            box = nudge.with_plate(box, w, nudge.with_wood(box.plates[w], wood))
            line = line + x @ effects[w]
        misses.append(np.log(_full(box, small().reading.cases) / order().values) - line)
    gated = np.array([n.startswith(("across", "lengthwise")) or ": " in n for n in order().names])
    rms = np.sqrt(np.mean(np.square(misses), axis=0))[gated] / np.sqrt(spread2)[gated]
    assert np.median(rms) < 0.33


def test_a_board_nobody_measured_has_the_spread_of_the_table() -> None:
    """FPL-GTR-190 chapter 5, coefficients of variation (from memory): EL 22 %, density 10 %,
    tension across 25 %; density explains 0.84 x 10 % of EL (table 5-11, from memory)."""
    cov = prior(species("sitka_spruce"))
    sd = np.sqrt(np.diag(cov))
    assert sd[_AT["EL"]] == pytest.approx(0.22)
    assert sd[_AT["density"]] == pytest.approx(0.10)
    assert sd[_AT["tens_across"]] == pytest.approx(0.25)
    assert cov[_AT["EL"], _AT["density"]] == pytest.approx(0.84 * 0.10**2)
    assert np.linalg.eigvalsh(cov).min() > -1e-12


def test_a_look_narrows_as_the_textbook_says() -> None:
    """Two independent looks of spreads a, b at one number leave 1/sqrt(1/a2 + 1/b2); what is tied
    to it is narrowed by its correlation (normal distribution, textbook)."""
    cov = prior(species("sitka_spruce"))
    after = narrowed(cov, (Look({"density": 1.0}, 0.05),))
    assert after[0, 0] == pytest.approx(1.0 / (1.0 / 0.01 + 1.0 / 0.0025))
    e = _AT["EL"]
    tied = cov[e, 0] ** 2 / (cov[0, 0] + 0.05**2)
    assert after[e, e] == pytest.approx(cov[e, e] - tied)


def test_weighing_and_tapping_leave_what_their_errors_leave() -> None:
    """Mass 300 g +- 3, thickness 15 +- 0.15: density within 1.4 % and 1 % for plate against board;
    an end tap of 1 % then EL within hypot(1.4, 2, 3) %. Errors by the usual propagation."""
    board = BoardMeasure(300.0, 345.0, 118.0, 15.0, 7800.0)
    spreads = {"mass": 3.0, "length": 0.0, "width": 0.0, "thickness": 0.15, "end_tap": 78.0}
    known = {f"top.wood.board.{k}": Provenance("measured", "", v) for k, v in spreads.items()}
    choice = WoodChoice("sitka_spruce", board=board)
    cov = scatter_of(choice, known, "top.wood")
    density = math.hypot(0.01, 0.01, 0.01)
    assert math.sqrt(cov[0, 0]) == pytest.approx(density, rel=0.03)
    along = math.hypot(0.01, 0.01, 0.02, 0.03)
    assert math.sqrt(cov[_AT["EL"], _AT["EL"]]) == pytest.approx(along, rel=0.03)
    lone = math.sqrt(scatter_of(WoodChoice("sitka_spruce"), {}, "top.wood")[_AT["ER"], _AT["ER"]])
    assert math.sqrt(cov[_AT["ER"], _AT["ER"]]) < 0.7 * lone


def _doubt(own: float, theirs: float, confidence: float) -> Doubt:
    source = Source("one", "wood", ("one",), np.array([[1.0]]), np.array([[own**2]]))
    return Doubt(("across top",), (source,), Theirs({"across top": theirs}), confidence)


def test_confidence_takes_off_what_is_doubted_beyond_the_band() -> None:
    """exp(-z (0.3 - 0.2)), z = 1.2816 at nine in ten (normal table); nothing at one half; nothing
    for being surer than the band."""
    assert _doubt(0.3, 0.2, 0.9).sure()["across top"] == pytest.approx(math.exp(-0.12816), rel=1e-4)
    assert _doubt(0.3, 0.2, 0.5).sure()["across top"] == 1.0
    assert _doubt(0.1, 0.2, 0.9).sure()["across top"] == 1.0
    found = [_doubt(0.3, 0.2, c).sure()["across top"] for c in (0.5, 0.8, 0.9, 0.95)]
    assert found == sorted(found, reverse=True)


def test_the_factor_stands_in_every_limit() -> None:
    """limit = greatest / (1 + margin) x factor."""
    made = small().reading
    values = dict.fromkeys(made.keys, 1.0)
    members = {"average": values, "thin": dict.fromkeys(values, 1.5)}
    plain = limits(made, Band(members), 0.1)
    surer = limits(made, Band(members, {"across top": 0.8}), 0.1)
    assert plain["across top"] == pytest.approx(1.5 / 1.1)
    assert surer["across top"] == pytest.approx(0.8 * plain["across top"])
    assert surer["across back"] == plain["across back"]


def test_the_programme_of_the_map_finds_the_least_mass() -> None:
    """Two numbers of 10 and 5 g a mm; one verdict is met by either (1 and 0.2 a mm): a tenth of a
    logarithm too much costs 0.1 mm of the first, 1 g (by hand)."""
    near = Near(
        ("a",),
        np.array([[-1.0, -0.2]]),
        np.array([0.0]),
        np.array([10.0, 5.0]),
        np.array([-1.0, 0.0]),
        np.kron(np.eye(2), np.ones((4, 1))),
    )
    assert near.best(np.array([0.1]))[0] == pytest.approx([0.1, 0.0])
    assert near.let_go_g(np.array([-0.1])) == pytest.approx(1.0)
    assert near.let_go_g(np.array([0.1])) == pytest.approx(-1.0)


def test_nothing_moved_changes_nothing() -> None:
    """No step, no change."""
    got = order().change(nudge.moved_box(small().box, nudge.Move()))
    assert np.abs(got).max() < 1e-9
