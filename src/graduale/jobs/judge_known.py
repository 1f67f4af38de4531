"""How each plate is known: measured, taken as decided, or assumed; and the rule that follows."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from graduale.base.arrays import GridMap
from graduale.box.plate import ThicknessAt
from graduale.files.readings import Readings
from graduale.jobs.reference import Reference
from graduale.readings.current import Current, current
from graduale.readings.map import PlateMap, map_of
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Layout

Known = Literal["measured", "decided", "assumed"]
FULL_SIZE_MM = 355.0  # body length of the reference violins


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
    instrument: Instrument,
    readings: Readings,
    layout: Layout,
    name: str,
    known: Reference,
    decided: Mapping[PlateName, DecidedMaps] | None,
) -> KnownPlate:
    """One plate. Unmeasured and undecided it is assumed: the average reference, scaled by length.

    `name` is the readings file's. Errors: Refused by the readings.
    """
    which = layout.body.which
    now = current(readings, layout, name)
    maps = None if decided is None else decided[which]
    target, floor = (None, None) if maps is None else (maps.target.at, maps.floor.at)
    if now is not None:
        made = map_of(now, layout, instrument.workshop.caliper_spread_mm)
        return KnownPlate("measured", now, made, made, target, floor)
    if target is not None:
        return KnownPlate("decided", None, None, target, target, floor)
    zones = known.members["average"].zones[which] * instrument.body.length_mm / FULL_SIZE_MM
    return KnownPlate("assumed", None, None, layout.at(zones), None, None)
