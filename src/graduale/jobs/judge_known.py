"""How each plate is known: measured, taken as decided, or assumed; and the rule that follows."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from graduale.base.arrays import Floats, GridMap
from graduale.base.findings import Finding, Refused
from graduale.box.plate import PlateBody, ThicknessAt, plate_bodies
from graduale.files.readings import Readings
from graduale.jobs.reference import Reference
from graduale.readings.current import Current, current
from graduale.readings.map import PlateMap, map_of
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Layout, layout_of

Known = Literal["measured", "decided", "assumed"]
FULL_SIZE_MM = 355.0  # body length of the reference violins


@dataclass(frozen=True, eq=False)
class Read:
    """An instrument with its plates, and the readings of each that count (None: not measured)."""

    instrument: Instrument
    readings: Readings
    layouts: Mapping[PlateName, Layout]
    now: Mapping[PlateName, Current | None]

    @property
    def bodies(self) -> dict[PlateName, PlateBody]:
        """Both plates."""
        return {w: layout.body for w, layout in self.layouts.items()}

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the readings gave to remark on."""
        found = [f for now in self.now.values() if now is not None for f in now.findings]
        return (*self.readings.findings, *found)


def read(instrument: Instrument, readings: Readings, name: str) -> Read:
    """Sorts the readings; `name` is their file's. Errors: Refused, with what is wrong with both
    plates, by readings or geometry."""
    layouts = {w: layout_of(instrument, body) for w, body in plate_bodies(instrument).items()}
    now: dict[PlateName, Current | None] = {}
    wrong: list[Finding] = []
    for which, layout in layouts.items():
        try:
            now[which] = current(readings, layout, name)
        except Refused as refused:
            wrong += refused.findings
    if wrong:
        raise Refused(wrong)
    return Read(instrument, readings, layouts, now)


@dataclass(frozen=True, eq=False)
class DecidedMaps:
    """Of an earlier decision, for one plate: what to carve, and the joint floor."""

    target: GridMap
    floor: GridMap


@dataclass(frozen=True, eq=False)
class KnownPlate:
    """readings and map are those of a measured plate; target, floor: of an earlier decision."""

    known: Known
    readings: Current | None
    map: PlateMap | None
    rule: ThicknessAt
    target: ThicknessAt | None
    floor: ThicknessAt | None


def known_plate(
    found: Read,
    which: PlateName,
    known: Reference,
    decided: Mapping[PlateName, DecidedMaps] | None,
) -> KnownPlate:
    """One plate. Unmeasured and undecided it is assumed: the average reference, scaled by
    length."""
    layout, now, inst = found.layouts[which], found.now[which], found.instrument
    target, floor = None, None
    if decided is not None:
        target = OnGrid(layout, decided[which].target)
        floor = OnGrid(layout, decided[which].floor)
    if now is not None:
        made = map_of(now, layout, inst.workshop.caliper_spread_mm)
        return KnownPlate("measured", now, made, made, target, floor)
    if target is not None:
        return KnownPlate("decided", None, None, target, target, floor)
    zones = known.members["average"].zones[which] * inst.body.length_mm / FULL_SIZE_MM
    return KnownPlate("assumed", None, None, layout.at(zones), None, None)


@dataclass(frozen=True, eq=False)
class OnGrid:
    """A stored map as a rule: the outside height where the plate is finished, as elsewhere."""

    layout: Layout
    grid: GridMap

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) mm."""
        basis, t = self.layout.basis(xy), self.grid.at(xy)
        return np.where(basis.seat | ~np.isfinite(t), basis.highest, t)
