"""Display list -> PNG: drawn two or three times too large and averaged down."""

import io
from functools import cache
from itertools import pairwise
from math import cos, hypot, radians, sin

from PIL import Image, ImageChops, ImageDraw, ImageFont

from graduale.prints import lettering
from graduale.prints.sheet import Circle, Drawing, Group, Item, Path, Ring, Text, text_box

MOST_PIXELS = 60_000_000


@cache
def _font(bold: bool, size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(lettering.font_path(bold), size_px)


class _Pen:
    """Draws on one RGB image; `k` pixels a mm."""

    def __init__(self, image: Image.Image, k: float) -> None:
        self.image, self.k = image, k

    def at(self, u: float, v: float) -> tuple[float, float]:
        return u * self.k, self.image.height - v * self.k

    def draw(self, item: Item, du: float, dv: float) -> None:
        if isinstance(item, Group):
            self._group(item, du, dv)
        elif isinstance(item, Path):
            self._path(item, du, dv)
        elif isinstance(item, Circle):
            self._circle(item, du, dv)
        else:
            self._text(item, du, dv)

    def _group(self, group: Group, du: float, dv: float) -> None:
        if group.clip is None:
            for item in group.items:
                self.draw(item, du + group.du, dv + group.dv)
            return
        layer = _Pen(self.image.copy(), self.k)
        for item in group.items:
            layer.draw(item, du + group.du, dv + group.dv)
        u0, v0, u1, v1 = group.clip
        left, top = self.at(u0 + du, v1 + dv)
        right, low = self.at(u1 + du, v0 + dv)
        box = (round(left), round(top), round(right), round(low))
        self.image.paste(layer.image.crop(box), box)

    def _path(self, item: Path, du: float, dv: float) -> None:
        if item.fill is not None:
            self._fill(item, du, dv)
        if item.stroke is None:
            return
        pen = ImageDraw.Draw(self.image)
        width = max(round(item.width_mm * self.k), 1)
        for points in item.rings:
            moved = [(u + du, v + dv) for u, v in points]
            if item.closed:
                moved.append(moved[0])
            for piece in _dashed(moved, item.dash_mm):
                pen.line([self.at(*p) for p in piece], item.stroke, width, joint="curve")

    def _fill(self, item: Path, du: float, dv: float) -> None:
        pixels = [[self.at(u + du, v + dv) for u, v in r] for r in item.rings if len(r) > 2]
        if not pixels:
            return
        left = int(min(p[0] for r in pixels for p in r)) - 1
        top = int(min(p[1] for r in pixels for p in r)) - 1
        right = int(max(p[0] for r in pixels for p in r)) + 2
        low = int(max(p[1] for r in pixels for p in r)) + 2
        mask = Image.new("1", (right - left, low - top), 0)
        for r in pixels:
            one = Image.new("1", mask.size, 0)
            ImageDraw.Draw(one).polygon([(x - left, y - top) for x, y in r], fill=1)
            mask = ImageChops.logical_xor(mask, one)
        self.image.paste(Image.new("RGB", mask.size, item.fill), (left, top), mask)

    def _circle(self, item: Circle, du: float, dv: float) -> None:
        x, y = self.at(item.u + du, item.v + dv)
        width = max(round(item.width_mm * self.k), 1) if item.stroke else 0
        r = item.radius_mm * self.k + width / 2
        box = (x - r, y - r, x + r, y + r)
        ImageDraw.Draw(self.image).ellipse(box, item.fill, item.stroke, width)

    def _text(self, item: Text, du: float, dv: float) -> None:
        size = max(round(item.size_pt * lettering.PT_MM * self.k), 1)
        long = lettering.width_mm(item.words, item.size_pt, item.bold) * self.k
        shift = {"start": 0.0, "middle": -long / 2, "end": -long}[item.anchor]
        pad, rise = size, int(1.2 * size)
        layer = Image.new("RGBA", (int(long) + 2 * pad, 2 * size + pad), (255, 255, 255, 0))
        pen = ImageDraw.Draw(layer)
        if item.backed:
            flat = Text(0.0, 0.0, item.words, item.size_pt, item.bold)
            u0, v0, u1, v1 = (a * self.k for a in text_box(flat, 0.25))
            pen.rectangle((pad + u0, rise - v1, pad + u1, rise - v0), fill="#ffffff")
        pen.text((pad, rise), item.words, item.colour, _font(item.bold, size), anchor="ls")
        x, y = self.at(item.u + du, item.v + dv)
        turn = radians(item.angle_deg)
        # centre of the layer relative to the anchor, before turning (y down)
        cx, cy = layer.width / 2 - pad + shift, layer.height / 2 - rise
        if item.angle_deg:
            layer = layer.rotate(item.angle_deg, Image.Resampling.BICUBIC, expand=True)
        mx = x + cx * cos(turn) + cy * sin(turn)
        my = y - cx * sin(turn) + cy * cos(turn)
        corner = (round(mx - layer.width / 2), round(my - layer.height / 2))
        self.image.paste(layer, corner, layer)


def _dashed(points: list[tuple[float, float]], dash: tuple[float, ...]) -> list[Ring]:
    """The line cut into its dashes; the whole line when there are none."""
    if not dash:
        return [tuple(points)]
    pieces: list[Ring] = []
    current, on, left, k = [points[0]], True, dash[0], 0
    for a, b in pairwise(points):
        start, length = 0.0, hypot(b[0] - a[0], b[1] - a[1])
        while length - start > left:
            start += left
            f = start / length
            p = (a[0] + f * (b[0] - a[0]), a[1] + f * (b[1] - a[1]))
            if on:
                pieces.append((*current, p))
            current, on, k = [p], not on, k + 1
            left = dash[k % len(dash)]
        left -= length - start
        current.append(b)
    if on and len(current) > 1:
        pieces.append(tuple(current))
    return pieces


def png_of(drawing: Drawing, dpi: float = 150.0) -> bytes:
    """The drawing as PNG bytes with its resolution written in.

    Errors: ValueError when the picture would pass 60 million pixels.
    """
    width = round(drawing.width_mm * dpi / 25.4)
    height = round(drawing.height_mm * dpi / 25.4)
    if width * height > MOST_PIXELS:
        raise ValueError(f"{width} × {height} pixels are too many; take fewer dpi")
    over = 3 if width * height * 9 <= MOST_PIXELS else 2 if width * height * 4 <= MOST_PIXELS else 1
    image = Image.new("RGB", (width * over, height * over), "#ffffff")
    pen = _Pen(image, dpi / 25.4 * over)
    for item in drawing.items:
        pen.draw(item, 0.0, 0.0)
    small = image.resize((width, height), Image.Resampling.BOX) if over > 1 else image
    buffer = io.BytesIO()
    small.save(buffer, "PNG", dpi=(dpi, dpi))
    return buffer.getvalue()
