"""Alternatives beside a decision: small maps of both plates, and a row of bars for each."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from shapely import LineString

from graduale.base.arrays import Floats
from graduale.prints import lettering
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.figures import shown
from graduale.prints.flow import stack
from graduale.prints.frame import Page, framed_both
from graduale.prints.pictures import Shapes, band_shapes, shape_items
from graduale.prints.plates import SMALL_SIDE_MM, SMALL_TOP_MM, Stand, outline_items, small_stand
from graduale.prints.shades import VIRIDIS, Scale
from graduale.prints.sheet import (
    BLACK,
    DARK,
    GREY,
    PALE,
    WHITE,
    Block,
    Drawing,
    Group,
    Item,
    Path,
    Text,
    line,
    rectangle,
    ring,
)

WIDE_MM, EDGE_MM = 178.0, 5.0
ROW_MM, SIZE_PT, SMALL_PT = 5.1, 9.0, 8.5
NAME_MM, MASS_MM, SAG_MM, LANE_MM = 42.5, 35.5, 21.5, 10.2
_FIGURE_MM = 9.5  # room for a figure behind its bar
_MOST_RESERVE = 2.0  # a lane ends here
_BACK = "#b0b0b0"
_HIGH_MM = (46.0, 40.0, 35.0, 30.0, 26.0, 23.0, 20.0)  # plates, the largest for which all fits
_PLAIN_MM = 0.15
_BOX_MM, _LETTER_MM, _GAP_MM = 9.6, 2.4, 4.0


@dataclass(frozen=True, eq=False)
class MapCell:
    """One map: its name, both plates as drawn, whether it holds."""

    name: str
    top: PlateDrawing
    back: PlateDrawing
    safe: bool

    @property
    def plates(self) -> tuple[PlateDrawing, PlateDrawing]:
        """As they stand side by side."""
        return self.top, self.back


@dataclass(frozen=True)
class Row:
    """One alternative as bars; reserves in the order of the lanes, None where there is none.

    `note` stands instead of the bars (it does not fit).
    """

    name: str
    first: bool = False
    begins: bool = False  # a group of alternatives
    indented: bool = False
    top_g: float = 0.0
    back_g: float = 0.0
    sag_mm: float = 0.0
    sag: str = ""
    reserves: tuple[float | None, ...] = ()
    figures: tuple[str, ...] = ()  # the reserves in words
    safe: bool = True
    note: str = ""


@dataclass(frozen=True, eq=False)
class Board:
    """All that the picture and the page show."""

    heads: tuple[PageHead, PageHead]  # of top and back
    title: str
    scale: Scale
    maps: tuple[MapCell, ...]
    rows: tuple[Row, ...]
    lanes: tuple[str, ...]
    notes: tuple[str, ...]
    words: tuple[str, str, str, str]  # heading of the maps, of the bars; mass, sag
    not_safe: str

    @cached_property
    def shapes(self) -> tuple[tuple[tuple[Shapes, ...], ...], ...]:
        """Bands of every map, top and back, cut once for all sizes."""
        return tuple(
            tuple(_shapes(h, p, self.scale) for h, p in zip(self.heads, cell.plates, strict=True))
            for cell in self.maps
        )


def _shapes(head: PageHead, plate: PlateDrawing, scale: Scale) -> tuple[Shapes, ...]:
    """Bands of one plate, with no more points than a small drawing shows."""
    at = small_stand(head, plate, 20.0, 40.0)
    return tuple(
        Shapes(
            tuple((colour, tuple(plain(r) for r in rings)) for colour, rings in part.fills),
            part.lines,
        )
        for part in band_shapes(at, shown(plate.thickness, head.units), scale)
    )


def plain(points: ArrayLike) -> Floats:
    """A closed ring (k, 2) of the body frame without points that move it by less than 0.15 mm."""
    closed = np.asarray(points, dtype=np.float64)
    line_ = LineString(np.concatenate([closed, closed[:1]])).simplify(_PLAIN_MM)
    return np.asarray(line_.coords)[:-1]


def alternatives_picture(board: Board) -> Drawing:
    """The picture: title, maps, rows."""
    blocks = [*_titles(board), *_blocks(board, _HIGH_MM[0])]
    height = sum(b.height_mm for b in blocks) + 2 * EDGE_MM
    items = stack(blocks, EDGE_MM, height - EDGE_MM)[0]
    return Drawing(WIDE_MM + 2 * EDGE_MM, height, tuple(items))


def alternatives_pages(board: Board, page: Page) -> tuple[Drawing, ...]:
    """One page; the rows run on to further pages only when there are very many."""
    head = board.heads[0]
    told = (board.title, f"{head.date} · decision {head.digest}")
    room = page.room[1]
    rest = sum(b.height_mm for b in _blocks(board, None))
    high = next((h for h in _HIGH_MM if rest + _gallery_mm(board, h) <= room), _HIGH_MM[-1])
    blocks = _blocks(board, high)
    pages: list[list[Block]] = [[]]
    for block in blocks:
        if sum(b.height_mm for b in pages[-1]) + block.height_mm > room:
            pages.append([])
        pages[-1].append(block)
    u0, _, _, v1 = page.window
    return tuple(
        framed_both(page, head.instrument, told, head.units, tuple(stack(p, u0, v1)[0]))
        for p in pages
    )


def _blocks(board: Board, high_mm: float | None) -> list[Block]:
    """Everything, with plates `high_mm` high at most (None: without the maps)."""
    return [
        _maps_head(board),
        *([] if high_mm is None else _gallery(board, high_mm)),
        _chart_head(board),
        *(_row(board, r) for r in board.rows),
        *_notes(board),
    ]


def _gallery_mm(board: Board, high_mm: float) -> float:
    return sum(max(p.high_mm for p in row) for row in _gallery_rows(board, high_mm))


def _titles(board: Board) -> list[Block]:
    head = board.heads[0]
    name = lettering.wrap(head.instrument, WIDE_MM, 12, True)[0]
    line_ = f"{board.title} · {head.date} · decision {head.digest}"
    return [Block(13.0, (Text(0, 7.5, name, 12, True), Text(0, 2.5, line_, SIZE_PT)))]


def _maps_head(board: Board) -> Block:
    """Heading of the maps, with the scale beside it."""
    items: list[Item] = [Text(0, 6.6, board.words[0], 10, True)]
    told = lettering.wrap(board.words[1], WIDE_MM - 8 * _BOX_MM - 16.0, SMALL_PT)
    items += [Text(0, 2.4 - 3.6 * k, w, SMALL_PT) for k, w in enumerate(told)]
    start = WIDE_MM - 8 * _BOX_MM - 10.0
    for k, colour in enumerate(VIRIDIS):
        box = (start + k * _BOX_MM, 5.6, start + (k + 1) * _BOX_MM, 9.2)
        items.append(rectangle(box, width_mm=0.15, fill=colour))
    for k, words in enumerate(board.scale.words()):
        items.append(Text(start + k * _BOX_MM, 1.8, words, SMALL_PT, anchor="middle"))
    items.append(Text(WIDE_MM, 6.2, board.scale.unit, SMALL_PT, anchor="end"))
    return Block(10.0, tuple(items))


def _gallery(board: Board, high_mm: float) -> list[Block]:
    """The maps in rows, both plates side by side; B and T on the bass and treble sides."""
    blocks = []
    for places in _gallery_rows(board, high_mm):
        high = max(p.high_mm for p in places)
        items = [
            Group(tuple(_cell(board, p)), n * places[0].wide_mm, high - p.high_mm)
            for n, p in enumerate(places)
        ]
        blocks.append(Block(high, tuple(items)))
    return blocks


@dataclass(frozen=True, eq=False)
class _Place:
    """Where the k-th map stands: both plates at their scale, lines of its name, its foot."""

    k: int
    wide_mm: float
    stands: tuple[Stand, Stand]
    names: tuple[str, ...]
    foot_mm: float

    @property
    def high_mm(self) -> float:
        """Plates, name and mark."""
        return self.foot_mm + max(at.height_mm for at in self.stands) - SMALL_TOP_MM + 3.0


def _gallery_rows(board: Board, high_mm: float) -> list[list[_Place]]:
    count = len(board.maps)
    columns = count if count <= 4 else -(-count // 2)
    wide = WIDE_MM / columns
    places = [_place(board, k, wide, high_mm) for k in range(count)]
    return [places[start : start + columns] for start in range(0, count, columns)]


def _place(board: Board, k: int, wide: float, high_mm: float) -> _Place:
    cell = board.maps[k]
    names = lettering.wrap(cell.name, wide - 2.0, SMALL_PT, True)
    if len(names) > 1:  # better broken between two wishes than before a unit
        names = [w for p in cell.name.split(", ") for w in lettering.wrap(p, wide, SMALL_PT, True)]
    foot = 3.6 * len(names) + (0.0 if cell.safe else 4.2)
    top, back = (
        small_stand(h, p, (wide - 4 * _LETTER_MM - _GAP_MM) / 2, high_mm)
        for h, p in zip(board.heads, cell.plates, strict=True)
    )
    return _Place(k, wide, (top, back), tuple(names), foot)


def _cell(board: Board, place: _Place) -> list[Item]:
    """One map: plates, letters of the sides, name, the mark."""
    stands, foot, middle = place.stands, place.foot_mm, place.wide_mm / 2
    inner = [at.width_mm - 2 * SMALL_SIDE_MM for at in stands]
    lefts = (middle - _LETTER_MM - inner[0], middle + _LETTER_MM)
    items: list[Item] = []
    for at, left, shapes in zip(stands, lefts, board.shapes[place.k], strict=True):
        drawn = [*shape_items(at, shapes, 0.07), *outline_items(at, 0.25), *_bar(at)]
        items.append(Group(tuple(drawn), left - SMALL_SIDE_MM, foot))
    v = foot + stands[0].view.point(sum(stands[0].ends) / 2, 0.0)[1] - 1.0
    outer, between = ("T", "B") if stands[0].view.sign > 0 else ("B", "T")
    at_u = (lefts[0] - _LETTER_MM, middle, lefts[1] + inner[1] + _LETTER_MM)
    for u, letter in zip(at_u, (outer, between, outer), strict=True):
        items.append(Text(u, v, letter, SMALL_PT, anchor="middle"))
    for n, words in enumerate(place.names):
        items.append(Text(middle, foot - 3.0 - 3.6 * n, words, SMALL_PT, True, "middle"))
    if not board.maps[place.k].safe:
        items.append(_black_words(middle, 1.0, board.not_safe))
    return items


def _bar(at: Stand) -> list[Item]:
    if at.plate.bar is None:
        return []
    return [Path((ring(at.view.page(at.plate.bar)),), BLACK, 0.15, closed=True)]


def _black_words(u: float, v: float, words: str) -> Group:
    """White words on black, about (u, v)."""
    long = lettering.width_mm(words, SMALL_PT, True)
    box = (u - long / 2 - 0.8, v - 0.9, u + long / 2 + 0.8, v + 3.0)
    return Group(
        (
            rectangle(box, stroke=None, fill=BLACK),
            Text(u, v, words, SMALL_PT, True, "middle", colour=WHITE),
        )
    )


def _lane(k: int) -> float:
    return NAME_MM + MASS_MM + SAG_MM + k * LANE_MM


def _chart_head(board: Board) -> Block:
    mass, sag = board.words[2], board.words[3]
    items: list[Item] = [
        Text(NAME_MM, 1.6, mass, SMALL_PT),
        Text(NAME_MM + MASS_MM, 1.6, sag, SMALL_PT),
    ]
    for k, words in enumerate(board.lanes):
        parts = words.split("\n")
        for n, part in enumerate(reversed(parts)):
            items.append(
                Text(_lane(k) + LANE_MM / 2, 1.6 + 3.5 * n, part, SMALL_PT, anchor="middle")
            )
    items.append(line([(0, 0), (WIDE_MM, 0)], 0.3))
    return Block(8.6, tuple(items))


def _row(board: Board, row: Row) -> Block:
    indent = 4.0 if row.indented else 0.0
    name = lettering.wrap(row.name, NAME_MM - 1.0 - indent, SIZE_PT, row.first)[0]
    items: list[Item] = [Text(indent, 1.4, name, SIZE_PT, row.first)]
    if row.note:
        note = lettering.wrap(row.note, WIDE_MM - NAME_MM, SMALL_PT)[0]
        items.append(Text(NAME_MM, 1.4, note, SMALL_PT, colour=DARK))
    else:
        items += [*_mass(board, row), *_sag(board, row), *_reserves(row)]
        if not row.safe:
            end = _lane(len(board.lanes)) + 1.2
            items.append(Text(end, 1.4, board.not_safe, SMALL_PT, True))
    items.append(line([(0, 0), (WIDE_MM, 0)], 0.1, stroke=GREY))
    if row.begins:
        items.append(line([(0, ROW_MM), (WIDE_MM, ROW_MM)], 0.3))
    return Block(ROW_MM, tuple(items))


def _first(board: Board) -> Row:
    return next(r for r in board.rows if r.first)


def _mass(board: Board, row: Row) -> list[Item]:
    long = MASS_MM - _FIGURE_MM - 2.0
    most = max(r.top_g + r.back_g for r in board.rows)
    ends = [NAME_MM + long * g / most for g in (row.top_g, row.top_g + row.back_g)]
    was = _first(board)
    at = NAME_MM + long * (was.top_g + was.back_g) / most
    return [
        rectangle((NAME_MM, 0.9, ends[0], 4.2), width_mm=0.1, fill=DARK),
        rectangle((ends[0], 0.9, ends[1], 4.2), width_mm=0.1, fill=_BACK),
        line([(at, 0.0), (at, ROW_MM)], 0.35),
        Text(NAME_MM + long + 1.0, 1.4, f"{row.top_g + row.back_g:.1f}", SMALL_PT),
    ]


def _sag(board: Board, row: Row) -> list[Item]:
    left, long = NAME_MM + MASS_MM, SAG_MM - _FIGURE_MM - 2.0
    most = max(max(r.sag_mm for r in board.rows), 1e-9)
    at = left + long * max(_first(board).sag_mm, 0.0) / most
    return [
        rectangle(
            (left, 0.9, left + long * max(row.sag_mm, 0.0) / most, 4.2), width_mm=0.1, fill=PALE
        ),
        line([(at, 0.0), (at, ROW_MM)], 0.35),
        Text(left + long + 1.0, 1.4, row.sag, SMALL_PT),
    ]


def _reserves(row: Row) -> list[Item]:
    """A lane each: a pale bar that reaches the limit line or passes it; black where it fails."""
    items: list[Item] = []
    for k, reserve in enumerate(row.reserves):
        left, wide = _lane(k) + 0.5, LANE_MM - 1.0
        told = row.figures[k]
        middle = left + wide / 2
        if reserve is None:
            items.append(Text(middle, 1.4, "–", SMALL_PT, anchor="middle"))
            continue
        if reserve < 1.0:
            items.append(rectangle((left, 0.5, left + wide, 4.6), stroke=None, fill=BLACK))
            items.append(Text(middle, 1.4, told, SMALL_PT, True, "middle", colour=WHITE))
            continue
        end = left + wide * min(reserve, _MOST_RESERVE) / _MOST_RESERVE
        items.append(rectangle((left, 0.5, end, 4.6), stroke=None, fill="#dcdcdc"))
        for low, high in ((0.0, 1.0), (ROW_MM - 1.0, ROW_MM)):  # the limit, clear of the figure
            items.append(line([(middle, low), (middle, high)], 0.4))
        items.append(Text(middle, 1.4, told, SMALL_PT, anchor="middle"))
    return items


def _notes(board: Board) -> list[Block]:
    rows = [w for n in board.notes for w in lettering.wrap(n, WIDE_MM, SMALL_PT)]
    height = 3.8 * len(rows) + 1.5
    items = tuple(Text(0, height - 1.0 - 3.8 * (k + 0.8), w, SMALL_PT) for k, w in enumerate(rows))
    return [Block(height, items)]
