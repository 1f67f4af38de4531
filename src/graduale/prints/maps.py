"""The graduation map: level lines of the thickness, numbers at the named stations."""

import numpy as np
from shapely import LineString, Polygon

from graduale.base.arrays import Floats
from graduale.prints import lettering
from graduale.prints.bands import level_lines, levels_between
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.flow import gap, heading, paragraph, table
from graduale.prints.labels import Label, Placer, Words
from graduale.prints.plates import (
    Stand,
    fitting_items,
    guide_items,
    line_geometry,
    outline_items,
    side_items,
    stand,
)
from graduale.prints.sheet import (
    BLACK,
    Block,
    Box,
    Circle,
    Drawing,
    Item,
    PlateSheet,
    Text,
    line,
    overlap,
    ring,
    text_box,
)
from graduale.prints.tiles import KEY_WIDTH_MM

STATION_PT, NAME_PT, LEVEL_PT = 12.0, 9.0, 9.0
EVERY_MM = 150.0  # a level line is numbered again after so much


def graduation_sheet(head: PageHead, plate: PlateDrawing, step_mm: float = 0.25) -> PlateSheet:
    """Thickness square to the surface at true size; a level line each `step_mm`."""
    at = stand(head, plate)
    lines = _levels(at, step_mm)
    under = [*outline_items(at), *guide_items(at), *fitting_items(at)]
    names = side_items(at)
    stations = station_items(at, under, [text_box(i) for i in names if isinstance(i, Text)])
    taken = [text_box(i, 0.4) for i in stations if isinstance(i, Text)]
    taken += [(i.u - 1, i.v - 1, i.u + 1, i.v + 1) for i in stations if isinstance(i, Circle)]
    taken += [text_box(i) for i in names if isinstance(i, Text)]
    items = [*under, *_level_items(at, lines, step_mm, taken), *stations, *names]
    drawing = Drawing(at.width_mm, at.height_mm, tuple(items))
    outline, centre = ring(at.outline), at.view.u0
    return PlateSheet(head, "Graduation map", drawing, _key(at, step_mm), outline, centre)


def _levels(at: Stand, step_mm: float) -> dict[float, tuple[Floats, ...]]:
    """Lines inside the platform only: the platform itself is not graduated."""
    area = at.area
    if at.plate.platform_line is not None:
        area = area.intersection(Polygon(at.plate.platform_line).buffer(0))
    return level_lines(at.plate.thickness, levels_between(at.plate.thickness, step_mm), area)


def level_weight(level: float, step_mm: float) -> float:
    """Line width: whole millimetres heaviest, halves next."""
    for unit, width in ((1.0, 0.5), (0.5, 0.3)):
        if abs(level / unit - round(level / unit)) < 1e-6:
            return width
    return 0.15


def _level_items(
    at: Stand, lines: dict[float, tuple[Floats, ...]], step_mm: float, taken: list[Box]
) -> list[Item]:
    items: list[Item] = []
    numbers: list[Item] = []
    for level, parts in lines.items():
        for part in parts:
            points = at.view.page(part)
            items.append(line(points, level_weight(level, step_mm)))
            for number in _level_numbers(at, points, level, taken):
                taken.append(text_box(number, 1.0))
                numbers.append(number)
    return [*items, *numbers]


def _level_numbers(at: Stand, points: Floats, level: float, taken: list[Box]) -> list[Text]:
    """The number in a break of the line, once in each stretch of some 150 mm."""
    path = LineString(points)
    words = f"{level:.2f}" if abs(level * 2 - round(level * 2)) > 1e-6 else f"{level:.1f}"
    need = lettering.width_mm(words, LEVEL_PT) + 1.5
    stretches = max(round(path.length / EVERY_MM), 1)
    found: list[Text] = []
    for k in range(stretches if path.length > 2.5 * need else 0):
        run = (path.length * k / stretches, path.length * (k + 1) / stretches)
        best = _straightest(at, path, (*run, need), words, taken)
        found += [best] if best is not None else []
    return found


def _straightest(
    at: Stand, path: LineString, run: tuple[float, float, float], words: str, taken: list[Box]
) -> Text | None:
    low, high, need = run
    best: tuple[float, Text] | None = None
    for start in np.arange(low, high - need, 3.0):
        text, bend = _number_at(path, float(start), need, words)
        box = text_box(text, 0.3)
        spoilt = sum(overlap(box, b) for b in taken)
        if spoilt > 0 or not at.shape.contains(Polygon.from_bounds(*box)):
            continue
        if best is None or bend < best[0] - 1e-9:
            best = bend, text
    return best[1] if best else None


def _number_at(path: LineString, start: float, need: float, words: str) -> tuple[Text, float]:
    a, m, b = (path.interpolate(start + f * need) for f in (0.0, 0.5, 1.0))
    angle = float(np.degrees(np.arctan2(b.y - a.y, b.x - a.x)))
    angle = (angle + 90.0) % 180.0 - 90.0
    bend = abs((b.x - a.x) * (m.y - a.y) - (b.y - a.y) * (m.x - a.x)) / max(need, 1e-6)
    turn, drop = np.radians(angle), 0.36 * LEVEL_PT * lettering.PT_MM
    u, v = m.x + drop * float(np.sin(turn)), m.y - drop * float(np.cos(turn))
    text = Text(u, v, words, LEVEL_PT, False, "middle", angle, BLACK, backed=True, tag="level")
    return text, bend + 0.004 * abs(angle)


def station_items(at: Stand, under: list[Item], taken: list[Box]) -> list[Item]:
    """A dot at each station, its value in bold and its name below, clear of each other."""
    marks: list[Item] = []
    labels: list[Label] = []
    for s in at.plate.stations:
        u, v = at.view.point(s.x_mm, s.y_mm)
        marks.append(Circle(u, v, 0.9, BLACK, 0.2, BLACK, tag="mark"))
        lines = (Words(f"{s.value_mm:.1f}", STATION_PT, True), Words(s.name, NAME_PT))
        labels.append(Label(u, v, lines, 1.0, "station"))
    boxes = taken + [(m.u - 1, m.v - 1, m.u + 1, m.v + 1) for m in marks if isinstance(m, Circle)]
    placer = Placer((0.5, 0.5, at.width_mm - 0.5, at.height_mm - 0.5), boxes, line_geometry(under))
    texts = [i for p in placer.place(labels) for i in p.items(backed=True)]
    return [*marks, *texts]


def _sample(width_mm: float, dash: tuple[float, ...], words: str) -> Block:
    items: tuple[Item, ...] = (
        line([(0, 2.2), (11, 2.2)], width_mm, dash_mm=dash),
        Text(13, 1.0, words, 9),
    )
    return Block(4.6, items)


def _key(at: Stand, step_mm: float) -> tuple[Block, ...]:
    w = KEY_WIDTH_MM
    blocks = [heading("How to read it", w, 11)]
    blocks.append(
        paragraph("Thickness in mm, measured square to the surface, as the plate is finished.", w, 9)
    )
    blocks += [_sample(0.5, (), "whole millimetres"), _sample(0.3, (), "half millimetres")]
    if step_mm < 0.49:
        blocks.append(_sample(0.15, (), f"each {step_mm:g} mm"))
    blocks.append(_sample(0.2, (2.5, 1.2), "edge of the gluing platform"))
    if at.plate.rib_line is not None:
        blocks.append(_sample(0.15, (0.6, 0.9), "outside of the ribs"))
    blocks.append(_sample(0.15, (8, 1.5, 1.5, 1.5), "middle of the body"))
    if at.plate.bar is not None or at.plate.feet:
        blocks.append(_sample(0.2, (1.2, 0.8), "bar, bridge feet"))
    blocks += [gap(3.0), heading("Stations", w, 11)]
    rows = [(s.name, f"{s.value_mm:.1f}") for s in at.plate.stations]
    blocks += table((("place", w - 12), ("mm", 12.0)), rows, 9, (1,))
    return tuple(blocks)


__all__ = ["graduation_sheet", "level_weight", "station_items"]
