"""A decision's document -> plate drawings, bench sheets and pictures. Geometry comes from the
instrument."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np
import shapely

from graduale.base.arrays import Floats, GridMap
from graduale.base.units import inch_from_mm
from graduale.box.parts import bar_outline
from graduale.box.plate import PlateBody
from graduale.jobs.document import map_from
from graduale.plan.bits import bit_of
from graduale.plan.card import plan_card
from graduale.plan.records import HolePlan
from graduale.prints import data
from graduale.prints.figures import bare, figure, size
from graduale.prints.holesheet import hole_sheet
from graduale.prints.maps import graduation_sheet
from graduale.prints.reasons import reasons_sheet
from graduale.prints.sheet import Sheet
from graduale.prints.stagesheet import stage_sheet
from graduale.prints.testcard import scrap_card
from graduale.records.instrument import Instrument, PlateName
from graduale.words.numbers import Units

_TOOL_NAMES = {
    "drill": "drill",
    "gouge": "gouge",
    "toothed_plane": "toothed plane",
    "smooth_plane": "smooth plane",
    "scraper": "scraper",
    "paper": "paper",
}


def head_of(
    instrument: Instrument, document: Mapping[str, Any], which: PlateName, date: str
) -> data.PageHead:
    """What stands on every page."""
    name = instrument.name if document["safe"] else f"NOT SAFE · {instrument.name}"
    return data.PageHead(
        name,
        which,
        "inside",
        date,
        document["digest"],
        instrument.left_handed,
        instrument.workshop.units,
    )


def drawing_of(
    instrument: Instrument, body: PlateBody, document: Mapping[str, Any], plan: HolePlan | None
) -> data.PlateDrawing:
    """One plate as drawn; without a plan no holes and no zones."""
    which = body.which
    stored = document["plates"][which]
    grid = map_from(stored["thickness"])
    top = which == "top"
    post = instrument.post
    return data.PlateDrawing(
        plate=which,
        outline=body.outline.xy,
        thickness=grid,
        openings=body.openings,
        rib_line=body.outline.inset(instrument.body.overhang_mm),
        platform_line=body.outline.inset(body.inside.platform_mm),
        stations=tuple(
            data.Station(s["name"], s["x_mm"], s["y_mm"], s["mm"]) for s in stored["stations"]
        ),
        zones=() if plan is None else zones_of(plan),
        holes=() if plan is None else marks_of(plan, instrument),
        groups=() if plan is None else groups_of(plan, instrument),
        bar=bar_outline(instrument.bar) if top and instrument.bar.present else None,
        post=data.Post(post.x_mm, post.y_mm, post.diameter_mm) if post.present else None,
        feet=feet_of(instrument) if top else (),
        stages=stages_of(stored, grid, instrument.workshop.units),
    )


def feet_of(instrument: Instrument) -> tuple[Floats, ...]:
    """Footprints of the bridge's feet."""
    b = instrument.bridge
    out = []
    for y in (b.bass_foot_y_mm, b.treble_foot_y_mm):
        half_x, half_y = 0.5 * b.foot_width_mm, 0.5 * b.foot_length_mm
        foot = shapely.box(b.x_mm - half_x, y - half_y, b.x_mm + half_x, y + half_y)
        out.append(np.asarray(foot.exterior.coords)[:-1])
    return tuple(out)


def stages_of(stored: Mapping[str, Any], grid: GridMap, units: Units) -> tuple[data.Stage, ...]:
    """Stage maps back from the document, their allowances in words."""
    out = []
    for s in stored["stages"]:
        leave = map_from({**stored["thickness"], "values": s["leave"]})
        name = _TOOL_NAMES.get(s["tool"], s["tool"])
        out.append(data.Stage(name, leave, f"+{bare(s['allowance_mm'], units)}", s["scatter_mm"]))
    return tuple(out)


def zones_of(plan: HolePlan) -> tuple[data.Zone, ...]:
    """Keep-out zones by name."""
    rings: dict[str, list[Floats]] = {}
    for zone in plan.zones:
        rings.setdefault(zone.name, []).append(zone.polygon)
    return tuple(data.Zone(name, (r,)) for name, many in rings.items() for r in many)


def setting_text(setting_mm: float, method: str, units: Units = "mm", step_mm: float = 0.1) -> str:
    """The setting rounded so as to leave more wood: a rest gap up, a collar depth down.

    In mm with one digit, or two where it needs them; in inches with the digits of the step.
    """
    if units == "inch":
        setting, digits = inch_from_mm(setting_mm), _inch_digits(inch_from_mm(step_mm))
    else:
        setting = setting_mm
        digits = 1 if abs(setting_mm - round(setting_mm, 1)) < 1e-6 else 2
    parts = setting * 10.0**digits
    whole = np.ceil(parts - 1e-4) if method == "rest" else np.floor(parts + 1e-4)
    return f"{whole / 10.0**digits:.{digits}f}"


def _inch_digits(step_in: float) -> int:
    """Digits of a step in inches: those in which it is whole (0.01, 0.005), else at least three and
    so many that the last digit is not more than the step."""
    for digits in (2, 3):
        parts = step_in * 10.0**digits
        if round(parts) >= 1 and abs(parts - round(parts)) < 1e-3:
            return digits
    return max(3, int(np.ceil(-np.log10(step_in))))


def _setting(setting_mm: float, method: str, instrument: Instrument) -> str:
    """As printed for this workshop and its drill."""
    return setting_text(setting_mm, method, instrument.workshop.units, instrument.drill.step_mm)


def bit_text(plan: HolePlan, instrument: Instrument) -> str:
    """The bit with its diameter in the workshop's units."""
    if instrument.workshop.units == "mm":
        return plan.bit
    bit = bit_of(instrument.drill)
    shape = plan.bit.partition(" mm ")[2]
    if bit.shape == "brad":
        shape = f"brad point {figure(bit.spur_mm, 'inch')} proud"
    return f"{size(2 * bit.radius_mm, 'inch')} {shape}"


def marks_of(plan: HolePlan, instrument: Instrument) -> tuple[data.HoleMark, ...]:
    """Holes as printed."""
    return tuple(
        data.HoleMark(
            h.id,
            h.x_mm,
            h.y_mm,
            _setting(h.setting_mm, h.method, instrument),
            h.group,
            cast(data.Method, h.method),
            cast(data.Hold, h.hold),
            h.slope_deg,
            h.leaves_mm,
            tilt_deg=h.tilt_deg,
            tilt_azimuth_deg=h.tilt_azimuth_deg,
        )
        for h in plan.holes
    )


def groups_of(plan: HolePlan, instrument: Instrument) -> tuple[data.HoleGroup, ...]:
    """Settings in drilling order."""
    return tuple(
        data.HoleGroup(
            g.key,
            _setting(g.setting_mm, g.method, instrument),
            cast(data.Method, g.method),
            cast(data.Hold, g.hold),
            bit_text(plan, instrument),
            plan.depth_to,
            g.count,
            g.leaves_min_mm,
            g.leaves_max_mm,
        )
        for g in plan.groups
    )


def bench_sheets(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    document: Mapping[str, Any],
    plans: Mapping[PlateName, HolePlan],
    sections: Sequence[data.Words],
    date: str,
) -> list[Sheet]:
    """All sheets in the order of the work: back first, then the top; reasons last."""
    sheets: list[Sheet] = []
    order: tuple[PlateName, PlateName] = ("back", "top")
    for which in order:
        head = head_of(instrument, document, which, date)
        plan = plans.get(which)
        plate = drawing_of(instrument, bodies[which], document, plan)
        if plan is not None and plan.holes:
            sheets.append(scrap_card(head, _cuts(plan, instrument), _tool(instrument)))
            sheets.append(hole_sheet(head, plate))
        sheets += [stage_sheet(head, plate), graduation_sheet(head, plate)]
    sheets.append(reasons_sheet(head_of(instrument, document, "top", date), sections))
    return sheets


def _cuts(plan: HolePlan, instrument: Instrument) -> tuple[data.ScrapCut, ...]:
    return tuple(
        data.ScrapCut(
            r.group,
            cast(data.Method, r.method),
            cast(data.Hold, r.hold),
            _setting(r.setting_mm, r.method, instrument),
            r.tilt_deg,
            r.expect_mm,
            r.tolerance_mm,
            block_mm=r.block_mm,
        )
        for r in plan_card(plan, instrument.drill)
    )


def _tool(instrument: Instrument) -> data.Tool:
    d = instrument.drill
    return data.Tool(d.bit_mm, d.bit_shape, d.rest_radius_mm, d.step_mm, d.spur_mm)
