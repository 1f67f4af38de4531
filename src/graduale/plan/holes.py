"""The hole plan of one plate: where, how held, which setting, what it leaves."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, Ints
from graduale.base.findings import refuse
from graduale.geometry.outline import Outline
from graduale.plan.bits import Bit, bit_of
from graduale.plan.grouping import group_keys
from graduale.plan.layout import NOTHING, Blank, Field, Worth, lay_out
from graduale.plan.nearest import Outside, heights, slopes_deg
from graduale.plan.notes import plan_notes
from graduale.plan.records import GuideHole, HolePlan, groups_of
from graduale.plan.settings import Thickness
from graduale.plan.solve import Drilled, Needed, Way, drilled, needed, shared
from graduale.plan.tools import Doubt, WoodKind, hole_doubt, layout_rule, tool
from graduale.plan.zones import Zone
from graduale.records.instrument import Drill, PlateName

LEAST_DEPTH_MM = 0.4  # along the bit to its deepest point; a shallower hole guides no gouge
TOWARD: tuple[str, ...] = (
    "neck",
    "neck and bass",
    "bass",
    "lower end and bass",
    "lower end",
    "lower end and treble",
    "treble",
    "neck and treble",
)


def plan_guide_holes(
    plate: PlateName,
    outline: Outline,
    arching: Outside,
    target: Thickness,
    wood_kind: WoodKind,
    drill: Drill,
    zones: Sequence[Zone],
    *,
    allowance_mm: float | None = None,
    spare_mm: float | None = None,
    doubt: Doubt | None = None,
) -> HolePlan:
    """All guide holes of a plate.

    arching is the outside as it is when drilled (re-measured); `drill.outside_scrape_mm` is still
    to come off it. target: xy (m, 2) -> thickness (m,) that the drill works toward (for the top the
    map before the soundholes); NaN: no hole may reach there. allowance_mm replaces the tool
    table's; spare_mm is what a hole may leave over its own need for the sake of fewer settings.
    Errors: Refused for an impossible drill.
    """
    check_drill(drill)
    bit, rule = bit_of(drill), layout_rule()
    spare = rule.group_spare_mm if spare_mm is None else spare_mm
    allowance = tool("drill", wood_kind).allowance_mm if allowance_mm is None else allowance_mm
    over = allowance + drill.outside_scrape_mm + LEAST_DEPTH_MM
    marks = lay_out(outline, zones, drill, _worth(arching, target, bit, over))
    field = Field(outline, zones, drill.bit_mm)
    holes: list[GuideHole] = []
    blank = list(marks.blank)
    for way, xy in _ways(arching, drill, bit, marks.xy, allowance, doubt or hole_doubt()):
        exact = needed(arching, way, xy, target)
        good, reasons = _drillable(field, way, exact)
        blank += [_blank(xy[i], reason) for i, reason in reasons.items()]
        if len(good):
            kept = exact.only(good)
            out = drilled(arching, way, kept, shared(way, kept.setting, spare), target)
            holes += _records(plate, arching, way, kept, out)
            blank += _lost(kept, out)
    ordered = _named(plate, holes)
    notes = plan_notes(plate, arching, drill, ordered, marks, blank)
    return HolePlan(
        plate,
        ordered,
        tuple(zones),
        tuple(sorted(blank)),
        groups_of(ordered),
        notes,
        bit.name,
        bit.depth_to,
        bit.proud_mm,
        allowance,
        spare,
    )


def _worth(outside: Outside, target: Thickness, bit: Bit, over_mm: float) -> Worth:
    """Where the wood is thicker than target and `over_mm` under the leading part of the bit."""
    rim = bit.radius_mm if bit.shape in ("flat", "brad") else 0.0

    def worth(xy: Floats) -> NDArray[np.bool_]:
        slope = np.radians(slopes_deg(outside, xy))
        room = heights(outside, xy) * np.cos(slope) - rim * np.sin(slope)
        wanted = np.asarray(target(xy), dtype=np.float64)
        return np.isfinite(wanted) & (room > np.nan_to_num(wanted) + over_mm)

    return worth


def check_drill(drill: Drill) -> None:
    """Errors: Refused when a setting of the drill is impossible."""
    positive = {
        "step": drill.step_mm,
        "spacing_along": drill.spacing_along_mm,
        "spacing_across": drill.spacing_across_mm,
    }
    for key, value in positive.items():
        if not (math.isfinite(value) and value > 0):
            sentence = f"{value} mm cannot be; give more than 0"
            raise refuse("drill-not-positive", f"drill.{key}", sentence)
    others = {"rest_radius": drill.rest_radius_mm, "scrape": drill.outside_scrape_mm}
    for key, value in others.items():
        if not (math.isfinite(value) and value >= 0):
            raise refuse("drill-negative", f"drill.{key}", f"{value} mm cannot be; give 0 or more")


def _ways(
    outside: Outside, drill: Drill, bit: Bit, xy: Floats, allowance: float, doubt: Doubt
) -> list[tuple[Way, Floats]]:
    """Marks by how they are drilled; on a rest steep places go over to the tilted plate."""
    base = Way(
        drill.method,
        "level",
        bit,
        drill.rest_radius_mm,
        drill.step_mm,
        doubt,
        allowance,
        drill.outside_scrape_mm,
    )
    if len(xy) == 0:
        return []
    steep = slopes_deg(outside, xy) > drill.max_level_slope_deg
    tilted = np.full(len(xy), drill.hold == "tilted") | steep
    tilted &= drill.method == "rest"  # a collar cannot sit on a tilted face
    parts = [(base, xy[~tilted]), (replace(base, hold="tilted"), xy[tilted])]
    return [(way, part) for way, part in parts if len(part)]


def _drillable(field: Field, way: Way, exact: Needed) -> tuple[Ints, dict[int, str]]:
    """Indices of holes that can be drilled, and for the others why not."""
    reasons: dict[int, str] = {}
    bottom = exact.axes.at(np.maximum(exact.along, 0.0))
    for i, along in enumerate(exact.along):
        if along < LEAST_DEPTH_MM:
            reasons[i] = NOTHING
        elif way.hold == "tilted":
            x, y = float(bottom[i, 0]), float(bottom[i, 1])
            name = field.under(x, y, way.bit.radius_mm)
            if name:
                reasons[i] = f"the slanting hole would come under the {name}"
    good = [i for i in range(len(exact.along)) if i not in reasons]
    return np.array(good, dtype=np.int64), reasons


def _lost(holes: Needed, out: Drilled) -> list[Blank]:
    """Holes that the rounded setting no longer drills, or hardly."""
    return [_blank(holes.axes.mark[i], NOTHING) for i in np.flatnonzero(~_worthy(out))]


def _worthy(out: Drilled) -> NDArray[np.bool_]:
    return np.asarray(out.along >= LEAST_DEPTH_MM - 1e-9)


def _blank(mark: Floats, reason: str) -> Blank:
    return Blank(float(mark[0]), float(mark[1]), reason)


def _records(
    plate: PlateName, outside: Outside, way: Way, holes: Needed, out: Drilled
) -> list[GuideHole]:
    slope = slopes_deg(outside, holes.axes.mark[:, :2])
    return [
        _record(plate, way, holes, out, float(slope[i]), int(i))
        for i in np.flatnonzero(_worthy(out))
    ]


def _record(
    plate: PlateName, way: Way, holes: Needed, out: Drilled, slope: float, i: int
) -> GuideHole:
    a = holes.axes.outward[i]
    setting = round(float(out.setting[i]), 6)
    on_rest = way.method == "rest"
    tilted = way.hold == "tilted"
    return GuideHole(
        id="",
        plate=plate,
        x_mm=float(holes.axes.mark[i, 0]),
        y_mm=float(holes.axes.mark[i, 1]),
        slope_deg=slope,
        method=way.method,
        hold=way.hold,
        bit=way.bit.name,
        depth_to=way.bit.depth_to,
        rest_gap_mm=setting if on_rest else None,
        collar_depth_mm=None if on_rest else setting,
        depth_mm=float(out.along[i]),
        leaves_mm=float(out.left[i]),
        thinnest_x_mm=float(out.at_xy[i, 0]),
        thinnest_y_mm=float(out.at_xy[i, 1]),
        over_mm=float(out.over[i]),
        tolerance_mm=float(out.tolerance[i]),
        group="",
        tilt_deg=math.degrees(math.acos(min(1.0, float(a[2])))) if tilted else 0.0,
        tilt_toward=toward(float(a[0]), float(a[1])) if tilted else "",
        tilt_azimuth_deg=math.degrees(math.atan2(float(a[1]), float(a[0]))) if tilted else 0.0,
    )


def toward(x: float, y: float) -> str:
    """The side of the plate in direction (x, y), in eight words; '' for no direction."""
    if math.hypot(x, y) < 1e-3:
        return ""
    return TOWARD[round(math.degrees(math.atan2(y, x)) / 45.0) % 8]


def _named(plate: PlateName, holes: list[GuideHole]) -> tuple[GuideHole, ...]:
    """Numbered from the lower edge to the neck, treble to bass; groups lettered."""
    ordered = sorted(holes, key=lambda h: (h.x_mm, h.y_mm))
    keys = group_keys([(h.method, h.hold, h.setting_mm) for h in ordered])
    letter = "T" if plate == "top" else "B"
    return tuple(
        replace(h, id=f"{letter}{i + 1}", group=key)
        for i, (h, key) in enumerate(zip(ordered, keys, strict=True))
    )
