"""The scrap-block test card: drill a block at the same tilt first, measure, correct the setting."""

from math import cos, hypot, radians, sin, tan

from shapely import Polygon, box

from graduale.prints.data import PageHead, ScrapCut, Tool
from graduale.prints.flow import WIDTH_MM, gap, heading, paragraph, table
from graduale.prints.hatch import borders, hatched
from graduale.prints.holesheet import LETTER, MEANING
from graduale.prints.sheet import (
    BLACK,
    GREY,
    WHITE,
    Block,
    Circle,
    Group,
    Item,
    Path,
    Point,
    Text,
    TextSheet,
    line,
    ring,
)

FIGURE_W, FIGURE_H = 84.0, 66.0
BITS = {
    "point118": "118° point",
    "flat": "flat end",
    "ball": "ball nose",
    "brad": "brad point",
}
STEPS = (
    "- Plane a block of the same wood to an even thickness, 12 mm or more. Clamp it at the tilt "
    "given in the line: that is the slope of the outside at the hole.",
    "- Set the drill to the number, drill, measure what is left, square to the block's outside.",
    "- Left more than asked: keep the setting, or mend it by the difference. Left less: do not "
    "drill the plate; raise the rest gap (or lower the collar depth) by the difference, try again.",
    "- Write down the corrected setting; use it for the whole group.",
)


def scrap_card(
    head: PageHead, cuts: tuple[ScrapCut, ...], tool: Tool, notes: tuple[str, ...] = ()
) -> TextSheet:
    """Card with one line a cut and room to write; a drawing for each way of drilling in `cuts`."""
    bit = f"Bit {tool.bit_mm:g} mm, {BITS[tool.bit_shape]}"
    bit += f"; rest tip radius {tool.rest_radius_mm:g} mm"
    spur = f"; spur {tool.spur_mm:g} mm proud" if tool.spur_mm > 0 else ""
    blocks = [heading("Try the settings on a scrap block first")]
    blocks += [paragraph(s) for s in STEPS]
    blocks += [paragraph(f"{bit}{spur}; the setting can be read to {tool.step_mm:g} mm.")]
    blocks += [paragraph(n) for n in notes]
    blocks += [gap(2.0), _figures(cuts, tool), gap(2.0)]
    blocks += table(COLUMNS, [_row(c) for c in cuts], 10, (2,))
    ways = sorted({LETTER[(c.method, c.hold)] for c in cuts}, key=list(MEANING).index)
    blocks += [gap(2.0), *(paragraph(f"{MEANING[w]}.", size_pt=9) for w in ways)]
    return TextSheet(head, "Test card", tuple(blocks))


COLUMNS = (
    ("group", 15.0),
    ("how", 37.0),
    ("setting mm", 22.0),
    ("block tilted", 22.0),
    ("should leave mm", 28.0),
    ("left mm", 22.0),
    ("corrected", 26.0),
)


def _row(cut: ScrapCut) -> tuple[str, ...]:
    how = "on the rest" if cut.method == "rest" else "with the collar"
    tilt = f"{cut.tilt_deg:.0f}°"
    expect = f"{cut.expect_mm:.1f} ± {cut.tolerance_mm:.1f}"
    return cut.group, f"{how}, {cut.hold}", cut.setting, tilt, expect, "", ""


def _figures(cuts: tuple[ScrapCut, ...], tool: Tool) -> Block:
    ways = list(dict.fromkeys((c.method, c.hold) for c in cuts))[:4]
    items: list[Item] = []
    rows = (len(ways) + 1) // 2
    for k, (method, hold) in enumerate(ways):
        mine = [c for c in cuts if (c.method, c.hold) == (method, hold)]
        steepest = max(mine, key=lambda c: c.tilt_deg)
        du = (k % 2) * (WIDTH_MM - FIGURE_W)
        dv = (rows - 1 - k // 2) * (FIGURE_H + 3)
        items.append(Group(_figure(steepest, tool), du, dv))
    return Block(rows * (FIGURE_H + 3), tuple(items))


def _figure(cut: ScrapCut, tool: Tool) -> tuple[Item, ...]:
    """Section through block, bit and rest at twice the size or so, the two lengths marked."""
    scale = 2.4 if max(tool.bit_mm, tool.rest_radius_mm) <= 7 else 1.6
    how = f"{'Rest' if cut.method == 'rest' else 'Collar'}, {cut.hold}"
    words = f"{how}: group {cut.group}, block at {cut.tilt_deg:.0f}°"
    title = Text(0, FIGURE_H - 4, words, 10, True)
    parts = _Section(cut, tool, scale).items()
    return (title, Group(parts, 38.0, 18.0))


class _Section:
    """Section with the rest tip's top at the origin; lengths in mm on the paper."""

    def __init__(self, cut: ScrapCut, tool: Tool, scale: float) -> None:
        self.cut, self.k = cut, scale
        self.turn = radians(cut.tilt_deg)
        self.r, self.rest = tool.bit_mm / 2 * scale, tool.rest_radius_mm * scale
        self.left = cut.expect_mm * scale
        self.shape = tool.bit_shape

    def items(self) -> tuple[Item, ...]:
        reach = 26.0
        base = self._base()
        lower = [self._along(base, -reach), self._along(base, reach)]
        upper = [self._lift(p, 10.0 * self.k) for p in lower]
        tip = self._tip(base)
        bit = self._bit(tip)
        wood = self._wood([lower[0], lower[1], upper[1], upper[0]], bit)
        items: list[Item] = [*wood, Path((ring(bit),), BLACK, 0.25, closed=True, fill=WHITE)]
        items += self._rest_items()
        return (*items, *self._lengths(tip, base))

    def _base(self) -> Point:
        """Where the outside of the block meets the axis of the bit."""
        if self.cut.method == "collar":
            return 0.0, 0.0
        return 0.0, self.rest * (1 / cos(self.turn) - 1)

    def _along(self, base: Point, s: float) -> Point:
        return base[0] + s * cos(self.turn), base[1] + s * sin(self.turn)

    def _lift(self, p: Point, d: float) -> Point:
        return p[0] - d * sin(self.turn), p[1] + d * cos(self.turn)

    def _tip(self, base: Point) -> float:
        """Height of the bit's end so that `left` remains square to the outside."""
        t, a, r = self.left, self.turn, self.r
        if self.shape == "flat":
            return base[1] + t / cos(a) + r * tan(a)
        if self.shape == "ball":
            return base[1] + (t + r) / cos(a) - r
        rise = r * tan(radians(31.0))
        at_corner = t / cos(a) + r * tan(a) - rise
        return base[1] + max(t / cos(a), at_corner)

    def _bit(self, tip: float) -> list[Point]:
        r, top = self.r, tip + 12.0 * self.k
        if self.shape == "flat":
            return [(-r, tip), (r, tip), (r, top), (-r, top)]
        if self.shape == "ball":
            turns = [radians(180 + 15 * n) for n in range(13)]
            bow = [(r * cos(q), tip + r + r * sin(q)) for q in turns]
            return [*bow, (r, top), (-r, top)]
        rise = r * tan(radians(31.0))
        return [(-r, tip + rise), (0.0, tip), (r, tip + rise), (r, top), (-r, top)]

    def _wood(self, corners: list[Point], bit: list[Point]) -> tuple[Item, ...]:
        block = Polygon(corners).intersection(box(-36, -60, 36, 30))
        lines = hatched(block.difference(Polygon(bit)), 1.8)
        edges = tuple(ring(b) for b in borders(block))
        outline = Path(edges, BLACK, 0.3, closed=True)
        return (lines, outline) if lines is not None else (outline,)

    def _rest_items(self) -> list[Item]:
        if self.cut.method == "collar":
            return []
        items: list[Item] = [Circle(0.0, -self.rest, self.rest, BLACK, 0.3, WHITE)]
        wide = self.rest * 0.6
        shaft = [(-wide, -self.rest), (-wide, -17.0), (wide, -17.0), (wide, -self.rest)]
        items.append(Path((ring(shaft),), BLACK, 0.3, fill=WHITE))
        return [*items, Text(self.rest + 2, -14.0, "rest", 9)]

    def _lengths(self, tip: float, base: Point) -> list[Item]:
        items: list[Item] = []
        word = "set" if self.cut.method == "rest" else "depth"
        if self.cut.method == "rest":
            items += _measure((30.0, 0.0), (30.0, tip), f"{word} {self.cut.setting}", (3.0, 0.0))
            items += [line([(0.0, v), (32.0, v)], 0.1, stroke=GREY) for v in (0.0, tip)]
        else:
            top = base[1] + 10.0 * self.k / cos(self.turn)
            items += _measure((30.0, tip), (30.0, top), f"{word} {self.cut.setting}", (3.0, 0.0))
            items += [line([(0.0, v), (32.0, v)], 0.1, stroke=GREY) for v in (tip, top)]
        start = self._near(tip)
        foot = self._foot(start, base)
        items += [line([start, foot], 0.5)]
        items.append(_tail(start, foot, f"leaves {self.cut.expect_mm:.1f}"))
        return items

    def _near(self, tip: float) -> Point:
        """The point of the bit that comes nearest to the outside."""
        a, r = self.turn, self.r
        if self.shape == "flat":
            return r if a > 0 else 0.0, tip
        if self.shape == "ball":
            return r * sin(a), tip + r - r * cos(a)
        steep = self.cut.tilt_deg > 31.0
        return (r, tip + r * tan(radians(31.0))) if steep else (0.0, tip)

    def _foot(self, p: Point, base: Point) -> Point:
        s = (p[0] - base[0]) * cos(self.turn) + (p[1] - base[1]) * sin(self.turn)
        return self._along(base, s)


def _measure(a: Point, b: Point, words: str, off: Point) -> list[Item]:
    ticks = Path(tuple(((p[0] - 1.2, p[1]), (p[0] + 1.2, p[1])) for p in (a, b)))
    middle = (a[1] + b[1]) / 2 - 1.2
    return [line([a, b], 0.2), ticks, Text(a[0] + off[0] - 1, middle, words, 9, True)]


def _tail(start: Point, foot: Point, words: str) -> Text:
    long = hypot(start[0] - foot[0], start[1] - foot[1]) or 1.0
    k = 7.0 / long
    u, v = foot[0] - (start[0] - foot[0]) * k, foot[1] - (start[1] - foot[1]) * k
    return Text(u + 3.0, v - 1.0, words, 9, True, "start", backed=True)
