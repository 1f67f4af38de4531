"""What stands on every page: head, directions, the 100 mm scale both ways, the foot.

Common practice, no source: a bar to be measured on each page, because printers rescale silently.
"""

from dataclasses import dataclass
from typing import Literal

from graduale.prints.data import PageHead
from graduale.prints.figures import figure
from graduale.prints.sheet import BLACK, Box, Drawing, Item, Path, Text, line
from graduale.prints.views import plate_words, side_words
from graduale.words.numbers import Units

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN, HEAD, FOOT, STRIP = 10.0, 21.0, 24.0, 10.0
SCALE_MM = 100.0


@dataclass(frozen=True)
class Page:
    """One sheet of paper in true mm: its size is the paper's times the printer's error."""

    width_mm: float
    height_mm: float
    printer_x: float = 1.0
    printer_y: float = 1.0

    @property
    def window(self) -> Box:
        """Where the sheet's own drawing may stand."""
        low_u, low_v = MARGIN + STRIP, MARGIN + FOOT
        return low_u, low_v, self.width_mm - MARGIN, self.height_mm - MARGIN - HEAD

    @property
    def room(self) -> tuple[float, float]:
        """Width and height of the window."""
        u0, v0, u1, v1 = self.window
        return u1 - u0, v1 - v0


def page_of(paper: Paper, printer_x: float, printer_y: float) -> Page:
    """The paper as the maker's printer sees it. Errors: ValueError for an unknown paper."""
    if paper not in PAPERS:
        raise ValueError(f"unknown paper {paper!r}; one of {', '.join(PAPERS)}")
    width, height = PAPERS[paper]
    return Page(width * printer_x, height * printer_y, printer_x, printer_y)


@dataclass(frozen=True)
class Label:
    """What tells one page from the next: the sheet's title, which tile, which page of how many."""

    title: str
    part: str
    number: int
    total: int


def framed(page: Page, head: PageHead, label: Label, items: tuple[Item, ...]) -> Drawing:
    """The page with its head, scales and foot around `items`."""
    around = (*_head(page, head, label), *_scales(page, head.units), *_foot_words(page))
    return Drawing(page.width_mm, page.height_mm, (*items, *around))


def framed_both(
    page: Page, name: str, told: tuple[str, str], units: Units, items: tuple[Item, ...]
) -> Drawing:
    """A page that shows both plates: name, title and date line; scales and foot as everywhere."""
    left, right, top = MARGIN, page.width_mm - MARGIN, page.height_mm - MARGIN
    short = name if len(name) <= 60 else name[:59] + "…"
    head: list[Item] = [
        Text(left, top - 4.5, short, 12.5, bold=True),
        Text(left, top - 10, told[0], 10.5, bold=True),
        Text(right, top - 10, told[1], 9, anchor="end"),
        line([(left, top - 12), (right, top - 12)], 0.4),
    ]
    around = (*head, *_scales(page, units), *_foot_words(page))
    return Drawing(page.width_mm, page.height_mm, (*items, *around))


def _head(page: Page, head: PageHead, label: Label) -> tuple[Item, ...]:
    left, right = MARGIN, page.width_mm - MARGIN
    top = page.height_mm - MARGIN
    name = head.instrument if len(head.instrument) <= 40 else head.instrument[:39] + "…"
    second = f"{plate_words(head)} · {label.title}"
    third = f"{head.date} · decision {head.digest}"
    place = f"page {label.number} of {label.total}"
    place = f"{label.part} · {place}" if label.part else place
    items: list[Item] = [
        Text(left, top - 4.5, name, 12.5, bold=True),
        Text(right, top - 4.5, place, 10.5, bold=True, anchor="end"),
        Text(left, top - 10, second, 10.5, bold=True),
        Text(right, top - 10, third, 9, anchor="end"),
        line([(left, top - 12), (right, top - 12)], 0.4),
    ]
    return (*items, *_directions(page, head, top - 17))


def _directions(page: Page, head: PageHead, v: float) -> tuple[Item, ...]:
    at_left, at_right = side_words(head)
    u0, _, u1, _ = page.window
    hand = "left-handed instrument" if head.left_handed else ""
    inches = "figures in inches" if head.units == "inch" else ""
    return (
        Text(u0, v, f"◄ {at_left}", 11, bold=True),
        *([Text((u0 + u1) / 2 - 14, v, inches, 10, True, "end")] if inches else []),
        Text((u0 + u1) / 2, v, "▲ NECK", 11, bold=True, anchor="middle"),
        *([Text((u0 + u1) / 2 + 14, v, hand, 9)] if hand else []),
        Text(u1, v, f"{at_right} ►", 11, bold=True, anchor="end"),
    )


def _scales(page: Page, units: Units) -> tuple[Item, ...]:
    u0, v0, _, _ = page.window
    long = "100 mm" if units == "mm" else f"100 mm = {figure(SCALE_MM, units)} in"
    flat, up = MARGIN + 16.5, MARGIN + 4.5
    items: list[Item] = [_scale_bar(u0, flat, 1.0, 0.0), _scale_bar(up, v0, 0.0, 1.0)]
    items += [
        Text(u0, flat - 4.6, "0", 9),
        Text(u0 + SCALE_MM, flat - 4.6, f"{long} across", 9, bold=True, anchor="end"),
        Text(up - 1.6, v0 + 50, f"{long} up", 9, bold=True, anchor="middle", angle_deg=90),
    ]
    return tuple(items)


def _scale_bar(u: float, v: float, eu: float, ev: float) -> Path:
    """A bar of 100 mm with a tick at every 10 mm; end ticks are longer, on one side only."""
    rings = [((u, v), (u + SCALE_MM * eu, v + SCALE_MM * ev))]
    for k in range(11):
        a, b = u + 10.0 * k * eu, v + 10.0 * k * ev
        size = 4.0 if k in (0, 10) else 2.8 if k == 5 else 1.8
        rings.append(((a, b), (a + size * ev, b + size * eu)))
    return Path(tuple(rings), width_mm=0.2, stroke=BLACK, tag="scale")


def _foot_words(page: Page) -> tuple[Item, ...]:
    corrected = abs(page.printer_x - 1) > 1e-9 or abs(page.printer_y - 1) > 1e-9
    told = (
        f"Drawn for a printer that prints {page.printer_x:.4f} across, {page.printer_y:.4f} up."
        if corrected
        else "Drawn without printer correction."
    )
    words = f"Print at 100 %, not 'fit to page'. Measure both bars before cutting. {told}"
    return (Text(MARGIN, MARGIN + 1.2, words, 9, colour=BLACK),)


def icon_room(page: Page) -> Box:
    """The place in the foot for the small diagram of the joined pages."""
    right = page.width_mm - MARGIN
    return right - 34.0, MARGIN + 5.0, right, MARGIN + FOOT - 1.0


def foot_line(page: Page, words: str) -> Text:
    """One further line in the foot, above the last."""
    return Text(MARGIN, MARGIN + 5.8, words, 9, colour=BLACK)


__all__ = [
    "Label",
    "Page",
    "Paper",
    "foot_line",
    "framed",
    "framed_both",
    "icon_room",
    "page_of",
]
