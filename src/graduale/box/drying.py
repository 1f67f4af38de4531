"""Drying of the closed box: plates shrink across the grain, ribs and blocks do not.

Elastic, hence an upper bound: wood relaxes, about half of it goes with time [own]. Not gated: no
violin proves a limit; the stress stands beside the strength across the grain.
"""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.readouts import Reading, Solved
from graduale.records.instrument import PlateName
from graduale.shell.shrink import shrink_load, shrink_stress
from graduale.wood.rotate import strain_map

STEPS_PERCENT = (2.0, 4.0)
RELAXATION = 0.5  # share that stays [own]
DRIEST_PERCENT = 6.0  # a heated room in winter, common practice, no source
_PLATES: tuple[PlateName, PlateName] = ("top", "back")
_PLANE = [0, 1, 5]


@dataclass(frozen=True)
class Dried:
    """Greatest tension across the grain (MPa, mean over a disc) on a plate after drying by
    `percent`.

    with_strings: strings at pitch as well; strength_mpa: mean tension strength across the grain.
    """

    plate: PlateName
    percent: float
    across_mpa: float
    with_strings_mpa: float
    strength_mpa: float
    where: str
    x_mm: float
    y_mm: float


def drying(reading: Reading, solved: Solved) -> tuple[Dried, ...]:
    """Each plate at each step; places are those of the stress read-outs."""
    box = reading.box
    strain = _free_strain(reading)
    t_facet = box.structure.facet_thickness(solved.t_nodes)
    u = solved.held.solve(shrink_load(box.shell, t_facet, strain))
    strung = solved.u[:, reading.cases.column("strung")]
    out = []
    for which in _PLATES:
        strength = box.plates[which].body.wood.strength.tens_across
        discs = [p for p in reading.probes if p.plate == which]
        alone = np.array([shrink_stress(box.shell, t_facet, p.disc, u, strain) for p in discs])
        zero = np.zeros_like(strain)
        loaded = np.array([shrink_stress(box.shell, t_facet, p.disc, strung, zero) for p in discs])
        for percent in STEPS_PERCENT:
            both = _across(percent * alone + loaded)
            single = _across(percent * alone)
            at = int(np.argmax(single))
            spot = discs[at].spot
            out.append(
                Dried(
                    which,
                    percent,
                    float(single[at]),
                    float(both.max()),
                    strength,
                    discs[at].name,
                    spot.x_mm,
                    spot.y_mm,
                )
            )
    return tuple(out)


def closing_moisture(dried: tuple[Dried, ...], share: float = 0.5) -> float:
    """Greatest moisture (%) at which to close the box so that drying to 6 % spends at most
    `share` of the strength across the grain, relaxation counted."""
    room = [d.percent * share * d.strength_mpa / (RELAXATION * d.across_mpa) for d in dried]
    return DRIEST_PERCENT + min(room)


def _across(board_stress: Floats) -> Floats:
    """Greater tension of R and T, (p,)."""
    out: Floats = np.maximum(board_stress[:, 1], board_stress[:, 2])
    return out


def _free_strain(reading: Reading) -> Floats:
    """Free strain of each facet for 1 % of drying, (m, 3); zero on the ribs."""
    box = reading.box
    out = np.zeros((len(box.shell.triangles), 3))
    for which in _PLATES:
        plate, start = box.plates[which], box.first_facet(which)
        shrink = np.zeros(6)
        shrink[:3] = -np.array(plate.body.wood.shrink_per_percent)
        turned = strain_map(plate.axes, plate.triads) @ shrink
        out[start : start + len(turned)] = turned[:, _PLANE]
    return out
