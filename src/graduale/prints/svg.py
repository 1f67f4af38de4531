"""Display list -> SVG text in mm. Lengths of text are fixed, so another typeface cannot overrun."""

from xml.sax.saxutils import escape, quoteattr

from graduale.prints import lettering
from graduale.prints.sheet import Circle, Drawing, Group, Item, Path, Text, text_box


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


class _Pen:
    """Writes elements with v turned downward."""

    def __init__(self, height_mm: float) -> None:
        self.height = height_mm
        self.clips = 0

    def element(self, item: Item, du: float, dv: float) -> str:
        if isinstance(item, Group):
            return self._group(item, du, dv)
        if isinstance(item, Path):
            return self._path(item, du, dv)
        if isinstance(item, Circle):
            return self._circle(item, du, dv)
        return self._text(item, du, dv)

    def _group(self, group: Group, du: float, dv: float) -> str:
        inner = "".join(self.element(i, du + group.du, dv + group.dv) for i in group.items)
        if group.clip is None:
            return f"<g>{inner}</g>\n"
        u0, v0, u1, v1 = group.clip
        self.clips += 1
        name = f"clip{self.clips}"
        rect = (
            f'<rect x="{_n(u0 + du)}" y="{_n(self.height - v1 - dv)}" '
            f'width="{_n(u1 - u0)}" height="{_n(v1 - v0)}"/>'
        )
        define = f'<defs><clipPath id="{name}">{rect}</clipPath></defs>'
        return f'{define}<g clip-path="url(#{name})">{inner}</g>\n'

    def _style(self, stroke: str | None, fill: str | None, width_mm: float) -> str:
        line = f'stroke="{stroke}" stroke-width="{_n(width_mm)}"' if stroke else 'stroke="none"'
        return f'{line} fill="{fill or "none"}"'

    def _path(self, item: Path, du: float, dv: float) -> str:
        parts = []
        for points in item.rings:
            pairs = [f"{_n(u + du)} {_n(self.height - v - dv)}" for u, v in points]
            parts.append("M" + "L".join(pairs) + ("Z" if item.closed else ""))
        dash = ""
        if item.dash_mm:
            dash = f' stroke-dasharray="{" ".join(_n(d) for d in item.dash_mm)}"'
        style = self._style(item.stroke, item.fill, item.width_mm)
        tag = f" class={quoteattr(item.tag)}" if item.tag else ""
        return f'<path d="{"".join(parts)}" {style}{dash} fill-rule="evenodd"{tag}/>\n'

    def _circle(self, item: Circle, du: float, dv: float) -> str:
        place = f'cx="{_n(item.u + du)}" cy="{_n(self.height - item.v - dv)}"'
        style = self._style(item.stroke, item.fill, item.width_mm)
        tag = f" class={quoteattr(item.tag)}" if item.tag else ""
        return f'<circle {place} r="{_n(item.radius_mm)}" {style}{tag}/>\n'

    def _text(self, item: Text, du: float, dv: float) -> str:
        u, v = item.u + du, self.height - item.v - dv
        about = f"{_n(-item.angle_deg)} {_n(u)} {_n(v)}"
        turn = f' transform="rotate({about})"' if item.angle_deg else ""
        long = lettering.width_mm(item.words, item.size_pt, item.bold)
        weight = ' font-weight="bold"' if item.bold else ""
        tag = f" class={quoteattr(item.tag)}" if item.tag else ""
        text = (
            f'<text x="{_n(u)}" y="{_n(v)}" font-size="{_n(item.size_pt * lettering.PT_MM)}"'
            f'{weight} text-anchor="{item.anchor}" fill="{item.colour}" textLength="{_n(long)}"'
            f' lengthAdjust="spacingAndGlyphs"{turn}{tag}>{escape(item.words)}</text>\n'
        )
        return (self._backing(item, u, v, turn) if item.backed else "") + text

    def _backing(self, item: Text, u: float, v: float, turn: str) -> str:
        flat = Text(0.0, 0.0, item.words, item.size_pt, item.bold, item.anchor)
        u0, v0, u1, v1 = text_box(flat, 0.25)
        return (
            f'<rect x="{_n(u + u0)}" y="{_n(v - v1)}" width="{_n(u1 - u0)}" '
            f'height="{_n(v1 - v0)}" fill="#ffffff"{turn}/>\n'
        )


def svg_of(drawing: Drawing, title: str) -> str:
    """The drawing as a self-standing SVG file, white paper under it."""
    pen = _Pen(drawing.height_mm)
    body = "".join(pen.element(i, 0.0, 0.0) for i in drawing.items)
    w, h = _n(drawing.width_mm), _n(drawing.height_mm)
    family = f"'{lettering.FAMILY}', 'DejaVu Sans', sans-serif"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}" font-family="{family}">\n<title>{escape(title)}</title>\n'
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>\n{body}</svg>\n'
    )
