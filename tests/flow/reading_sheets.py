"""Sheets read back from their PDF; guide holes judged by brute force over a whole plate."""

from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

from graduale.base.arrays import Floats
from graduale.geometry.outline import Outline
from graduale.plan.nearest import Outside
from tests.exact.plan_cases import Judge
from tests.flow.prints_readback import Page, Stroke, pages

CLOUD_MM = 0.25


def sheet_pages(pdf: Path) -> list[Page]:
    """Every page of a printed file."""
    return pages(pdf.read_bytes())


def with_words(found: list[Page], *words: str) -> list[Page]:
    """Pages whose text holds all these words."""
    return [p for p in found if all(w in p.text for w in words)]


def plate_on(page: Page) -> Stroke:
    """The plate's edge: the tallest closed path drawn with a heavy line."""
    heavy = [s for s in page.strokes if s.closed and s.width_mm > 0.4 and len(s.points) > 100]
    return max(heavy, key=lambda s: s.size[1])


def judge_over(outline: Outline, outside: Outside) -> Judge:
    """The outside of a whole plate as a cloud of points 0.25 mm apart, 6 mm beyond its edge."""
    low, high = outline.xy.min(axis=0) - 6.0, outline.xy.max(axis=0) + 6.0
    axes = [np.arange(a, b, CLOUD_MM) for a, b in zip(low, high, strict=True)]
    xy: Floats = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
    cloud = np.column_stack([xy, outside.height(xy)])
    return Judge(cloud, cKDTree(cloud))
