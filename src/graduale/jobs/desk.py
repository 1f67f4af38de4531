"""One plate on the bench, prepared once from its instrument file and decision; no solver."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from graduale.base.arrays import Floats, GridMap, freeze
from graduale.base.findings import Refused
from graduale.box.plate import plate_bodies
from graduale.files.readings import Readings
from graduale.geometry.grid import PlateGrid, plate_grid
from graduale.jobs.document import map_from
from graduale.jobs.drawings import drawing_of
from graduale.jobs.judge_known import OnGrid
from graduale.prints.data import PlateDrawing
from graduale.readings.current import current
from graduale.readings.expected import as_it_is
from graduale.readings.kriging import Scales
from graduale.readings.map import Places, PlateMap, map_of, places_of
from graduale.records import events as e
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Layout, layout_of

GRID_MM = 2.0
NEEDED = 6  # readings without which there is no map
_AGAIN = 8
STATION_MM = 4.0  # a reading within so much of a station is its reading
DENSITY_G_MM3 = 1e-6  # of 1 kg/m3


@dataclass(frozen=True, eq=False)
class DeskStage:
    """One tool's stage: what it leaves, its allowance over the final map and its scatter, mm."""

    tool: str
    leave: GridMap
    allowance_mm: float
    scatter_mm: float
    before_soundholes: bool


@dataclass(frozen=True)
class DeskStation:
    """A named place of the caliper round."""

    name: str
    x_mm: float
    y_mm: float


@dataclass(frozen=True, eq=False)
class Standing:
    """Readings of one plate that count at a stage: entries, xy (n, 2), t_mm (n,)."""

    entries: tuple[e.Entry, ...]
    xy: Floats
    t_mm: Floats


@dataclass(frozen=True, eq=False)
class Desk:
    """A plate with its decision, as the bench page needs it."""

    instrument: Instrument
    which: PlateName
    layout: Layout
    document: Mapping[str, Any]

    @property
    def plate(self) -> Mapping[str, Any]:
        """The plate's part of the decision."""
        found: Mapping[str, Any] = self.document["plates"][self.which]
        return found

    @cached_property
    def stages(self) -> tuple[DeskStage, ...]:
        """In the order of the work."""
        shape = self.plate["thickness"]
        return tuple(
            DeskStage(
                s["tool"],
                map_from({**shape, "values": s["leave"]}),
                float(s["allowance_mm"]),
                float(s["scatter_mm"]),
                bool(s["before_soundholes"]),
            )
            for s in self.plate["stages"]
        )

    def stage(self, tool: str) -> DeskStage:
        """The stage of this tool; the first one where the name is not known."""
        return next((s for s in self.stages if s.tool == tool), self.stages[0])

    @cached_property
    def stations(self) -> tuple[DeskStation, ...]:
        """Stations on the carved part, in the order of a round: back and forth toward the neck."""
        every = [DeskStation(s["name"], s["x_mm"], s["y_mm"]) for s in self.plate["stations"]]
        carved = [s for s in every if shapely.contains_xy(self.layout.free, s.x_mm, s.y_mm)]
        rows = sorted({round(s.x_mm, 1) for s in carved})
        return tuple(
            sorted(
                carved,
                key=lambda s: (
                    s.x_mm,
                    s.y_mm * (1 if rows.index(round(s.x_mm, 1)) % 2 == 0 else -1),
                ),
            )
        )

    @cached_property
    def floor(self) -> OnGrid:
        """The joint floor: not below this."""
        return OnGrid(self.layout, map_from(self.plate["floor_joint"]))

    @cached_property
    def drawing(self) -> PlateDrawing:
        """The plate as drawn, without stations."""
        body = self.layout.body
        return replace(drawing_of(self.instrument, body, self.document, None), stations=())

    def target(self, stage: DeskStage) -> OnGrid:
        """What the stage leaves, as a rule."""
        return OnGrid(self.layout, stage.leave)

    def outside_mm(self, xy: Floats) -> Floats:
        """Greatest thickness (n,) that can be measured at places (n, 2)."""
        arching = self.layout.body.arching
        out: Floats = arching.height(xy) * arching.normal(xy)[:, 2]
        return out

    def standing(self, entries: Sequence[e.Entry], stage: str) -> Standing:
        """Readings of this plate and stage that count; a later one near an earlier outranks it."""
        stands = e.standing(entries)
        right = e.accepted(stands)
        found: list[tuple[e.Entry, e.CaliperRead]] = []
        for entry in stands:
            what = entry.what
            if not isinstance(what, e.CaliperRead) or what.plate != self.which:
                continue
            if entry.stage == stage and (not what.doubtful or entry.id in right):
                found = [
                    f for f in found if np.hypot(f[1].x_mm - what.x_mm, f[1].y_mm - what.y_mm) > 1.0
                ]
                found.append((entry, what))
        xy = np.array([[w.x_mm, w.y_mm] for _, w in found]).reshape(-1, 2)
        t = np.array([w.t_mm for _, w in found])
        return Standing(tuple(x for x, _ in found), freeze(xy), freeze(t))

    def map_now(self, now: Standing, stage: str) -> PlateMap | None:
        """The plate between the readings; None while fewer than six count.

        The likeliest scales are looked for anew after every eighth reading only.
        """
        every = len(now.entries) // _AGAIN * _AGAIN
        key = (stage, tuple(x.id for x in now.entries[: max(every, NEEDED)]))
        made = self._mapped(now, stage, self._scales.get(key))
        if made is not None and key not in self._scales:
            part = slice(0, max(every, NEEDED))
            first = Standing(now.entries[part], now.xy[part], now.t_mm[part])
            fitted = self._mapped(first, stage, None)
            self._scales[key] = (made if fitted is None else fitted).kriged.scales
            made = self._mapped(now, stage, self._scales[key])
        return made

    def _mapped(self, now: Standing, stage: str, scales: Scales | None) -> PlateMap | None:
        try:
            counted = current(_as_readings(self.which, now, stage), self.layout, self.which)
        except Refused:
            return None
        if counted is None:
            return None
        expected = self.target(self.stage(stage))
        caliper_mm = self.instrument.workshop.caliper_spread_mm
        return map_of(counted, self.layout, caliper_mm, expected, scales)

    @cached_property
    def _scales(self) -> dict[tuple[str, tuple[str, ...]], Scales]:
        return {}

    @cached_property
    def grid(self) -> PlateGrid:
        """Where the plate's maps are kept."""
        return plate_grid(self.layout.body.outline, GRID_MM)

    @cached_property
    def _places(self) -> dict[str, Places]:
        return {}

    def places(self, stage: str) -> Places:
        """The plate's grid, prepared for maps of this stage."""
        if stage not in self._places:
            rule = self.target(self.stage(stage))
            self._places[stage] = places_of(as_it_is(self.layout), rule, self.grid.points)
        return self._places[stage]

    @cached_property
    def floor_on_grid(self) -> Floats:
        """The joint floor (n,) at the places of the grid; 0 on finished parts."""
        points = self.places(self.stages[0].tool)
        return np.where(points.seat, 0.0, self.floor(points.xy))

    def grams(self, more: GridMap) -> float:
        """Mass in g of a layer of thickness `more` (NaN: none) on the inside."""
        layer = np.nan_to_num(more.values) * self._square_mm
        return float(layer.sum()) * float(self.plate["wood"]["density_kg_m3"]) * DENSITY_G_MM3

    @cached_property
    def _square_mm(self) -> Floats:
        """Area of the inside that belongs to each node of the grid, openings left out (nx, ny)."""
        points = self.grid.points
        holes = [shapely.Polygon(ring) for ring in self.layout.body.openings]
        wood = shapely.difference(self.layout.body.outline.polygon, shapely.union_all(holes))
        there = shapely.contains_xy(wood, points[:, 0], points[:, 1])
        area = np.where(there, GRID_MM**2 * self._inner_share(points), 0.0)
        return np.nan_to_num(self.grid.map_of(area).values)

    def _inner_share(self, points: Floats) -> Floats:
        """Area of the inside over that in plan (n,), at the decided thickness t: parallel faces
        bend together, so that it is that of the outside times 1 - 2 H t + K t^2 (Steiner)."""
        _, hx, hy, hxx, hxy, hyy = self.layout.body.arching.all_at(points).T
        rise = 1.0 + hx**2 + hy**2
        twice_mean = -((1 + hy**2) * hxx - 2 * hx * hy * hxy + (1 + hx**2) * hyy) / rise**1.5
        gauss = (hxx * hyy - hxy**2) / rise**2
        t = np.nan_to_num(map_from(self.plate["thickness"]).at(points))
        out: Floats = np.sqrt(rise) * (1.0 - twice_mean * t + gauss * t**2)
        return out

    def ends_before_holes(self, stage: DeskStage) -> bool:
        """Whether this stage works toward the top as it is before its soundholes."""
        return stage.before_soundholes and "before_holes" in self.plate.get("states", {})

    def end_mass_g(self, stage: DeskStage) -> float:
        """Mass that the work leads to from this stage: before the soundholes, else finished."""
        if self.ends_before_holes(stage):
            return float(self.plate["states"]["before_holes"]["mass_g"])
        return float(self.plate["mass_g"])

    def end_map(self, stage: DeskStage) -> GridMap:
        """The map that goes with `end_mass_g`."""
        if self.ends_before_holes(stage):
            return map_from(self.plate["states"]["before_holes"]["thickness"])
        return map_from(self.plate["thickness"])


def desk_of(instrument: Instrument, document: Mapping[str, Any], which: PlateName) -> Desk:
    """Prepares a plate. Errors: Refused by geometry."""
    body = plate_bodies(instrument)[which]
    return Desk(instrument, which, layout_of(instrument, body), document)


def _as_readings(which: PlateName, now: Standing, stage: str) -> Readings:
    count = len(now.entries)
    return Readings(
        plate=(which,) * count,
        x_mm=now.xy[:, 0],
        y_mm=now.xy[:, 1],
        t_mm=now.t_mm,
        stage=(stage,) * count,
        when=("",) * count,
        note=("",) * count,
        doubtful=(False,) * count,
        findings=(),
    )
