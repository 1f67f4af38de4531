"""Display list -> PDF at true size. Same drawings, same bytes."""

import io
from collections.abc import Sequence
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from graduale.prints import lettering
from graduale.prints.sheet import Circle, Drawing, Group, Item, Path, Text, text_box

PT = 72.0 / 25.4  # points in one mm


class _Pen:
    """Replays items on one canvas; every coordinate is divided by the printer's error."""

    def __init__(self, canvas: Canvas, printer_x: float, printer_y: float) -> None:
        self.canvas = canvas
        self.ku, self.kv = PT / printer_x, PT / printer_y

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
        self.canvas.saveState()
        if group.clip is not None:
            u0, v0, u1, v1 = group.clip
            clip = self.canvas.beginPath()
            size = ((u1 - u0) * self.ku, (v1 - v0) * self.kv)
            clip.rect((u0 + du) * self.ku, (v0 + dv) * self.kv, *size)
            self.canvas.clipPath(clip, stroke=0, fill=0)
        for item in group.items:
            self.draw(item, du + group.du, dv + group.dv)
        self.canvas.restoreState()

    def _style(self, stroke: str | None, fill: str | None, width_mm: float) -> None:
        if stroke is not None:
            self.canvas.setStrokeColor(stroke)
            self.canvas.setLineWidth(width_mm * PT)
        if fill is not None:
            self.canvas.setFillColor(fill)

    def _path(self, item: Path, du: float, dv: float) -> None:
        self._style(item.stroke, item.fill, item.width_mm)
        self.canvas.setDash([d * PT for d in item.dash_mm])
        path = self.canvas.beginPath()
        for points in item.rings:
            for k, (u, v) in enumerate(points):
                step = path.moveTo if k == 0 else path.lineTo
                step((u + du) * self.ku, (v + dv) * self.kv)
            if item.closed:
                path.close()
        stroke, fill = int(item.stroke is not None), int(item.fill is not None)
        self.canvas.drawPath(path, stroke=stroke, fill=fill, fillMode=0)

    def _circle(self, item: Circle, du: float, dv: float) -> None:
        self._style(item.stroke, item.fill, item.width_mm)
        self.canvas.setDash([])
        u, v, r = item.u + du, item.v + dv, item.radius_mm
        corners = ((u - r) * self.ku, (v - r) * self.kv, (u + r) * self.ku, (v + r) * self.kv)
        stroke, fill = int(item.stroke is not None), int(item.fill is not None)
        self.canvas.ellipse(*corners, stroke=stroke, fill=fill)

    def _text(self, item: Text, du: float, dv: float) -> None:
        if item.backed:
            self._backing(item, du, dv)
        face = lettering.BOLD if item.bold else lettering.REGULAR
        self.canvas.setFillColor(item.colour)
        self.canvas.setFont(face, item.size_pt)
        self.canvas.saveState()
        self.canvas.translate((item.u + du) * self.ku, (item.v + dv) * self.kv)
        if item.angle_deg:
            self.canvas.rotate(item.angle_deg)
        draw = {
            "start": self.canvas.drawString,
            "middle": self.canvas.drawCentredString,
            "end": self.canvas.drawRightString,
        }
        draw[item.anchor](0, 0, item.words)
        self.canvas.restoreState()

    def _backing(self, item: Text, du: float, dv: float) -> None:
        flat = Text(0.0, 0.0, item.words, item.size_pt, item.bold, item.anchor)
        u0, v0, u1, v1 = text_box(flat, 0.25)
        self.canvas.saveState()
        self.canvas.translate((item.u + du) * self.ku, (item.v + dv) * self.kv)
        self.canvas.rotate(item.angle_deg)
        self.canvas.setFillColor("#ffffff")
        self.canvas.rect(u0 * PT, v0 * PT, (u1 - u0) * PT, (v1 - v0) * PT, stroke=0, fill=1)
        self.canvas.restoreState()


def drawings_pdf(
    drawings: Sequence[Drawing],
    title: str,
    subject: str,
    printer_x: float = 1.0,
    printer_y: float = 1.0,
) -> bytes:
    """One page a drawing; `printer_x`, `printer_y` are printed length / true length.

    Errors: ValueError when a printer error is outside 0.8..1.25 (a wrong entry, not a printer).
    """
    if not (0.8 <= printer_x <= 1.25 and 0.8 <= printer_y <= 1.25):
        raise ValueError("printer correction outside 0.8 to 1.25")
    lettering.register()
    buffer = io.BytesIO()
    face: Any = lettering.REGULAR  # the published types of this argument are wrong
    canvas = Canvas(buffer, invariant=1, initialFontName=face, initialFontSize=9)
    canvas.setTitle(title)
    canvas.setSubject(subject)
    canvas.setAuthor("graduale")
    canvas.setCreator("graduale")
    canvas.setProducer("graduale")
    for drawing in drawings:
        size = (drawing.width_mm * PT / printer_x, drawing.height_mm * PT / printer_y)
        canvas.setPageSize(size)
        canvas.setLineCap(0)
        canvas.setLineJoin(1)
        pen = _Pen(canvas, printer_x, printer_y)
        for item in drawing.items:
            pen.draw(item, 0.0, 0.0)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()
