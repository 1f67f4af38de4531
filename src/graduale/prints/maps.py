"""The graduation map: level lines of the thickness, numbers at the named stations."""

from graduale.base.arrays import Floats
from graduale.base.units import MM_PER_INCH, inch_from_mm
from graduale.prints.bands import level_lines, levels_between
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.figures import LEVEL_STEPS_MM, UNIT_NAMES, figure
from graduale.prints.flow import gap, heading, paragraph, table
from graduale.prints.labels import Label, Placer, Words
from graduale.prints.levels import graduated_only, level_items
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
    ring,
    text_box,
)
from graduale.prints.tiles import KEY_WIDTH_MM
from graduale.words.numbers import Units

STATION_PT, NAME_PT, LEVEL_PT = 12.0, 9.0, 9.0
HEAVY_LINES: dict[Units, tuple[str, str, float]] = {  # heaviest, next, and how far those lie apart
    "mm": ("whole millimetres", "half millimetres", 0.5),
    "inch": ("each 0.1 in", "each 0.05 in", 0.05 * MM_PER_INCH),
}


def graduation_sheet(
    head: PageHead, plate: PlateDrawing, step_mm: float | None = None
) -> PlateSheet:
    """Thickness square to the surface at true size; a level line each `step_mm`, by itself
    0.25 mm or 0.01 in."""
    step_mm = LEVEL_STEPS_MM[head.units] if step_mm is None else step_mm
    at = stand(head, plate)
    lines = _levels(at, step_mm)
    under = [*outline_items(at), *guide_items(at), *fitting_items(at)]
    names = side_items(at)
    stations = station_items(at, under, [text_box(i) for i in names if isinstance(i, Text)])
    taken = [text_box(i, 0.4) for i in stations if isinstance(i, Text)]
    taken += [(i.u - 1, i.v - 1, i.u + 1, i.v + 1) for i in stations if isinstance(i, Circle)]
    taken += [text_box(i) for i in names if isinstance(i, Text)]
    items = [*under, *level_items(at, lines, LEVEL_PT, taken), *stations, *names]
    drawing = Drawing(at.width_mm, at.height_mm, tuple(items))
    outline, centre = ring(at.outline), at.view.u0
    return PlateSheet(head, "Graduation map", drawing, _key(at, step_mm), outline, centre)


def _levels(at: Stand, step_mm: float) -> dict[float, tuple[Floats, ...]]:
    grid = graduated_only(at, at.plate.thickness)
    return level_lines(grid, levels_between(grid, step_mm), at.graduated)


def station_items(at: Stand, under: list[Item], taken: list[Box]) -> list[Item]:
    """A dot at each station, its value in bold and its name below, clear of each other."""
    marks: list[Item] = []
    labels: list[Label] = []
    for s in at.plate.stations:
        u, v = at.view.point(s.x_mm, s.y_mm)
        marks.append(Circle(u, v, 0.9, BLACK, 0.2, BLACK, tag="mark"))
        lines = (Words(figure(s.value_mm, at.head.units), STATION_PT, True), Words(s.name, NAME_PT))
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
    w, units = KEY_WIDTH_MM, at.head.units
    blocks = [heading("How to read it", w, 11)]
    told = f"Thickness in {UNIT_NAMES[units]}, measured square to the surface, as the plate is "
    told += "finished."
    blocks.append(paragraph(told, w, 9))
    whole, half, half_mm = HEAVY_LINES[units]
    blocks += [_sample(0.5, (), whole), _sample(0.3, (), half)]
    if step_mm < 0.98 * half_mm:
        step = f"{step_mm:g} mm" if units == "mm" else f"{inch_from_mm(step_mm):g} in"
        blocks.append(_sample(0.15, (), f"each {step}"))
    blocks.append(_sample(0.2, (2.5, 1.2), "edge of the platform"))
    if at.plate.rib_line is not None:
        blocks.append(_sample(0.15, (0.6, 0.9), "outside of the ribs"))
    blocks.append(_sample(0.15, (8, 1.5, 1.5, 1.5), "middle of the body"))
    if at.plate.bar is not None or at.plate.feet:
        blocks.append(_sample(0.2, (1.2, 0.8), "bar, bridge feet"))
    blocks += [gap(3.0), heading("Stations", w, 11)]
    cells = [(s.name, figure(s.value_mm, units)) for s in at.plate.stations]
    cells += [("", "")] * (len(cells) % 2)
    rows = [left + right for left, right in zip(cells[::2], cells[1::2], strict=True)]
    columns = (("place", 0.5 * w - 11), ("mm" if units == "mm" else "inch", 11.0))
    blocks += table((*columns, *columns), rows, 9, (1, 3))
    return tuple(blocks)
