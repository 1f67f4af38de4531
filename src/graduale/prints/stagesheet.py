"""The stage sheet: what is to be left at each station after each tool, and a small map a tool."""

from graduale.base.arrays import GridMap
from graduale.prints.bands import level_lines, levels_between
from graduale.prints.data import PageHead, PlateDrawing, Stage
from graduale.prints.figures import COARSE_STEPS_MM, UNIT_NAMES, bare, figure
from graduale.prints.flow import WIDTH_MM, heading, page_break, paragraph, table
from graduale.prints.levels import graduated_only, level_items
from graduale.prints.plates import Stand, outline_items, small_stand
from graduale.prints.sheet import Block, Group, Item, Text, TextSheet
from graduale.prints.views import side_words
from graduale.words.numbers import Units

MAP_HIGH_MM, MAP_WIDE_MM = 82.0, 46.0
NAME_MM = 44.0
SHORTEST_MM = 45.0  # shorter pieces of level lines tell nothing at this size


def stage_sheet(head: PageHead, plate: PlateDrawing) -> TextSheet:
    """Table by station and tool, then the maps, three in a row.

    Errors: ValueError when the plate has no stages.
    """
    if not plate.stages:
        raise ValueError("no stages to print")
    words = UNIT_NAMES[head.units]
    blocks = [heading(f"What is to be left after each tool ({words}, square to the surface)")]
    blocks += table(
        _columns(plate.stages, head.units),
        _rows(plate, head.units),
        12.0 if len(plate.stations) <= 20 else 10.0,
    )
    told = "Under each tool: what it leaves over the finished thickness, and its usual scatter."
    step = "0.5 mm" if head.units == "mm" else "0.02 in"
    maps = heading(f"Maps, a level line each {step}")
    blocks += [paragraph(told, size_pt=9), page_break(), maps]
    for start in range(0, len(plate.stages), 3):
        blocks.append(_map_row(head, plate, plate.stages[start : start + 3]))
    return TextSheet(head, "Stages of the work", tuple(blocks))


def _columns(stages: tuple[Stage, ...], units: Units) -> list[tuple[str, float]]:
    each = (WIDTH_MM - NAME_MM) / len(stages)
    heads = [(f"{s.tool}\n{s.over}\n± {bare(s.scatter_mm, units)}", each) for s in stages]
    return [("place", NAME_MM), *heads]


def _rows(plate: PlateDrawing, units: Units) -> list[list[str]]:
    rows = []
    for s in plate.stations:
        left = [float(stage.leave.at([(s.x_mm, s.y_mm)])[0]) for stage in plate.stages]
        rows.append([s.name, *(figure(v, units) for v in left)])
    return rows


def _map_row(head: PageHead, plate: PlateDrawing, stages: tuple[Stage, ...]) -> Block:
    items: list[Item] = []
    height = 0.0
    for k, stage in enumerate(stages):
        at = small_stand(head, plate, MAP_WIDE_MM, MAP_HIGH_MM)
        height = at.height_mm + 8.0
        left = k * (WIDTH_MM / 3) + (WIDTH_MM / 3 - at.width_mm) / 2
        items.append(Group(tuple(_small_map(at, stage.leave)), left, 0.0))
        words = f"{stage.tool} {stage.over}"
        middle = left + at.width_mm / 2
        items.append(Text(middle, height - 4.5, words, 10.5, True, "middle"))
    return Block(height, tuple(items))


def _small_map(at: Stand, leave: GridMap) -> list[Item]:
    grid = graduated_only(at, leave)
    lines = level_lines(
        grid, levels_between(grid, COARSE_STEPS_MM[at.head.units]), at.graduated, SHORTEST_MM
    )
    low, high = at.ends
    (u, v_top), (_, v_mid) = at.view.point(high, 0.0), at.view.point((low + high) / 2, 0.0)
    left, right = side_words(at.head)
    words: list[Item] = [
        Text(u, v_top + 1.0, "▲ NECK", 8, anchor="middle"),
        Text(2.6, v_mid, left, 8, anchor="middle", angle_deg=90),
        Text(at.width_mm - 0.4, v_mid, right, 8, anchor="middle", angle_deg=90),
    ]
    return [*outline_items(at, 0.35), *level_items(at, lines, 8.0, []), *words]
