"""A plate on the bench as plain values: marks, figures, alarms, map, where to measure next."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats, GridMap
from graduale.jobs.desk import NEEDED, STATION_MM, Desk, DeskStage, Standing
from graduale.prints.data import PageHead
from graduale.prints.figures import shown
from graduale.prints.hatch import hatched
from graduale.prints.pictures import Shapes, band_shapes, length_scale, shape_items
from graduale.prints.plates import (
    Stand,
    fitting_items,
    guide_items,
    outline_items,
    side_items,
    stand,
)
from graduale.prints.shades import VIRIDIS
from graduale.prints.sheet import Drawing, Item
from graduale.prints.svg import svg_of
from graduale.readings.map import PlateMap
from graduale.readings.thin import least_at
from graduale.records import events as e
from graduale.words.catalogue import say
from graduale.words.numbers import quantity

Mode = Literal["left", "target", "still"]
_PLAIN_MM = 0.12
MODES: tuple[Mode, ...] = ("still", "left", "target")


def state_of(desk: Desk, entries: Sequence[e.Entry], stage: str, mode: Mode) -> dict[str, Any]:
    """Everything that the bench page shows of a plate at one stage."""
    step = desk.stage(stage)
    now = desk.standing(entries, step.tool)
    made = desk.map_now(now, step.tool)
    left = None if made is None else desk.grid.map_of(made.at(desk.places(step.tool)))
    view = stand(_head(desk), desk.drawing)
    weights = [x for x in e.standing(entries) if _weighs(desk, x)]
    return {
        "entries": len(entries),
        "stage": step.tool,
        "stages": [{"tool": s.tool, "name": _stage_name(s)} for s in desk.stages],
        "mode": mode,
        "readings": len(now.entries),
        "needed": max(NEEDED - len(now.entries), 0),
        "stations": _stations(desk, step, now, view),
        "waiting": _waiting(desk, entries, step),
        "alarms": _alarms(desk, now),
        "figures": _figures(desk, step, made, left, weights),
        "next": _next(desk, made, view),
        "frame": {
            "sign": view.view.sign,
            "u0": round(view.view.u0, 3),
            "v0": round(view.height_mm - view.view.v0, 3),
        },
        "size_mm": [round(view.width_mm, 2), round(view.height_mm, 2)],
        "picture": _picture(desk, step, left, mode, view),
        "legend": _legend(desk, step, left, mode),
        "last": _last(entries),
    }


def _head(desk: Desk) -> PageHead:
    inst = desk.instrument
    return PageHead(
        inst.name,
        desk.which,
        "inside",
        "",
        desk.document["digest"],
        inst.left_handed,
        inst.workshop.units,
    )


def _stage_name(stage: DeskStage) -> str:
    return stage.tool.replace("_", " ")


def _weighs(desk: Desk, entry: e.Entry) -> bool:
    return isinstance(entry.what, e.WeightRead) and entry.what.what == desk.which


def _stations(desk: Desk, step: DeskStage, now: Standing, view: Stand) -> list[dict[str, Any]]:
    """Each with its place in the drawing, target, floor, reading and mark (`_mark`)."""
    places = np.array([[s.x_mm, s.y_mm] for s in desk.stations])
    target, floor = desk.target(step)(places), desk.floor(places)
    near = _nearest(now, places)
    out = []
    for i, s in enumerate(desk.stations):
        u, v = view.view.point(s.x_mm, s.y_mm)
        read = None
        if near is not None and near[0][i] <= STATION_MM:
            read = float(now.t_mm[int(near[1][i])])
        out.append(
            {
                "name": s.name,
                "x_mm": s.x_mm,
                "y_mm": s.y_mm,
                "u": round(u, 2),
                "v": round(view.height_mm - v, 2),
                "target_mm": round(float(target[i]), 2),
                "floor_mm": round(float(floor[i]), 2),
                "read_mm": read,
                "mark": _mark(read, float(target[i]), float(floor[i]), step.scatter_mm),
            }
        )
    return out


def _nearest(now: Standing, places: Floats) -> tuple[Floats, Floats] | None:
    """Distance (n,) to the nearest reading, and which; None without readings."""
    if not len(now.entries):
        return None
    away, which = cKDTree(now.xy).query(places)
    return np.asarray(away), np.asarray(which, dtype=np.float64)


def _mark(read: float | None, target: float, floor: float, scatter: float) -> str:
    """'on': wood still to come off; 'within' the tool's scatter of the target; 'thin'; 'below' the
    floor; '' not read."""
    if read is None:
        return ""
    if read < floor:
        return "below"
    if read < target - scatter:
        return "thin"
    return "on" if read > target + scatter else "within"


def _waiting(desk: Desk, entries: Sequence[e.Entry], step: DeskStage) -> list[dict[str, Any]]:
    """Doubtful readings that nobody has accepted or struck yet."""
    stands = e.standing(entries)
    right = e.accepted(stands)
    out = []
    for entry in stands:
        what = entry.what
        if not isinstance(what, e.CaliperRead) or not what.doubtful or entry.id in right:
            continue
        if what.plate == desk.which and entry.stage == step.tool:
            units = desk.instrument.workshop.units
            place, floor = what.station or "-", float(desk.floor(_at(what))[0])
            text = say("bench.doubtful", units, t=what.t_mm, place=place)
            if what.t_mm < floor:
                text = say("bench.doubtful_below", units, t=what.t_mm, place=place, floor=floor)
            out.append({"id": entry.id, "text": text})
    return out


def _at(what: e.CaliperRead) -> Floats:
    return np.array([[what.x_mm, what.y_mm]])


def _alarms(desk: Desk, now: Standing) -> list[dict[str, Any]]:
    """Readings below the floor or below the least thickness, in words; the thinnest first."""
    if not len(now.entries):
        return []
    floor, least = desk.floor(now.xy), least_at(desk.layout, now.xy)
    units, out = desk.instrument.workshop.units, []
    for i in np.argsort(now.t_mm):
        entry, t = now.entries[i], float(now.t_mm[i])
        what = entry.what
        assert isinstance(what, e.CaliperRead)
        place = what.station or f"x {what.x_mm:.0f}, y {what.y_mm:+.0f}"
        if t < floor[i]:
            text = say("bench.below_floor", units, t=t, place=place, floor=float(floor[i]))
        elif t < least[i]:
            text = say("bench.below_least", units, t=t, place=place, least=float(least[i]))
        else:
            continue
        out.append({"id": entry.id, "text": text, "x_mm": what.x_mm, "y_mm": what.y_mm})
    return out


def _figures(
    desk: Desk,
    step: DeskStage,
    made: PlateMap | None,
    left: GridMap | None,
    weights: Sequence[e.Entry],
) -> dict[str, Any]:
    end_map, end_g = desk.end_map(step), desk.end_mass_g(step)
    out: dict[str, Any] = {"end_g": round(end_g, 1), "now_g": None, "still_g": None}
    out["end_name"] = say("bench.end")
    if desk.ends_before_holes(step):
        out["end_name"] = say("bench.end_before")
    if made is not None and left is not None:
        more = GridMap(left.x_mm, left.y_mm, left.values - end_map.values)
        over = GridMap(left.x_mm, left.y_mm, np.maximum(left.values - step.leave.values, 0.0))
        out |= {"now_g": round(end_g + desk.grams(more), 1)}
        out |= {"still_g": round(desk.grams(over), 1)}
        out["doubt_mm"] = round(made.usual_doubt_mm, 2)
    if weights:
        last = weights[-1].what
        assert isinstance(last, e.WeightRead)
        out["weighed_g"] = last.mass_g
        out["weighed_at"] = weights[-1].at.isoformat()
    return out


def _next(desk: Desk, made: PlateMap | None, view: Stand) -> dict[str, Any] | None:
    """Where one more reading takes most of the doubt away."""
    if made is None:
        return None
    places, shares = made.measure_next(desk.instrument.workshop.caliper_spread_mm, 1)
    x, y = (float(c) for c in places[0])
    u, v = view.view.point(x, y)
    return {
        "x_mm": round(x, 1),
        "y_mm": round(y, 1),
        "u": round(u, 2),
        "v": round(view.height_mm - v, 2),
        "share": round(float(shares[0]), 3),
        "text": say("bench.next", x=x, y=y, share=float(shares[0])),
    }


def _grid(step: DeskStage, left: GridMap | None, mode: Mode) -> GridMap | None:
    if mode == "target":
        return step.leave
    if left is None or mode == "left":
        return left
    return GridMap(left.x_mm, left.y_mm, np.maximum(left.values - step.leave.values, 0.0))


def _legend(desk: Desk, step: DeskStage, left: GridMap | None, mode: Mode) -> list[dict[str, str]]:
    grid = _grid(step, left, mode)
    if grid is None:
        return []
    words = length_scale(grid, desk.instrument.workshop.units).words()
    return [{"colour": c, "from": words[i], "to": words[i + 1]} for i, c in enumerate(VIRIDIS)]


def _picture(desk: Desk, step: DeskStage, left: GridMap | None, mode: Mode, view: Stand) -> str:
    """The plate as SVG in mm, seen from inside, neck up: bands, outline, fittings, thin places."""
    grid, items = _grid(step, left, mode), list[Item]()
    if grid is not None:
        units = desk.instrument.workshop.units
        scale = length_scale(grid, units)
        shapes = [_plainer(s) for s in band_shapes(view, shown(grid, units), scale)]
        items += shape_items(view, shapes, 0.15)
    if left is not None:
        hatch = hatched(_below(desk, left, view), 2.0, 0.5)
        items += [] if hatch is None else [replace(hatch, stroke="#000000")]
    items += [*outline_items(view, 0.6), *guide_items(view), *fitting_items(view)]
    items += side_items(view)
    drawing = Drawing(view.width_mm, view.height_mm, tuple(items))
    return svg_of(drawing, say("bench.picture", plate=desk.which))


def _plainer(shapes: Shapes) -> Shapes:
    """The same shapes with the fewest points that stay within `_PLAIN_MM` of them."""
    fills = tuple((c, tuple(_fewer(r) for r in rings)) for c, rings in shapes.fills)
    return Shapes(fills, tuple(_fewer(p) for p in shapes.lines))


def _fewer(points: Floats) -> Floats:
    return np.asarray(shapely.LineString(points).simplify(_PLAIN_MM).coords)


def _below(desk: Desk, left: GridMap, view: Stand) -> BaseGeometry:
    """Where the map lies below the floor, in the drawing's frame."""
    at = desk.places(desk.stages[0].tool)
    values = left.values[np.isfinite(left.values)]
    under = values < desk.floor_on_grid - 1e-6
    half = 0.5 * (left.x_mm[1] - left.x_mm[0])
    centres = view.view.page(at.xy[under]) if under.any() else np.zeros((0, 2))
    low, high = centres - half, centres + half
    return shapely.union_all(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))


def _last(entries: Sequence[e.Entry]) -> dict[str, str] | None:
    """The last entry that undo would strike, in words."""
    stands = [x for x in e.standing(entries) if not isinstance(x.what, e.FileKept | e.DecisionKept)]
    if not stands:
        return None
    what = stands[-1].what
    if isinstance(what, e.CaliperRead):
        text = f"{what.station or ''} {quantity(what.t_mm, 'mm')}".strip()
    elif isinstance(what, e.WeightRead):
        text = f"{what.what} {quantity(what.mass_g, 'g')}"
    else:
        text = e.kind_of(what)
    return {"id": stands[-1].id, "text": text}
