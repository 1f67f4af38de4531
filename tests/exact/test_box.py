"""The closed box: equilibrium, pins that do not matter, reciprocity, slopes, sides."""

from dataclasses import replace

import numpy as np
import pytest

from graduale.box.build import build_box
from graduale.box.cases import bend, cases_of, resultant
from graduale.box.plate import plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.box.tones import free_plate, tones
from graduale.shell.solver import factor_held
from graduale.thickness.field import layout_of
from tests.exact.box_bodies import COARSE_MM, PLATES, narrow, small


def test_every_case_is_in_equilibrium_in_force_and_moment() -> None:
    s = small()
    cases = s.reading.cases
    for i, name in enumerate(cases.names):
        load = cases.forces[:, i]
        force, moment = resultant(s.box, load)
        scale = max(np.abs(load).max(), 1.0)
        assert np.abs(force).max() < 1e-8 * scale, name
        assert np.abs(moment).max() < 1e-5 * scale, name


def test_moving_the_six_pins_changes_nothing() -> None:
    """Read-outs are those of a free body: held at the upper block instead of the lower, sag,
    rotation and foot compliance stay (the reactions are zero)."""
    s = small()
    reading, k = s.reading, s.box.structure.stiffness(s.t_nodes)
    column = reading.cases.column("strung")
    other = factor_held(k, 6 * s.box.blocks["upper block"] + np.arange(6))
    first, second = s.solved.u[:, column], other.solve(reading.cases.forces)[:, column]
    turn = [6 * s.box.blocks[b] + 4 for b in ("upper block", "lower block")]
    assert reading.sag_row @ second == pytest.approx(reading.sag_row @ first, rel=1e-6)
    assert second[turn[0]] - second[turn[1]] == pytest.approx(
        first[turn[0]] - first[turn[1]], rel=1e-6
    )


def test_maxwell_reciprocity_between_foot_press_and_bend() -> None:
    s = small()
    cases, u = s.reading.cases, s.solved.u
    a, b = cases.column("foot press"), cases.column("bend")
    assert cases.forces[:, a] @ u[:, b] == pytest.approx(cases.forces[:, b] @ u[:, a], rel=1e-7)


@pytest.mark.parametrize(
    "key",
    [
        "across top",
        "across back",
        "sag share",
        "lengthwise",
        "lengthwise per N m",
        "top: post",
        "top: treble foot",
        "back: post shear",
        "top: bass foot shear",
        "back: press 6.1",
        "top: press 3.2",
    ],
)
def test_slopes_of_read_outs_are_those_of_central_differences(key: str) -> None:
    s = small()
    assert s.solved.slopes is not None
    carved = np.zeros(len(s.t_nodes))
    carved[: len(s.t_nodes)] = np.random.default_rng(3).normal(size=len(s.t_nodes))
    carved *= s.box.structure.mass_slope_g() > 0
    step = 1e-4
    values = [
        solve(s.reading, s.t_nodes + sign * step * carved, slopes=False).values[key]
        for sign in (1.0, -1.0)
    ]
    numeric = (values[0] - values[1]) / (2.0 * step)
    assert s.solved.slopes[key] @ carved == pytest.approx(numeric, rel=2e-3, abs=1e-9)


def test_strings_bend_the_neck_up_and_press_the_top_down() -> None:
    s = small()
    strung = s.solved.u[:, s.reading.cases.column("strung")]
    bent = s.solved.u[:, s.reading.cases.column("bend")]
    turn = 6 * s.box.blocks["upper block"] + 4
    assert strung[turn] * bent[turn] > 0.0
    assert s.reading.sag_row @ strung > 0.0


def test_the_post_patch_lies_at_the_same_place_in_both_plates() -> None:
    s = small()
    post = s.instrument.post
    from graduale.box.build import disc_points

    points = disc_points(post.x_mm, post.y_mm, 0.5 * post.diameter_mm)
    places = [s.box.spot(w, points).place for w in PLATES]
    nodes = [s.box.plates[w] for w in PLATES]
    # in plan the patch is given on the outside; the middle surface leans in by t/2 times the slope
    for place, plate in zip(places, nodes, strict=True):
        lean = np.abs(plate.nodes[:, :2] - plate.mesh.xy).max()
        assert place[:2] == pytest.approx([post.x_mm, post.y_mm], abs=lean + 0.05)
    assert places[0][2] > places[1][2]


def test_a_mirrored_instrument_gives_the_mirrored_answer() -> None:
    """Post and bar moved to the other side, feet unchanged by symmetry: the sides swap."""
    plain = narrow()
    flipped = replace(
        plain,
        post=replace(plain.post, y_mm=-plain.post.y_mm),
        bar=replace(plain.bar, lower_y_mm=-plain.bar.lower_y_mm, upper_y_mm=-plain.bar.upper_y_mm),
        strings=replace(plain.strings, strings=tuple(reversed(plain.strings.strings))),
        top=replace(plain.top, wood=replace(plain.top.wood, ring_angle_deg=0.0)),
    )
    straight = replace(
        plain, top=replace(plain.top, wood=replace(plain.top.wood, ring_angle_deg=0.0))
    )
    values = []
    for instrument in (straight, flipped):
        bodies = plate_bodies(instrument)
        fields = {w: layout_of(instrument, bodies[w]).at(np.full(4, 2.8)) for w in PLATES}
        box = build_box(instrument, bodies, fields, COARSE_MM)
        reading = reading_of(box, cases_of(box, presses=False))
        values.append(solve(reading, box.thickness(fields), slopes=False).values)
    for here, there in (("bass", "treble"), ("treble", "bass")):
        key, other = f"top: {here} foot", f"top: {there} foot"
        # the meshes are no mirror images: what is left is their difference
        assert values[1][other] == pytest.approx(values[0][key], rel=0.06)
    assert values[1]["lengthwise"] == pytest.approx(values[0]["lengthwise"], rel=0.01)
    assert values[1]["across top"] == pytest.approx(values[0]["across top"], rel=0.02)


def test_a_stiffer_back_is_stiffer_at_the_post() -> None:
    s = small()
    start, end = s.box.first_node("back"), len(s.box.shell.nodes)
    thicker = s.t_nodes.copy()
    thicker[start:end] *= 1.1
    values = solve(s.reading, thicker, slopes=False).values
    assert values["across back"] < s.solved.values["across back"]
    assert values["back: press 6.1"] < s.solved.values["back: press 6.1"]


def test_bend_is_a_couple_of_one_newton_metre() -> None:
    load = bend(small().box)
    assert np.abs(load).sum() == pytest.approx(2000.0)


def test_tap_tones_do_not_depend_on_the_mesh_much() -> None:
    """First six tones at 8 and 5 mm within 2 %, each against its own place in the row."""
    s = small()
    body, field = s.bodies["back"], s.fields["back"]
    rows = []
    for size in (8.0, 5.0):
        free = free_plate(s.instrument, body, field, size)
        rows.append([t.hz for t in tones(free, field, 6)])
    assert rows[0] == pytest.approx(rows[1], rel=0.02)


def test_tones_scale_with_all_lengths() -> None:
    """All lengths by s: f / s, mass s^3 (exact similarity; stretched nodes, thickness and moduli
    kept)."""
    s = small()
    free = free_plate(s.instrument, s.bodies["back"], s.fields["back"], 8.0)
    t = free.thickness(s.fields["back"])
    shell = free.structure.shell
    bigger = replace(
        free.structure,
        shell=replace(shell, nodes=shell.nodes * 1.7, t_ref=shell.t_ref * 1.7),
    )
    from graduale.shell.modes import free_modes

    small_hz = free_modes(free.structure.stiffness(t), free.structure.mass(t), 4).hz
    big_hz = free_modes(bigger.stiffness(1.7 * t), bigger.mass(1.7 * t), 4).hz
    assert big_hz * 1.7 == pytest.approx(small_hz, rel=1e-6)
    assert bigger.mass_g(1.7 * t) == pytest.approx(1.7**3 * free.structure.mass_g(t), rel=1e-9)


def test_mass_is_the_volume_between_both_faces() -> None:
    """Brute force: the inside face is found column by column where the shortest way out is as
    wanted; the mass of the shell (facets at mid-depth times thickness) lies within 1 %."""
    from graduale.geometry.surface import shortest_distance

    s = small()
    body, field = s.bodies["back"], s.fields["back"]
    free = free_plate(s.instrument, body, field, 5.0)
    x, y = np.meshgrid(np.arange(0.75, 320.0, 1.5), np.arange(-56.0, 56.0, 1.5), indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel()])
    points = points[body.outline.contains(points)]
    wanted, height = field(points), body.arching.height(points)
    upright = wanted / body.arching.normal(points)[:, 2]
    for _ in range(6):
        under = np.column_stack([points, np.maximum(height - upright, 0.0)])
        left, _foot = shortest_distance(body.arching, under)
        upright = np.minimum(upright * (wanted / np.maximum(left, 1e-6)) ** 0.8, height)
    grams = upright.sum() * 1.5**2 * body.wood.density_kg_m3 * 1e-6
    assert free.mass_g(field) == pytest.approx(grams, rel=0.01)
