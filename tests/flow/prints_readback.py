"""Reads printed PDFs back: every drawn path and every word with its place, in mm of the paper."""

import io
from dataclasses import dataclass, field

import numpy as np
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

from graduale.base.arrays import Floats

MM = 25.4 / 72.0


@dataclass
class Stroke:
    """One subpath as painted: points (n, 2) in mm, curves by their end points."""

    points: Floats
    closed: bool
    curved: bool
    width_mm: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        spread = np.ptp(self.points, axis=0)
        return float(spread[0]), float(spread[1])


@dataclass
class Page:
    """What stands on one page."""

    strokes: list[Stroke] = field(default_factory=list)
    clips: list[Floats] = field(default_factory=list)
    words: list[tuple[str, float, float]] = field(default_factory=list)

    @property
    def text(self) -> str:
        """All words in the order of drawing."""
        return " ".join(w for w, _, _ in self.words)

    def place(self, word: str) -> tuple[float, float]:
        """Where a word begins. Errors: KeyError when it is not on the page."""
        for text, u, v in self.words:
            if text.strip() == word:
                return u, v
        raise KeyError(word)

    def lines(self, long_mm: float, upright: bool, within: float = 0.2) -> list[Stroke]:
        """Straight pieces of two points, level or upright, of about this length."""
        axis, other = (1, 0) if upright else (0, 1)
        return [
            s
            for s in self.strokes
            if len(s.points) == 2 and abs(s.size[axis] - long_mm) <= within and s.size[other] < 1e-6
        ]


def reader(pdf: bytes) -> PdfReader:
    """The file, strictly read."""
    return PdfReader(io.BytesIO(pdf), strict=True)


def pages(pdf: bytes) -> list[Page]:
    """Every page."""
    document = reader(pdf)
    return [_read(page, document) for page in document.pages]


def _read(page: PageObject, document: PdfReader) -> Page:
    found = Page()
    _Walk(found).run(ContentStream(page.get_contents(), document))

    def visit(text: str, cm: list[float], tm: list[float], *rest: object) -> None:
        if text.strip():
            u = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            v = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            found.words.append((text, u * MM, v * MM))

    page.extract_text(visitor_text=visit)
    return found


class _Walk:
    """Follows the operators of one page."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.matrix = np.eye(3)
        self.width = 1.0
        self.saved: list[tuple[Floats, float]] = []
        self.subpaths: list[list[tuple[float, float]]] = []
        self.closed: list[bool] = []
        self.curved: list[bool] = []
        self.clipping = False

    def run(self, stream: ContentStream) -> None:
        for operands, operator in stream.operations:
            values = [float(o) for o in operands] if operator in PLAIN else []
            getattr(self, f"_{operator.decode().replace('*', '_star')}", _nothing)(*values)

    def _q(self) -> None:
        self.saved.append((self.matrix.copy(), self.width))

    def _Q(self) -> None:
        self.matrix, self.width = self.saved.pop()

    def _cm(self, a: float, b: float, c: float, d: float, e: float, f: float) -> None:
        self.matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ self.matrix

    def _w(self, width: float) -> None:
        self.width = width

    def _m(self, x: float, y: float) -> None:
        self.subpaths.append([(x, y)])
        self.closed.append(False)
        self.curved.append(False)

    def _l(self, x: float, y: float) -> None:
        self.subpaths[-1].append((x, y))

    def _c(self, a: float, b: float, c: float, d: float, x: float, y: float) -> None:
        self.subpaths[-1].append((x, y))
        self.curved[-1] = True

    def _h(self) -> None:
        self.closed[-1] = True

    def _re(self, x: float, y: float, w: float, h: float) -> None:
        self._m(x, y)
        for corner in ((x + w, y), (x + w, y + h), (x, y + h)):
            self._l(*corner)
        self._h()

    def _W(self) -> None:
        self.clipping = True

    _W_star = _W

    def _n(self) -> None:
        self._paint()

    def _S(self) -> None:
        self._paint()

    _f = _f_star = _B = _B_star = _S

    def _s(self) -> None:
        self.closed[-1] = True
        self._paint()

    _b = _b_star = _s

    def _paint(self) -> None:
        for points, closed, curved in zip(self.subpaths, self.closed, self.curved, strict=True):
            flat = np.column_stack([np.array(points), np.ones(len(points))]) @ self.matrix
            mm = flat[:, :2] * MM
            if self.clipping:
                self.page.clips.append(mm)
            else:
                width = self.width * float(np.sqrt(abs(np.linalg.det(self.matrix[:2, :2])))) * MM
                self.page.strokes.append(Stroke(mm, closed, curved, width))
        self.subpaths, self.closed, self.curved, self.clipping = [], [], [], False


PLAIN = {b"cm", b"w", b"m", b"l", b"c", b"re"}


def _nothing(*values: float) -> None:
    """Operators of text and colour."""
