"""Text pages: paragraphs, tables and small drawings set as blocks one under the other."""

from collections.abc import Sequence

from graduale.prints import lettering
from graduale.prints.frame import Page
from graduale.prints.sheet import BLACK, GREY, Block, Group, Item, Text, line

WIDTH_MM = 172.0
LEADING_MM = 0.475  # line pitch in mm for one point


def heading(words: str, width_mm: float = WIDTH_MM, size_pt: float = 12.0) -> Block:
    """A bold heading with a little room above it."""
    rows = lettering.wrap(words, width_mm, size_pt, bold=True)
    pitch = LEADING_MM * size_pt
    height = pitch * len(rows) + 3.0
    items = tuple(
        Text(0.0, height - 3.0 - pitch * (k + 0.75), w, size_pt, bold=True)
        for k, w in enumerate(rows)
    )
    return Block(height, items, keep_with_next=True)


def paragraph(words: str, width_mm: float = WIDTH_MM, size_pt: float = 10.0) -> Block:
    """A paragraph; one that starts with '- ' hangs behind a dash."""
    listed = words.startswith("- ")
    indent = 4.0 if listed else 0.0
    rows = lettering.wrap(words[2:] if listed else words, width_mm - indent, size_pt)
    pitch = LEADING_MM * size_pt
    height = pitch * len(rows) + 1.5
    items: list[Item] = [
        Text(indent, height - pitch * (k + 0.75), w, size_pt) for k, w in enumerate(rows)
    ]
    if listed:
        items.append(Text(0.0, height - pitch * 0.75, "–", size_pt))
    return Block(height, tuple(items))


def page_break() -> Block:
    """What follows begins a page."""
    return Block(0.0, (), keep_with_next=True, new_page=True)


def gap(height_mm: float) -> Block:
    """Empty room."""
    return Block(height_mm, ())


def table(
    columns: Sequence[tuple[str, float]],
    rows: Sequence[Sequence[str]],
    size_pt: float = 10.0,
    bold_columns: Sequence[int] = (),
) -> tuple[Block, ...]:
    """A ruled table: `columns` are (heading, width in mm); one block a row, so it may break.

    The first column is set to the left, the others to the middle. Cells are wrapped, and
    broken at line ends.
    """
    blocks = [_table_row([c for c, _ in columns], columns, size_pt, range(len(columns)), 0.4)]
    blocks += [_table_row(r, columns, size_pt, bold_columns, 0.12) for r in rows]
    first = blocks[0]
    return (Block(first.height_mm, first.items, keep_with_next=True), *blocks[1:])


def _table_row(
    cells: Sequence[str],
    columns: Sequence[tuple[str, float]],
    size_pt: float,
    bold: Sequence[int] | range,
    rule_mm: float,
) -> Block:
    wrapped = [
        [
            w
            for part in cell.split("\n")
            for w in lettering.wrap(part, width - 2.0, size_pt, k in bold)
        ]
        for k, (cell, (_, width)) in enumerate(zip(cells, columns, strict=True))
    ]
    pitch = LEADING_MM * size_pt
    height = pitch * max(len(w) for w in wrapped) + 1.8
    items: list[Item] = []
    left = 0.0
    for k, (words, (_, width)) in enumerate(zip(wrapped, columns, strict=True)):
        at = left + 1.0 if k == 0 else left + width / 2
        anchor = "start" if k == 0 else "middle"
        for n, w in enumerate(words):
            v = height - 0.9 - pitch * (n + 0.78)
            items.append(Text(at, v, w, size_pt, k in bold, anchor))  # type: ignore[arg-type]
        left += width
    items.append(line([(0, 0), (left, 0)], rule_mm, stroke=BLACK if rule_mm > 0.2 else GREY))
    return Block(height, tuple(items))


def stack(blocks: Sequence[Block], u: float, top: float) -> tuple[list[Item], float]:
    """Blocks set downward from (u, top); also the v where they end."""
    items: list[Item] = []
    v = top
    for block in blocks:
        v -= block.height_mm
        if block.items:
            items.append(Group(block.items, u, v))
    return items, v


def pages_of(blocks: Sequence[Block], page: Page) -> tuple[tuple[Item, ...], ...]:
    """Blocks broken into pages; a heading is never left alone at the foot.

    Errors: ValueError when one block is higher than a page.
    """
    u0, _, _, v1 = page.window
    room = page.room[1]
    pages: list[list[Block]] = [[]]
    filled = 0.0
    for chunk in _chunks(blocks):
        height = sum(b.height_mm for b in chunk)
        if height > room:
            raise ValueError(f"a block of {height:.0f} mm does not fit a page of {room:.0f} mm")
        if (filled + height > room or chunk[0].new_page) and pages[-1]:
            pages.append([])
            filled = 0.0
        pages[-1] += chunk
        filled += height
    return tuple(tuple(stack(p, u0, v1)[0]) for p in pages)


def _chunks(blocks: Sequence[Block]) -> list[list[Block]]:
    chunks: list[list[Block]] = []
    current: list[Block] = []
    for block in blocks:
        current.append(block)
        if not block.keep_with_next:
            chunks.append(current)
            current = []
    return [*chunks, current] if current else chunks
