"""What the strings do to the body: sag, rotation, projection, post; each part told apart."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.cases import rib_at_bridge
from graduale.box.readouts import Reading, Solved, post_force, sag_row
from graduale.box.verdicts import K_DEF
from graduale.strings.setup import StringForces

CREEP_SHOWN = (0.6, 2.0)


@dataclass(frozen=True)
class Sag:
    """How far one foot sinks against the rib line beside the bridge, mm."""

    at_once_mm: float
    of_press_mm: float  # the part that the feet press in
    of_strings_mm: float  # the part of neck and saddle
    after_years_mm: float
    after_years_range_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class SetupReport:
    """What the strings do.

    sag by side; rotation_deg between the end blocks; projection drop and its two terms, mm; post_n:
    compression of the post (negative: it would fall); bar_end_n_per_mm: axial force of the bar over
    its width at the lower and upper end, None without a bar; the string forces.
    """

    sag: dict[str, Sag]
    rotation_deg: float
    rotation_per_n_m_deg: float
    projection_drop_mm: float
    drop_of_rotation_mm: float
    drop_of_rib_mm: float
    post_n: float
    bar_end_n_per_mm: tuple[float, float] | None
    strings: StringForces


def setup_report(reading: Reading, solved: Solved) -> SetupReport:
    """Read off the solved box."""
    cases, box = reading.cases, reading.box
    strung, press = (solved.u[:, cases.column(c)] for c in ("strung", "press part"))
    sag = {side: _sag(sag_row(box, cases, side), strung, press) for side in ("bass", "treble")}
    upper = 6 * box.blocks["upper block"]
    place = box.shell.nodes[box.blocks["upper block"]]
    rib = rib_at_bridge(box)
    turn = float(strung[upper + 4])
    # the neck is a rigid lever on the upper block: its line at the bridge moves with the block
    of_turn = turn * (box.instrument.bridge.x_mm - float(place[0]))
    of_rib = float((rib.rows[2] @ strung)[0]) - float(strung[upper + 2])
    bend = float(solved.u[upper + 4, cases.column("bend")])
    return SetupReport(
        sag,
        float(np.degrees(abs(turn))),
        float(np.degrees(abs(bend))),
        of_turn + of_rib,
        of_turn,
        of_rib,
        post_force(reading, strung),
        _bar_ends(reading, solved, strung),
        cases.strings,
    )


def _bar_ends(reading: Reading, solved: Solved, strung: Floats) -> tuple[float, float] | None:
    """Axial force of the bar's last pieces over its width, lower and upper end, N/mm; shown only.

    The stress itself rises without end as the mesh is refined at a blunt bar end; force over
    width does not.
    """
    if not reading.box.structure.beams:
        return None
    bar = reading.box.structure.beams[0]
    force = bar.end_force(solved.t_nodes[bar.pairs].mean(axis=1), strung[:, None])[:, 0] / bar.width
    return float(force[0]), float(force[-1])


def _sag(row: Floats, strung: Floats, press: Floats) -> Sag:
    whole, pressed = float(row @ strung), float(row @ press)
    low, high = (whole * (1.0 + k) for k in CREEP_SHOWN)
    return Sag(whole, pressed, whole - pressed, whole * (1.0 + K_DEF), (low, high))
