"""A drawing at true size cut into pages that overlap, with marks to join them by."""

from dataclasses import dataclass
from math import ceil, hypot

from shapely import LineString, Point, Polygon
from shapely import box as shapely_box

from graduale.prints.flow import stack
from graduale.prints.frame import Page, foot_line, icon_room
from graduale.prints.sheet import (
    BLACK,
    GREY,
    PALE,
    Block,
    Box,
    Circle,
    Group,
    Item,
    Path,
    PlateSheet,
    Text,
    bounds,
    flatten,
    line,
    overlap,
    rectangle,
)

OVERLAP_MM = 16.0
KEY_WIDTH_MM, KEY_GAP_MM = 48.0, 2.0
MARK_MM = 3.0
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True)
class Grid:
    """Tile windows in the drawing's frame: `lefts` (columns), `tops` (rows, from the neck)."""

    lefts: tuple[float, ...]
    bottoms: tuple[float, ...]
    size: tuple[float, float]

    def window(self, row: int, column: int) -> Box:
        """The part of the drawing on one page."""
        u, v = self.lefts[column], self.bottoms[row]
        return u, v, u + self.size[0], v + self.size[1]


@dataclass(frozen=True)
class Tile:
    """One page of a plate sheet: its label and what stands in the page."""

    label: str
    items: tuple[Item, ...]


def tiles_of(sheet: PlateSheet, page: Page) -> tuple[tuple[Tile, ...], tuple[Block, ...]]:
    """The pages of one plate sheet, and the blocks of its key that found no room beside it."""
    grid, key_u = _grid_of(sheet, page)
    marks = _marks(sheet, grid)
    placed, left_over = _key_by_row(sheet.key, grid) if key_u is not None else ({}, sheet.key)
    tiles = []
    used = [
        (r, c)
        for r in range(len(grid.bottoms))
        for c in range(len(grid.lefts))
        if _is_used(sheet, grid.window(r, c)) or (c == 0 and r in placed)
    ]
    for row, column in used:
        key = placed.get(row, ()) if column == 0 else ()
        tiles.append(_tile(sheet, page, grid, (row, column), marks, (key, key_u or 0.0), used))
    return tuple(tiles), left_over


def _spans(length: float, room: float) -> int:
    return 1 if length <= room else ceil((length - OVERLAP_MM) / (room - OVERLAP_MM))


def _starts(count: int, room: float, low: float) -> tuple[float, ...]:
    return tuple(low + k * (room - OVERLAP_MM) for k in range(count))


def _grid_of(sheet: PlateSheet, page: Page) -> tuple[Grid, float | None]:
    """Windows, and the left edge of the key in the drawing's frame when it fits beside."""
    room_u, room_v = page.room
    width, height = sheet.drawing.width_mm, sheet.drawing.height_mm
    columns, rows = _spans(width, room_u), _spans(height, room_v)
    cover_u = columns * room_u - (columns - 1) * OVERLAP_MM
    cover_v = rows * room_v - (rows - 1) * OVERLAP_MM
    spare = cover_u - width
    need = (KEY_WIDTH_MM + KEY_GAP_MM) if sheet.key else 0.0
    before, key_u = spare / 2, None
    if columns % 2 == 0 and sheet.centre_u is not None:
        before = min(max(cover_u / 2 - sheet.centre_u, 0.0), spare)
    if sheet.key and spare >= need:
        before = max(before, need)
        key_u = -before
    lefts = _starts(columns, room_u, -before)
    bottoms = _starts(rows, room_v, -(cover_v - height) / 2)
    return Grid(lefts, tuple(reversed(bottoms)), (room_u, room_v)), key_u


def _is_used(sheet: PlateSheet, window: Box) -> bool:
    pane = shapely_box(*window)
    for item in flatten(sheet.drawing.items):
        if overlap(bounds(item), window) <= 0 and not isinstance(item, Path):
            continue
        if isinstance(item, Path):
            if any(LineString(r).intersects(pane) for r in item.rings if len(r) > 1):
                return True
        elif isinstance(item, Circle):
            if Point(item.u, item.v).buffer(item.radius_mm).intersects(pane):
                return True
        else:
            return True
    return False


def _key_by_row(
    key: tuple[Block, ...], grid: Grid
) -> tuple[dict[int, tuple[Block, ...]], tuple[Block, ...]]:
    """Blocks of the key dealt to the rows from the top; what is over is returned."""
    waiting, placed = list(key), {}
    rows = len(grid.bottoms)
    for row in range(rows):
        room = grid.size[1] - OVERLAP_MM * ((row > 0) + (row < rows - 1))
        mine: list[Block] = []
        while waiting and sum(b.height_mm for b in mine) + waiting[0].height_mm <= room:
            mine.append(waiting.pop(0))
        if mine:
            placed[row] = tuple(mine)
    return placed, tuple(waiting)


@dataclass(frozen=True)
class _Mark:
    letter: str
    u: float
    v: float
    upright: bool  # the seam runs up the page


def _seams(grid: Grid) -> list[tuple[bool, float, float, float]]:
    """(upright, place of the seam, from, to) for each piece of seam between two pages."""
    room_u, room_v = grid.size
    seams = []
    for v in grid.bottoms[:-1]:
        for u in grid.lefts:
            seams.append((False, v + OVERLAP_MM / 2, u, u + room_u))
    for u in grid.lefts[1:]:
        for v in grid.bottoms:
            seams.append((True, u + OVERLAP_MM / 2, v, v + room_v))
    return seams


def _marks(sheet: PlateSheet, grid: Grid) -> tuple[_Mark, ...]:
    taken = [
        bounds(i)
        for i in flatten(sheet.drawing.items)
        if isinstance(i, Text) or (isinstance(i, Path | Circle) and i.tag == "mark")
    ]
    body = Polygon(sheet.outline) if sheet.outline else Polygon()
    marks: list[_Mark] = []
    for upright, place, low, high in _seams(grid):
        for end, step in ((low + 6.0, 2.0), (high - 6.0, -2.0)):
            at = _free_place(upright, place, (end, step, (high - low) / 2), (taken, body))
            u, v = (place, at) if upright else (at, place)
            if any(hypot(u - m.u, v - m.v) < 30.0 for m in marks):
                continue
            marks.append(_Mark(LETTERS[len(marks) % len(LETTERS)], u, v, upright))
            taken.append((u - 6, v - 6, u + 6, v + 6))
    return tuple(marks)


def _free_place(
    upright: bool,
    place: float,
    run: tuple[float, float, float],
    busy: tuple[list[Box], Polygon],
) -> float:
    """From the end inward the first place off the plate that is free; else the first free one."""
    end, step, reach = run
    taken, body = busy
    for off_plate in (True, False):
        for k in range(int(reach / abs(step))):
            at = end + k * step
            u, v = (place, at) if upright else (at, place)
            pane = (u - 5.5, v - 5.5, u + 5.5, v + 5.5)
            if any(overlap(pane, b) > 0 for b in taken):
                continue
            if not (off_plate and shapely_box(*pane).intersects(body)):
                return at
    return end


def _mark_items(mark: _Mark) -> tuple[Item, ...]:
    u, v, r = mark.u, mark.v, MARK_MM
    cross = Path((((u - 5, v), (u + 5, v)), ((u, v - 5), (u, v + 5))), width_mm=0.15, tag="join")
    return (
        Circle(u, v, r, width_mm=0.15, tag="join"),
        cross,
        Text(u + 1.9, v + 2.4, mark.letter, 9, bold=True),
    )


def _seam_lines(grid: Grid) -> tuple[Item, ...]:
    lines: list[Item] = []
    for upright, place, low, high in _seams(grid):
        ends = [(place, low), (place, high)] if upright else [(low, place), (high, place)]
        lines.append(line(ends, 0.15, stroke=GREY, dash_mm=(4.0, 2.0)))
    return tuple(lines)


def _tile(
    sheet: PlateSheet,
    page: Page,
    grid: Grid,
    at: tuple[int, int],
    marks: tuple[_Mark, ...],
    key: tuple[tuple[Block, ...], float],
    used: list[tuple[int, int]],
) -> Tile:
    row, column = at
    window, pane = grid.window(row, column), page.window
    du, dv = pane[0] - window[0], pane[1] - window[1]
    inside = [m for m in marks if window[0] < m.u < window[2] and window[1] < m.v < window[3]]
    drawn = [*_seam_lines(grid), *sheet.drawing.items]
    drawn += [i for m in inside for i in _mark_items(m)]
    items: list[Item] = [Group(tuple(drawn), du, dv, pane)]
    if key[0]:
        drop = OVERLAP_MM if row > 0 else 0.0
        items += stack(key[0], key[1] + du, pane[3] - drop)[0]
    items += _page_map(sheet, page, grid, at, used)
    if inside:
        letters = ", ".join(sorted(m.letter for m in inside))
        items.append(foot_line(page, f"Join at {letters}: cut on the dashed line, marks on marks."))
    parts = [f"row {row + 1} of {len(grid.bottoms)}"]
    if len(grid.lefts) > 1:
        parts.append(f"column {column + 1} of {len(grid.lefts)}")
    return Tile(", ".join(parts), tuple(items))


def _page_map(
    sheet: PlateSheet, page: Page, grid: Grid, at: tuple[int, int], used: list[tuple[int, int]]
) -> list[Item]:
    """The small diagram of all pages of this sheet, this one shaded."""
    u0, v0, u1, v1 = icon_room(page)
    low_u, low_v = grid.lefts[0], grid.bottoms[-1]
    wide = grid.lefts[-1] + grid.size[0] - low_u
    high = grid.bottoms[0] + grid.size[1] - low_v
    k = min((u1 - u0) / wide, (v1 - v0) / high)
    left = u1 - wide * k

    def small(u: float, v: float) -> tuple[float, float]:
        return left + (u - low_u) * k, v0 + (v - low_v) * k

    items: list[Item] = []
    for row, column in used:
        a, b, c, d = grid.window(row, column)
        here = PALE if (row, column) == at else None
        box = (*small(a, b), *small(c, d))
        items.append(rectangle(box, stroke=GREY, width_mm=0.15, fill=here))
    if sheet.outline:
        points = tuple(small(u, v) for u, v in sheet.outline)
        items.append(Path((points,), BLACK, 0.2, closed=True))
    return items
