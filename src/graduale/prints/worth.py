"""What to measure first, as bars: how much of each doubt goes."""

from collections.abc import Sequence
from dataclasses import dataclass

from graduale.prints import lettering
from graduale.prints.shades import VIRIDIS
from graduale.prints.sheet import DARK, PALE, Drawing, Item, Text, line, rectangle

WIDTH_MM, ROW_MM, LEFT_MM, RIGHT_MM, TOP_MM = 186.0, 15.0, 74.0, 12.0, 24.0
_BAR_MM = 3.2
_INK = (VIRIDIS[0], VIRIDIS[4], VIRIDIS[7])  # dark, middle, light: apart in grey as well


@dataclass(frozen=True)
class Bars:
    """One thing to measure: what to do, the shares of doubt that go (0 to 1), what it lets go."""

    name: str
    shares: tuple[float, float, float]
    told: str


def worth_picture(title: str, legend: tuple[str, str, str], rows: Sequence[Bars]) -> Drawing:
    """Three bars for each row on a scale from none to all of the doubt, the most worth on top.

    Errors: ValueError for no rows.
    """
    if not rows:
        raise ValueError("nothing to draw")
    height = TOP_MM + ROW_MM * len(rows) + 8.0
    items: list[Item] = [Text(5.0, height - 7.0, title, 11, True)]
    u = 5.0
    for colour, words in zip(_INK, legend, strict=True):
        items.append(rectangle((u, height - 13.6, u + 4.0, height - 10.6), fill=colour))
        items.append(Text(u + 5.5, height - 13.2, words, 8.5, colour=DARK))
        u += 9.0 + lettering.width_mm(words, 8.5)
    bottom = height - TOP_MM - ROW_MM * len(rows) + 2.0
    items += _scale(bottom, height - TOP_MM + 3.0)
    for k, row in enumerate(rows):
        items += _row(row, height - TOP_MM - ROW_MM * k)
    return Drawing(WIDTH_MM, height, tuple(items))


def _at(share: float) -> float:
    return LEFT_MM + (WIDTH_MM - LEFT_MM - RIGHT_MM) * min(max(share, 0.0), 1.0)


def _scale(low: float, high: float) -> list[Item]:
    items: list[Item] = []
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        u = _at(share)
        items.append(line([(u, low), (u, high)], 0.13, stroke=PALE))
        items.append(Text(u, low - 4.0, f"{share:.0%}", 8.5, anchor="middle", colour=DARK))
    return items


def _row(row: Bars, top: float) -> list[Item]:
    items: list[Item] = []
    words = lettering.wrap(row.name, LEFT_MM - 8.0, 9.0)[:2]
    items += [Text(5.0, top - 1.0 - 4.0 * i, w, 9.0, True) for i, w in enumerate(words)]
    items.append(Text(5.0, top - 1.0 - 4.0 * len(words), row.told, 8.5, colour=DARK))
    for i, (share, colour) in enumerate(zip(row.shares, _INK, strict=True)):
        v = top + 1.6 - _BAR_MM * (i + 1)
        if share > 0.0:
            box = (LEFT_MM, v, _at(share), v + _BAR_MM - 0.5)
            items.append(rectangle(box, width_mm=0.13, fill=colour))
    return items
