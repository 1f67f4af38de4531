"""Level lines with their numbers set into breaks of the line."""

import numpy as np
from shapely import LineString, Polygon, contains_xy

from graduale.base.arrays import Floats, GridMap
from graduale.base.units import MM_PER_INCH
from graduale.prints import lettering
from graduale.prints.figures import level_words
from graduale.prints.plates import Stand
from graduale.prints.sheet import BLACK, Box, Item, Text, line, overlap, text_box
from graduale.words.numbers import Units

EVERY_MM = 150.0  # a level line is numbered again after so much


def graduated_only(at: Stand, grid: GridMap) -> GridMap:
    """The map without its gluing platform, so that lines near it follow the hollowed part alone."""
    if at.plate.platform_line is None:
        return grid
    xx, yy = np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij")
    inside = contains_xy(at.graduated, xx, yy) & np.isfinite(grid.values)
    if not inside.any():
        return grid
    return GridMap(grid.x_mm, grid.y_mm, np.where(inside, grid.values, np.nan))


def level_weight(level: float, units: Units = "mm") -> float:
    """Line width of a level in mm: whole millimetres (tenths of an inch) heaviest, halves next."""
    whole = 1.0 if units == "mm" else 0.1 * MM_PER_INCH
    for unit, width in ((whole, 0.5), (whole / 2, 0.3)):
        if abs(level / unit - round(level / unit)) < 1e-6:
            return width
    return 0.15


def level_items(
    at: Stand, lines: dict[float, tuple[Floats, ...]], size_pt: float, taken: list[Box]
) -> list[Item]:
    """The lines with numbers; `taken` are boxes that numbers keep off, new ones are added."""
    items: list[Item] = []
    numbers: list[Item] = []
    for level, parts in lines.items():
        for part in parts:
            points = at.view.page(part)
            items.append(line(points, level_weight(level, at.head.units)))
            for number in _level_numbers(at, points, (level, size_pt), taken):
                taken.append(text_box(number, 1.0))
                numbers.append(number)
    return [*items, *numbers]


def _level_numbers(
    at: Stand, points: Floats, what: tuple[float, float], taken: list[Box]
) -> list[Text]:
    """The number in a break of the line, once in each stretch of some 150 mm."""
    level, size_pt = what
    path = LineString(points)
    words = level_words(level, at.head.units)
    need = lettering.width_mm(words, size_pt) + 1.5
    stretches = max(round(path.length / EVERY_MM), 1)
    found: list[Text] = []
    for k in range(stretches if path.length > 2.5 * need else 0):
        run = (path.length * k / stretches, path.length * (k + 1) / stretches)
        best = _straightest(at, path, (*run, need), (words, size_pt), taken)
        found += [best] if best is not None else []
    return found


def _straightest(
    at: Stand,
    path: LineString,
    run: tuple[float, float, float],
    what: tuple[str, float],
    taken: list[Box],
) -> Text | None:
    low, high, need = run
    best: tuple[float, Text] | None = None
    for start in np.arange(low, high - need, 3.0):
        text, bend = _number_at(path, float(start), need, what)
        box = text_box(text, 0.3)
        spoilt = sum(overlap(box, b) for b in taken)
        if spoilt > 0 or not at.shape.contains(Polygon.from_bounds(*box)):
            continue
        if best is None or bend < best[0] - 1e-9:
            best = bend, text
    return best[1] if best else None


def _number_at(
    path: LineString, start: float, need: float, what: tuple[str, float]
) -> tuple[Text, float]:
    """The number turned along the line, and how bent and steep the line is there."""
    words, size_pt = what
    a, m, b = (path.interpolate(start + f * need) for f in (0.0, 0.5, 1.0))
    angle = float(np.degrees(np.arctan2(b.y - a.y, b.x - a.x)))
    angle = (angle + 90.0) % 180.0 - 90.0
    bend = abs((b.x - a.x) * (m.y - a.y) - (b.y - a.y) * (m.x - a.x)) / max(need, 1e-6)
    turn, drop = np.radians(angle), 0.36 * size_pt * lettering.PT_MM
    u, v = m.x + drop * float(np.sin(turn)), m.y - drop * float(np.cos(turn))
    text = Text(u, v, words, size_pt, False, "middle", angle, BLACK, backed=True, tag="level")
    return text, bend + 0.004 * abs(angle)
