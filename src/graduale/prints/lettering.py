"""The one typeface of all prints, DejaVu Sans Condensed (shipped with its licence); widths."""

from functools import cache
from importlib import resources

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "GradualePlain", "GradualeBold"
FAMILY = "DejaVu Sans Condensed"
FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
PT_MM = 25.4 / 72.0
ASCENT, DESCENT = 0.76 * PT_MM, 0.18 * PT_MM  # mm for one point: capitals and figures, tails


def font_path(bold: bool) -> str:
    """Path of the typeface file inside the package."""
    name = FILES[BOLD if bold else REGULAR]
    return str(resources.files("graduale.prints").joinpath("fonts", name))


@cache
def register() -> None:
    """Makes both faces known to the PDF library; once is enough."""
    pdfmetrics.registerFont(TTFont(REGULAR, font_path(False)))
    pdfmetrics.registerFont(TTFont(BOLD, font_path(True)))


def width_mm(words: str, size_pt: float, bold: bool = False) -> float:
    """Width of one line of text."""
    register()
    return float(pdfmetrics.stringWidth(words, BOLD if bold else REGULAR, size_pt)) * PT_MM


def wrap(words: str, width_mm_: float, size_pt: float, bold: bool = False) -> list[str]:
    """Words broken into lines no wider than `width_mm_` (a single longer word stands alone)."""
    lines: list[str] = []
    current = ""
    for word in words.split():
        trial = f"{current} {word}".strip()
        if current and width_mm(trial, size_pt, bold) > width_mm_:
            lines.append(current)
            current = word
        else:
            current = trial
    return [*lines, current] if current or not lines else lines
