"""The guide-hole sheet: pasted inside the plate, a cross-hair and a setting at every hole."""

import numpy as np
from shapely import LineString, Point, Polygon, get_parts
from shapely import box as shapely_box
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, polylabel

from graduale.base.arrays import Floats
from graduale.prints import lettering
from graduale.prints.data import HoleGroup, PageHead, PlateDrawing, Zone
from graduale.prints.figures import UNIT_NAMES, figure
from graduale.prints.flow import gap, heading, paragraph
from graduale.prints.hatch import borders, even_odd, hatched, union
from graduale.prints.holemarks import MEANING, holes_with_settings, letter, setting_words
from graduale.prints.labels import areas
from graduale.prints.marks import hole_mark
from graduale.prints.plates import (
    Stand,
    centre_line,
    line_geometry,
    outline_items,
    side_items,
    stand,
)
from graduale.prints.sheet import (
    BLACK,
    DARK,
    GREY,
    Block,
    Box,
    Drawing,
    Group,
    Item,
    Path,
    PlateSheet,
    Text,
    bounds,
    line,
    overlap,
    ring,
    text_box,
)
from graduale.prints.tiles import KEY_WIDTH_MM
from graduale.words.numbers import Units

ZONE_PT, ZONE_MM = 9.0, 3.6  # size of a zone's name, pitch of its lines
SEAM_MM = 9.0  # names keep off the middle, where two pages are joined
LEADER_MM = 40.0  # a zone farther off is named in the key alone


def hole_sheet(head: PageHead, plate: PlateDrawing) -> PlateSheet:
    """Guide holes at true size, keep-out zones hatched, groups in the order of drilling."""
    at = stand(head, plate)
    zones, zone_area = _zone_items(at)
    edges = outline_items(at, 0.6)
    sides = side_items(at)
    side_boxes = [text_box(s, 0.5) for s in sides if isinstance(s, Text)]
    marks, labels = holes_with_settings(at, side_boxes, line_geometry(edges))
    boxes = [bounds(m) for m in marks]
    seam = (0.0, at.height_mm / 2 - SEAM_MM, at.width_mm, at.height_mm / 2 + SEAM_MM)
    taken = boxes + side_boxes + [p.box for p in labels] + [seam]
    names = _zone_names(at, taken)
    texts = [i for p in labels for i in p.items(backed=True)]
    items = (*zones, *edges, centre_line(at), *texts, *marks, *names, *sides)
    drawing = Drawing(at.width_mm, at.height_mm, items)
    bare = any(len(p.label.lines) == 1 for p in labels)
    key = _key(plate, zone_area.is_empty, bare, head.units)
    title = "Guide holes, paste inside"
    return PlateSheet(head, title, drawing, key, ring(at.outline), at.view.u0)


def _zone_shape(at: Stand, zone: Zone) -> BaseGeometry:
    area = even_odd(tuple(at.view.page(r) for r in zone.rings))
    return area.intersection(at.shape)


def _zone_items(at: Stand) -> tuple[list[Item], BaseGeometry]:
    area = union([_zone_shape(at, z) for z in at.plate.zones])
    items: list[Item] = []
    lines = hatched(area)
    if lines is not None:
        items.append(lines)
        items.append(Path(tuple(ring(b) for b in borders(area)), GREY, 0.15, closed=True))
    return items, area


def _zone_names(at: Stand, taken: list[Box]) -> list[Item]:
    """Each zone's name once: inside it where there is room, else outside the plate on a leader."""
    items: list[Item] = []
    told: set[str] = set()
    for zone in at.plate.zones:
        shape = _zone_shape(at, zone)
        if shape.is_empty or zone.name in told:
            continue
        told.add(zone.name)
        found = _inside(zone.name, shape, taken) or _outside(at, zone.name, shape, taken)
        items += found
        taken += [text_box(i, 0.4) for i in found if isinstance(i, Text)]
    return items


def _inside(name: str, shape: BaseGeometry, taken: list[Box]) -> list[Item]:
    parts = [p for p in get_parts(shape) if isinstance(p, Polygon)]
    biggest = max(parts, key=lambda p: p.area)
    spot = polylabel(biggest, 0.5)
    for angle in (0.0, 90.0):
        text = _centred(spot.x, spot.y, name, angle)
        box = text_box(text, 0.3)
        clear = not any(overlap(box, b) > 0 for b in taken)
        if clear and biggest.buffer(0.6).contains(shapely_box(*box)):
            return [text]
    return []


def _centred(u: float, v: float, name: str, angle: float) -> Text:
    drop = 0.38 * ZONE_PT * lettering.PT_MM
    du, dv = (drop, 0.0) if angle else (0.0, -drop)
    return Text(u + du, v + dv, name, ZONE_PT, True, "middle", angle, DARK, True, "zone")


def _outside(at: Stand, name: str, shape: BaseGeometry, taken: list[Box]) -> list[Item]:
    """The cheapest free place just outside the outline, with a leader into the zone."""
    rim = LineString([*at.outline, at.outline[0]])
    boxes = np.array(taken, dtype=np.float64).reshape(-1, 4)
    core = shape.buffer(-1.2)
    target = core if not core.is_empty else shape
    middle = at.shape.centroid.x
    best: tuple[float, list[Item]] | None = None
    for wide in (60.0, 26.0, 16.0):
        words = lettering.wrap(name, wide, ZONE_PT, True)
        size = (max(lettering.width_mm(w, ZONE_PT, True) for w in words), ZONE_MM * len(words))
        for place in np.arange(0.0, rim.length, 8.0):
            near = rim.interpolate(float(place))
            for off in (5.0, 9.0, 14.0):
                box = _box_beside((near.x, near.y), off, size, middle)
                found = _try(at, words, target, box, boxes)
                if found is None:
                    continue
                cost = found[0] + 2.0 * len(words)
                if best is None or cost < best[0] - 1e-9:
                    best = cost, found[1]
    return best[1] if best else []


def _box_beside(
    near: tuple[float, float], off: float, size: tuple[float, float], middle: float
) -> Box:
    u, v = near
    width, high = size
    left = u - off - width if u < middle else u + off
    return left, v - high / 2, left + width, v + high / 2


def _try(
    at: Stand, words: list[str], target: BaseGeometry, box: Box, taken: Floats
) -> tuple[float, list[Item]] | None:
    """Cost and items of a name in `box` with its leader into `target`; None where it cannot be."""
    u0, v0, u1, v1 = at.bounds
    if box[0] < u0 or box[1] < v0 or box[2] > u1 or box[3] > v1:
        return None
    if areas(taken, box, 0.0).any() or at.shape.distance(shapely_box(*box)) < 1.0:
        return None
    v = (box[1] + box[3]) / 2
    right = box[0] > at.view.u0
    start = (box[0] - 0.5, v) if right else (box[2] + 0.5, v)
    end: Point = nearest_points(target, Point(start))[0]
    leader = LineString([start, (end.x, end.y)])
    if leader.length > LEADER_MM:
        return None
    low_u, low_v, high_u, high_v = leader.bounds
    near = taken[areas(taken, (low_u, low_v, high_u, high_v), 0.05) > 0]
    cost = leader.length + sum(6.0 * leader.intersection(shapely_box(*b)).length for b in near)
    items: list[Item] = [line([start, (end.x, end.y)], 0.13, stroke=DARK)]
    for k, w in enumerate(words):
        base = box[3] - ZONE_MM * (k + 1) + 0.8
        at_u, anchor = (box[0], "start") if right else (box[2], "end")
        items.append(Text(at_u, base, w, ZONE_PT, True, anchor, colour=DARK, tag="zone"))  # type: ignore[arg-type]
    return cost, items


def _key(plate: PlateDrawing, no_zones: bool, bare: bool, units: Units) -> tuple[Block, ...]:
    w = KEY_WIDTH_MM
    blocks = [heading("Set the drill so", w, 11)]
    used = sorted({letter(g) for g in plate.groups}, key=list(MEANING).index)
    blocks += [paragraph(MEANING[k], w, 9) for k in used]
    if any(h.tilt_deg > 0 for h in plate.holes):
        degrees = "" if bare else " and degrees"
        blocks.append(paragraph(f"Arrow{degrees}: this side of the plate goes down.", w, 9))
    if bare:
        told = "The holes stand close: their numbers and tilts are in the hole list."
        blocks.append(paragraph(told, w, 9))
    for bit in sorted({g.bit for g in plate.groups}):
        ends = ", ".join(sorted({g.depth_to for g in plate.groups if g.bit == bit}))
        blocks.append(paragraph(f"Bit: {bit}; set to its {ends}", w, 9))
    if units == "inch":
        blocks.append(paragraph("Beside a hole without the zero: .158 is 0.158 in.", w, 9))
    blocks.append(
        paragraph(f"Settings in {UNIT_NAMES[units]}. Drill the groups in this order:", w, 9)
    )
    for k, group in enumerate(plate.groups):
        blocks.append(_group_block(k, group, units))
    if not no_zones:
        names = "; ".join(dict.fromkeys(z.name for z in plate.zones))
        blocks += [gap(2.0), _hatch_sample(), paragraph(f"Drill nowhere in it: {names}.", w, 9)]
    return tuple(blocks)


def _group_block(k: int, g: HoleGroup, units: Units) -> Block:
    leaves = figure(g.leaves_min_mm, units)
    if g.leaves_max_mm - g.leaves_min_mm > 0.05:
        leaves += f"–{figure(g.leaves_max_mm, units)}"
    holes = "1 hole" if g.count == 1 else f"{g.count} holes"
    first = Text(12.5, 6.2, setting_words(g), 12, True)
    items: list[Item] = [Text(0.0, 6.2, g.key, 11, True), *hole_mark(8.2, 7.6, k, tag="key"), first]
    wide = lettering.width_mm(first.words, 12, True) if units == "inch" else 0.0
    items.append(Text(max(28.5, 14.5 + wide), 6.2, holes, 9.5))
    items.append(Text(12.5, 1.8, f"leaves {leaves}", 9))
    rows = lettering.wrap(g.note, KEY_WIDTH_MM - 12.5, 9) if g.note else []
    low = 4.2 * len(rows)
    moved_up: list[Item] = [Group(tuple(items), 0.0, low)]
    told = [Text(12.5, low - 2.4 - 4.2 * k, w, 9) for k, w in enumerate(rows)]
    return Block(11.2 + low, (*moved_up, *told))


def _hatch_sample() -> Block:
    box = shapely_box(0, 0.5, 11, 5.5)
    lines = hatched(box)
    items: list[Item] = [lines] if lines is not None else []
    items.append(Path((ring(np.asarray(box.exterior.coords)[:-1]),), GREY, 0.15, closed=True))
    return Block(7.0, (*items, Text(13, 2.0, "keep out", 10, True, colour=BLACK)))
