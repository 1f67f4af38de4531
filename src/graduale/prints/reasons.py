"""One page of words: why the plate is as it is, and what to take care of."""

from collections.abc import Sequence

from graduale.prints.data import PageHead, Words
from graduale.prints.flow import heading, paragraph
from graduale.prints.sheet import Block, TextSheet

ROOM_MM = 206.0  # the lowest page
SIZES_PT = (11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0)


def reasons_sheet(
    head: PageHead, sections: Sequence[Words], title: str = "Reasons and cautions"
) -> TextSheet:
    """Headings and paragraphs in the largest letters that keep them on one page.

    At 8 pt they may run on to a second page: nothing is left out.
    """
    blocks: tuple[Block, ...] = ()
    for size in SIZES_PT:
        blocks = _set(sections, size)
        if sum(b.height_mm for b in blocks) <= ROOM_MM:
            break
    return TextSheet(head, title, blocks)


def _set(sections: Sequence[Words], size_pt: float) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for s in sections:
        blocks.append(heading(s.heading, size_pt=size_pt + 1.5))
        blocks += [paragraph(p, size_pt=size_pt) for p in s.paragraphs]
    return tuple(blocks)
