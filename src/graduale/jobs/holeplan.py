"""Guide holes and stages of a decided plate: the one place that hands decided maps to the plan."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, GridMap
from graduale.box.plate import PlateBody
from graduale.plan.holes import plan_guide_holes
from graduale.plan.records import HolePlan
from graduale.plan.stages import Stage, stage_maps
from graduale.plan.tools import WoodKind, tools
from graduale.plan.zones import keep_out_zones
from graduale.records.instrument import Instrument, PlateName


@dataclass(frozen=True, eq=False)
class Targets:
    """The maps of one plate that work is planned from, on the 2 mm grid.

    before_holes: the top's map while its soundholes are cut; None on the back.
    platform (nx, ny): finished gluing surface.
    """

    body: PlateBody
    wood_kind: WoodKind
    finished: GridMap
    before_holes: GridMap | None
    platform: NDArray[np.bool_]


def stages_of(targets: Targets) -> tuple[Stage, ...]:
    """What each tool leaves."""
    return stage_maps(
        targets.finished,
        targets.body.arching,
        targets.wood_kind,
        platform=targets.platform,
        before_holes=targets.before_holes,
    )


def holes_of(instrument: Instrument, targets: Targets) -> HolePlan:
    """Guide holes toward the map that the drill works to."""
    body, order = targets.body, tools(targets.wood_kind)
    aim = targets.finished
    if targets.before_holes is not None:
        # what the last tool before the soundholes leaves, less its own allowance
        last = [t for t in order if t.before_soundholes][-1].allowance_mm
        kept = np.fmax(aim.values, targets.before_holes.values - last)
        aim = GridMap(aim.x_mm, aim.y_mm, kept)

    def target(xy: Floats) -> Floats:
        return aim.at(xy)

    zones = keep_out_zones(body.which, instrument, body.outline, body.openings)
    return plan_guide_holes(
        body.which,
        body.outline,
        body.arching,
        target,
        targets.wood_kind,
        instrument.drill,
        zones,
    )


def plans_of(
    instrument: Instrument, targets: Mapping[PlateName, Targets]
) -> dict[PlateName, HolePlan]:
    """Both plates."""
    return {which: holes_of(instrument, each) for which, each in targets.items()}
