"""Sheets -> one PDF for the bench, or one drawing as SVG or PNG."""

from collections.abc import Sequence

from graduale.prints.data import PageHead
from graduale.prints.flow import WIDTH_MM, pages_of, stack
from graduale.prints.frame import Label, Page, Paper, framed, page_of
from graduale.prints.pdf import drawings_pdf
from graduale.prints.png import png_of
from graduale.prints.sheet import Block, Drawing, Item, PlateSheet, Sheet, Text
from graduale.prints.svg import svg_of
from graduale.prints.tiles import tiles_of
from graduale.prints.views import plate_words

_Loose = tuple[PageHead, str, str, tuple[Item, ...]]  # head, title, part, items


def bench_sheets_pdf(
    sheets: Sequence[Sheet],
    paper: Paper = "A4",
    printer_x: float = 1.0,
    printer_y: float = 1.0,
) -> bytes:
    """All sheets as one PDF at true size, portrait, pages numbered through.

    `printer_x`, `printer_y`: printed length / true length of the 100 mm bars.
    Errors: ValueError for no sheets, an unknown paper or an absurd correction.
    """
    if not sheets:
        raise ValueError("no sheets to print")
    pages = page_drawings(sheets, page_of(paper, printer_x, printer_y))
    head = sheets[0].head
    title = f"{head.instrument}: bench sheets"
    subject = f"decision {head.digest}, {head.date}, {paper}"
    return drawings_pdf(pages, title, subject, printer_x, printer_y)


def page_drawings(sheets: Sequence[Sheet], page: Page) -> tuple[Drawing, ...]:
    """Every page as a display list of its own."""
    loose = [p for sheet in sheets for p in _pages(sheet, page)]
    total = len(loose)
    return tuple(
        framed(page, head, Label(title, part, k + 1, total), items)
        for k, (head, title, part, items) in enumerate(loose)
    )


def _pages(sheet: Sheet, page: Page) -> list[_Loose]:
    if not isinstance(sheet, PlateSheet):
        return _text_pages(sheet.head, sheet.title, sheet.blocks, page)
    tiles, left_over = tiles_of(sheet, page)
    found = [(sheet.head, sheet.title, t.label, t.items) for t in tiles]
    return found + (_text_pages(sheet.head, f"{sheet.title}, key", left_over, page))


def _text_pages(head: PageHead, title: str, blocks: tuple[Block, ...], page: Page) -> list[_Loose]:
    pages = pages_of(blocks, page) if blocks else ()
    many = len(pages) > 1
    return [
        (head, title, f"part {k + 1} of {len(pages)}" if many else "", items)
        for k, items in enumerate(pages)
    ]


def whole(sheet: Sheet) -> Drawing:
    """The sheet as one drawing without pages, its head above it."""
    if isinstance(sheet, PlateSheet):
        width, body, height = sheet.drawing.width_mm, sheet.drawing.items, sheet.drawing.height_mm
    else:
        height = sum(b.height_mm for b in sheet.blocks)
        width, body = WIDTH_MM, tuple(stack(sheet.blocks, 0.0, height)[0])
    head = sheet.head
    first = Text(3, height + 9, f"{head.instrument} · {sheet.title}", 11, bold=True)
    second = f"{plate_words(head)} · {head.date} · decision {head.digest}"
    second += " · in inches" if head.units == "inch" else ""
    return Drawing(width, height + 15, (*body, first, Text(3, height + 4, second, 9)))


def drawing_svg(sheet: Sheet) -> str:
    """The whole sheet as SVG, its size in mm."""
    return svg_of(whole(sheet), f"{sheet.head.instrument}: {sheet.title}")


def drawing_png(sheet: Sheet, dpi: float = 150.0) -> bytes:
    """The whole sheet as PNG."""
    return png_of(whole(sheet), dpi)
