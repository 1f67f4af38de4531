"""The scrap-block test card: drill a block at the same tilt first, measure, correct the setting."""

from math import cos, radians, sin, tan

from shapely import Polygon

from graduale.prints.data import PageHead, ScrapCut, Tool
from graduale.prints.figures import bare, figure, size
from graduale.prints.flow import WIDTH_MM, gap, heading, paragraph, table
from graduale.prints.hatch import borders, hatched
from graduale.prints.holemarks import LETTER, MEANING
from graduale.prints.sheet import (
    BLACK,
    GREY,
    PALE,
    WHITE,
    Block,
    Group,
    Item,
    Path,
    Point,
    Text,
    TextSheet,
    line,
    ring,
)
from graduale.words.numbers import Units

FIGURE_W, FIGURE_H = 56.0, 54.0
BLOCKS: dict[Units, str] = {"mm": "12 mm", "inch": "0.5 in"}  # thick enough to drill into
REACH = 17.0  # half the block, on the paper
BITS = {
    "point118": "118° point",
    "flat": "flat end",
    "ball": "ball nose",
    "brad": "brad point",
}
STEPS = (
    "- Plane a block of the same wood to an even thickness, {block} or more. Clamp it at the tilt "
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
    units = head.units
    bit = f"Bit {size(tool.bit_mm, units)}, {BITS[tool.bit_shape]}"
    bit += f"; rest tip radius {size(tool.rest_radius_mm, units)}"
    spur = f"; spur {size(tool.spur_mm, units)} proud" if tool.spur_mm > 0 else ""
    blocks = [heading("Try the settings on a scrap block first")]
    blocks += [paragraph(s.format(block=BLOCKS[units])) for s in STEPS]
    blocks += [paragraph(f"{bit}{spur}; the setting can be read to {size(tool.step_mm, units)}.")]
    blocks += [paragraph(n) for n in notes]
    ways = sorted({LETTER[(c.method, c.hold)] for c in cuts}, key=list(MEANING).index)
    blocks += [paragraph(f"{MEANING[w]}.") for w in ways if w != "R" or len(ways) > 1]
    if any(c.method == "collar" for c in cuts):
        blocks += [paragraph(COLLAR)]
    blocks += [gap(1.0), _figures(cuts, tool, units), gap(1.0)]
    blocks += table(
        _columns(units), [_row(c, units) for c in cuts], 11.0 if len(cuts) <= 9 else 9.5, (2,)
    )
    return TextSheet(head, "Test card", tuple(blocks))


COLLAR = (
    "For the collar the block lies with its upper face level and its lower face planed to the "
    "tilt, as the plate does."
)


def _columns(units: Units) -> tuple[tuple[str, float], ...]:
    return (
        ("group", 15.0),
        ("how", 37.0),
        (f"setting {units}", 22.0),
        ("block tilted", 22.0),
        (f"should leave {units}", 28.0),
        (f"left {units}", 22.0),
        ("corrected", 26.0),
    )


def _row(cut: ScrapCut, units: Units) -> tuple[str, ...]:
    how = "on the rest" if cut.method == "rest" else "with the collar"
    tilt = f"{cut.tilt_deg:.0f}°"
    if cut.block_mm > 0:
        tilt += f", {bare(cut.block_mm, units)} high"
    expect = f"{figure(cut.expect_mm, units)} ± {figure(cut.tolerance_mm, units)}"
    return cut.group, f"{how}, {cut.hold}", cut.setting, tilt, expect, "", ""


def _figures(cuts: tuple[ScrapCut, ...], tool: Tool, units: Units) -> Block:
    ways = list(dict.fromkeys((c.method, c.hold) for c in cuts))
    items: list[Item] = []
    rows = (len(ways) + 2) // 3
    for k, (method, hold) in enumerate(ways):
        mine = [c for c in cuts if (c.method, c.hold) == (method, hold)]
        steepest = max(mine, key=lambda c: c.tilt_deg)
        du, dv = (k % 3) * (WIDTH_MM - FIGURE_W) / 2, (rows - 1 - k // 3) * FIGURE_H
        items.append(Group(_figure(steepest, tool, units), du, dv))
    return Block(rows * FIGURE_H, tuple(items))


def _figure(cut: ScrapCut, tool: Tool, units: Units) -> tuple[Item, ...]:
    """Section through block, bit and rest about twice its size, the two lengths marked."""
    scale = 12.0 / (max(tool.bit_mm, tool.rest_radius_mm) + 1.0)
    words = f"{'Rest' if cut.method == 'rest' else 'Collar'}, {cut.hold}: group {cut.group}"
    title = Text(0, FIGURE_H - 4, words, 10, True)
    return (title, Group(Section(cut, tool, scale, units).items(), 21.0, 13.0))


class Section:
    """Section with the rest tip's top at the origin; lengths in mm on the paper."""

    def __init__(self, cut: ScrapCut, tool: Tool, scale: float, units: Units = "mm") -> None:
        self.cut, self.k, self.units = cut, scale, units
        self.turn = radians(cut.tilt_deg)
        self.r, self.rest = tool.bit_mm / 2 * scale, tool.rest_radius_mm * scale
        self.left = cut.expect_mm * scale
        self.shape = tool.bit_shape

    def items(self) -> tuple[Item, ...]:
        base = self.base()
        tip = self.tip(base)
        bit = self._bit(tip)
        lower = [self._along(base, -REACH), self._along(base, REACH)]
        if self.cut.method == "collar":
            corners = [*lower, (lower[1][0], self.top), (lower[0][0], self.top)]
        else:
            corners = [*lower, *(self._lift(p, 9.0 * self.k) for p in reversed(lower))]
        items: list[Item] = [*self._wood(corners, bit)]
        items.append(Path((ring(bit),), BLACK, 0.25, closed=True, fill=WHITE))
        return (*items, *self._rest_items(), *self._lengths(tip, base))

    @property
    def top(self) -> float:
        """Height of the level upper face under a collar."""
        return REACH * sin(self.turn) + 6.0 * self.k

    def base(self) -> Point:
        """Where the outside of the block meets the axis of the bit."""
        if self.cut.method == "collar":
            return 0.0, 0.0
        return 0.0, self.rest * (1 / cos(self.turn) - 1)

    def _along(self, base: Point, s: float) -> Point:
        return base[0] + s * cos(self.turn), base[1] + s * sin(self.turn)

    def _lift(self, p: Point, d: float) -> Point:
        return p[0] - d * sin(self.turn), p[1] + d * cos(self.turn)

    def tip(self, base: Point) -> float:
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
        r, top = (
            self.r,
            max(tip + 9.0 * self.k, self.top + 8.0 if self.cut.method == "collar" else 0.0),
        )
        if self.shape == "flat":
            return [(-r, tip), (r, tip), (r, top), (-r, top)]
        if self.shape == "ball":
            turns = [radians(180 + 15 * n) for n in range(13)]
            bow = [(r * cos(q), tip + r + r * sin(q)) for q in turns]
            return [*bow, (r, top), (-r, top)]
        rise = r * tan(radians(31.0))
        return [(-r, tip + rise), (0.0, tip), (r, tip + rise), (r, top), (-r, top)]

    def _wood(self, corners: list[Point], bit: list[Point]) -> tuple[Item, ...]:
        block = Polygon(corners).difference(Polygon(bit))
        lines = hatched(block, 1.8)
        outline = Path(tuple(ring(b) for b in borders(block)), BLACK, 0.3, closed=True)
        return (lines, outline) if lines is not None else (outline,)

    def _rest_items(self) -> list[Item]:
        if self.cut.method == "collar":
            wide = self.r + 3.0
            low, high = self.top, self.top + 4.0
            box = ring([(-wide, low), (wide, low), (wide, high), (-wide, high)])
            return [
                Path((box,), BLACK, 0.3, closed=True, fill=PALE),
                Text(wide + 1, high, "collar", 9),
            ]
        dome = [radians(180 - 10 * n) for n in range(19)]
        post = [(self.rest * cos(q), self.rest * (sin(q) - 1)) for q in dome]
        low = -self.rest - 2.0
        post = [(-self.rest, low), *post, (self.rest, low)]
        return [Path((ring(post),), BLACK, 0.3, fill=WHITE), Text(-3.0, low + 0.5, "rest", 9)]

    def _lengths(self, tip: float, base: Point) -> list[Item]:
        rest = self.cut.method == "rest"
        low, high = (0.0, tip) if rest else (tip, self.top)
        words = f"{'set' if rest else 'depth'} {self.cut.setting}"
        side = REACH * cos(self.turn) + 2.0
        items: list[Item] = [
            line([(0.0, v), (side + 1.5, v)], 0.1, stroke=GREY) for v in (low, high)
        ]
        items += _measure((side, low), (side, high), words)
        start = self._near(tip)
        foot = self._foot(start, base)
        place = (max(foot[0], self.rest) + 2.5, min(foot[1], 0.0) - 6.5)
        items += [line([start, foot], 0.5), line([foot, (place[0], place[1] + 3.4)], 0.13)]
        return [*items, Text(*place, f"leaves {figure(self.cut.expect_mm, self.units)}", 9, True)]

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


def _measure(a: Point, b: Point, words: str) -> list[Item]:
    """A length marked at the side, its words turned along it."""
    ticks = Path(tuple(((p[0] - 1.2, p[1]), (p[0] + 1.2, p[1])) for p in (a, b)))
    middle = (a[1] + b[1]) / 2
    text = Text(a[0] + 4.6, middle, words, 9, True, "middle", 90.0)
    return [line([a, b], 0.2), ticks, text]
