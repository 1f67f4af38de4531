"""Load cases of the closed box as nodal forces, each in equilibrium with itself."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.build import Box, disc_points, rect_points
from graduale.box.spots import Spot, press_spots
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.patch import Patch, node_patch
from graduale.strings.feet import Wrench
from graduale.strings.setup import StringForces, setup_of

_PLATES: tuple[PlateName, PlateName] = ("top", "back")
PRESS_N = 50.0
PRESS_RADIUS_MM = 7.5
_Z = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Cases:
    """names (c,), forces (size, c); the string forces; the press spots of both plates."""

    names: tuple[str, ...]
    forces: Floats
    strings: StringForces
    spots: Mapping[PlateName, tuple[Spot, ...]]
    feet: Mapping[str, Patch]

    def column(self, name: str) -> int:
        """Where a case stands."""
        return self.names.index(name)


def cases_of(box: Box, *, presses: bool = True) -> Cases:
    """All cases: strung, press part, foot press, post press, bend, and a press at every spot."""
    strings = string_forces(box)
    feet = feet_patches(box)
    table: dict[str, Floats] = {
        "strung": strung(box, strings, feet),
        "press part": _balanced(box, "top", _feet_load(strings, feet)),
        "foot press": foot_press(box, feet),
        "bend": bend(box),
    }
    if box.instrument.post.present:
        table["post press"] = post_press(box)
    spots = {w: press_spots(box.instrument, box.plates[w].body) for w in _PLATES}
    if presses:
        for which in _PLATES:
            for spot in spots[which]:
                table[f"{which} {spot.key}"] = press(box, which, spot)
    return Cases(tuple(table), np.column_stack(list(table.values())), strings, spots, feet)


def with_strings(box: Box, cases: Cases, strings: StringForces) -> Cases:
    """The same cases with other strings."""
    forces = cases.forces.copy()
    _string_columns(box, cases, strings, forces)
    return replace(cases, forces=forces, strings=strings)


def _string_columns(box: Box, cases: Cases, strings: StringForces, forces: Floats) -> None:
    feet = cases.feet
    forces[:, cases.column("strung")] = strung(box, strings, feet)
    forces[:, cases.column("press part")] = _balanced(box, "top", _feet_load(strings, feet))


def pushes(box: Box, cases: Cases) -> Floats:
    """The presses of all cases without their reaction at the rib line (size, c); zero where a case
    has none."""
    out = np.zeros_like(cases.forces)
    feet = cases.feet
    load = feet["bass"].load(-0.5 * _Z) + feet["treble"].load(-0.5 * _Z)
    out[:, cases.column("foot press")] = load
    if "post press" in cases.names:
        out[:, cases.column("post press")] = _post_push(box)
    for which in _PLATES:
        for spot in cases.spots[which]:
            name = f"{which} {spot.key}"
            if name in cases.names:
                out[:, cases.column(name)] = press_alone(box, which, spot)
    return out


def moved_cases(box: Box, cases: Cases, pushed: Floats, strings: StringForces) -> Cases:
    """The cases on a nudged box: presses stay on their nodes, their reactions are in balance there.

    pushed (size, c): `pushes` of the cases. Right where no pressed node hangs on a block.
    """
    forces = cases.forces.copy()
    feet = feet_patches(box)
    moved = replace(cases, strings=strings, feet=feet)
    each = pushed.reshape(-1, 6, pushed.shape[1])
    force = each[:, :3].sum(axis=0)
    arms = box.shell.nodes[:, :, None]
    moment = (np.cross(arms, each[:, :3], axis=1) + each[:, 3:]).sum(axis=0)
    back = {name: name.startswith("back ") or name == "post press" for name in cases.names}
    for which in _PLATES:
        some = [
            i
            for i, name in enumerate(cases.names)
            if back[name] == (which == "back") and pushed[:, i].any()
        ]
        rim = box.rim(which)
        turn = moment[:, some] - np.cross(rim.place, force[:, some], axisb=0, axisc=0)
        reaction = np.concatenate([-force[:, some], -turn])
        forces[:, some] = pushed[:, some] + rim.rows.T @ reaction
    _string_columns(box, moved, strings, forces)
    return replace(moved, forces=forces)


def string_forces(
    box: Box, instrument: Instrument | None = None, rise_mm: float = 0.0
) -> StringForces:
    """Vectors of the set-up on this body, or of another `instrument` on it; rise_mm: what its top
    stands above the arching."""
    inst, arching = instrument or box.instrument, box.plates["top"].body.arching
    x = inst.bridge.x_mm
    ys = (0.0, inst.bridge.bass_foot_y_mm, inst.bridge.treble_foot_y_mm)
    heights = arching.height(np.array([[x, y] for y in ys])) + rise_mm
    crown, bass, treble = (float(h) for h in heights)
    return setup_of(inst.strings, inst.bridge, inst.neck, inst.body, crown, (bass, treble))


def feet_patches(box: Box) -> dict[str, Patch]:
    """Both feet of the bridge on the top."""
    b = box.instrument.bridge
    places = {"bass": b.bass_foot_y_mm, "treble": b.treble_foot_y_mm}
    return {
        side: box.spot("top", rect_points(b.x_mm, y, b.foot_width_mm, b.foot_length_mm))
        for side, y in places.items()
    }


def strung(box: Box, strings: StringForces, feet: Mapping[str, Patch]) -> Floats:
    """Strings at pitch: feet on the top, nut on the upper block through the neck, saddle on the
    lower."""
    total = _feet_load(strings, feet)
    total += _on_block(box, "upper block", strings.nut)
    total += _on_block(box, "lower block", strings.saddle)
    return total


def _feet_load(strings: StringForces, feet: Mapping[str, Patch]) -> Floats:
    parts = [feet[s].load_at(w.force, w.point, w.moment) for s, w in strings.feet.items()]
    total: Floats = parts[0] + parts[1]
    return total


def _on_block(box: Box, block: str, action: Wrench) -> Floats:
    node = box.blocks[block]
    there = action.at(box.shell.nodes[node])
    out = np.zeros(box.shell.size)
    out[6 * node : 6 * node + 3] = there.force
    out[6 * node + 3 : 6 * node + 6] = there.moment
    return out


def resultant(box: Box, load: Floats) -> tuple[Floats, Floats]:
    """Sum of forces and of moments about the origin of nodal forces (size,)."""
    each = load.reshape(-1, 6)
    force = each[:, :3].sum(axis=0)
    moment = (np.cross(box.shell.nodes, each[:, :3]) + each[:, 3:]).sum(axis=0)
    return force, moment


def _balanced(box: Box, which: PlateName, load: Floats) -> Floats:
    """The load with its reaction spread along the rib line of one plate."""
    rim = box.rim(which)
    force, moment = resultant(box, load)
    out: Floats = load + rim.load_at(-force, np.zeros(3), -moment)
    return out


def foot_press(box: Box, feet: Mapping[str, Patch]) -> Floats:
    """1 N down, half on each foot, against the top's rib line."""
    load = feet["bass"].load(-0.5 * _Z) + feet["treble"].load(-0.5 * _Z)
    return _balanced(box, "top", load)


def post_press(box: Box) -> Floats:
    """1 N outward on the back at the post, against the back's rib line."""
    return _balanced(box, "back", _post_push(box))


def _post_push(box: Box) -> Floats:
    post = box.instrument.post
    patch = box.spot("back", disc_points(post.x_mm, post.y_mm, 0.5 * post.diameter_mm))
    return patch.load(-_Z)


def press(box: Box, which: PlateName, spot: Spot) -> Floats:
    """50 N on a disc of 15 mm, inward and square to the outside, against that plate's rib line."""
    return _balanced(box, which, press_alone(box, which, spot))


def press_alone(box: Box, which: PlateName, spot: Spot) -> Floats:
    """The same without its reaction, (size,): loads only the facets under the disc."""
    plate = box.plates[which]
    patch = box.spot(which, disc_points(spot.x_mm, spot.y_mm, PRESS_RADIUS_MM))
    normal = plate.body.arching.normal(np.array([[spot.x_mm, spot.y_mm]]))[0]
    inward = -PRESS_N * normal * np.array([1.0, 1.0, plate.body.outward])
    return patch.load(inward)


def bend(box: Box) -> Floats:
    """A couple of 1 N m on the end blocks that bends the body lengthwise (neck up, tail up)."""
    out = np.zeros(box.shell.size)
    out[6 * box.blocks["upper block"] + 4] = -1000.0
    out[6 * box.blocks["lower block"] + 4] = 1000.0
    return out


def rib_at_bridge(box: Box) -> Patch:
    """The rib line beside the bridge, both sides, on the top's plane."""
    x = box.instrument.bridge.x_mm
    rib = box.meshed["top"].rib
    near = np.abs(box.ribs_line[:, 0] - x) < max(10.0, 0.04 * box.instrument.body.length_mm)
    weights = np.ones(int(near.sum()))
    return node_patch(box.shell, rib[near], weights)
