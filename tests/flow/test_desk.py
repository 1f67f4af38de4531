"""A plate on the bench, without browser and server: grams, marks, slips; against a slow twin."""

import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from graduale.base.arrays import GridMap
from graduale.geometry.surface import shortest_distance
from graduale.jobs.bench import Workshop
from graduale.jobs.book import add
from graduale.jobs.desk import Desk
from graduale.jobs.judge_known import OnGrid
from graduale.readings.typed import doubtful, typed_thickness
from tests.flow.typed import NARROW


@pytest.fixture
def workshop(tmp_path: Path, decided_folder: Path) -> Iterator[Workshop]:
    path = tmp_path / "w.book"
    add(path, NARROW, decided_folder)
    one = Workshop(path)
    yield one
    one.close()


def only(workshop: Workshop) -> str:
    """The id of the one instrument."""
    (held,) = workshop.book.instruments()
    return held.id


def sent(state: dict[str, Any], which: str, typed: list[str]) -> list[dict[str, Any]]:
    """Readings at the first stations."""
    return [
        {
            "id": secrets.token_hex(16),
            "kind": "reading",
            "plate": which,
            "stage": state["stage"],
            "station": s["name"],
            "typed": text,
            "x_mm": s["x_mm"],
            "y_mm": s["y_mm"],
        }
        for s, text in zip(state["stations"], typed, strict=False)
    ]


def thicker(desk: Desk, more_mm: float) -> GridMap:
    """The decided map with `more_mm` added on the carved part, as far as the outside allows."""
    grid = desk.end_map(desk.stages[-1])
    points = desk.places(desk.stages[-1].tool)
    t = grid.values[np.isfinite(grid.values)]
    more = np.where(points.seat, t, np.clip(t + more_mm, t, np.maximum(points.highest, t)))
    return desk.grid.map_of(more)


def upright(desk: Desk, rule: OnGrid, points: np.ndarray) -> np.ndarray:
    """Depth straight down (n,) at which the shortest way out is what the rule wants."""
    arching = desk.layout.body.arching
    wanted, height = rule(points), arching.height(points)
    depth = wanted / arching.normal(points)[:, 2]
    for _ in range(8):
        under = np.column_stack([points, np.maximum(height - depth, 0.0)])
        left, _foot = shortest_distance(arching, under)
        depth = np.minimum(depth * (wanted / np.maximum(left, 1e-6)) ** 0.8, height)
    return depth


@pytest.mark.parametrize("which", ["top", "back"])
def test_grams_of_a_layer_by_brute_force(workshop: Workshop, which: str) -> None:
    """0.3 more on the carved part, column by column between the two insides, within 2 %."""
    desk = workshop.desk(only(workshop), which)  # type: ignore[arg-type]
    decided, grown = desk.end_map(desk.stages[-1]), thicker(desk, 0.3)
    body = desk.layout.body
    x, y = np.meshgrid(np.arange(0.5, 320.0, 1.0), np.arange(-56.0, 56.0, 1.0), indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel()])
    wood = shapely.contains_xy(desk.layout.free, points[:, 0], points[:, 1])
    for ring in body.openings:
        wood &= ~shapely.contains_xy(shapely.Polygon(ring), points[:, 0], points[:, 1])
    points = points[wood]
    lower, upper = (upright(desk, OnGrid(desk.layout, m), points) for m in (decided, grown))
    grams = float((upper - lower).sum()) * body.wood.density_kg_m3 * 1e-6
    ours = desk.grams(GridMap(grown.x_mm, grown.y_mm, grown.values - decided.values))
    assert ours == pytest.approx(grams, rel=0.02)


def test_marks_follow_target_scatter_and_floor(workshop: Workshop) -> None:
    id = only(workshop)
    state = workshop.state(id, "back", "scraper", "still")
    aims = [(s["target_mm"], s["floor_mm"]) for s in state["stations"][8:12]]
    texts = [
        f"{aims[0][0] + 0.4:.2f}",
        f"{aims[1][0]:.2f}",
        f"{0.5 * (aims[2][0] - 0.06 + max(aims[2][1], aims[2][0] - 0.3)):.2f}",
        f"{aims[3][1] - 0.1:.2f}",
    ]
    part = {**state, "stations": state["stations"][8:12]}
    answers = workshop.take(id, sent(part, "back", texts))
    assert all(a["kept"] for a in answers)
    found = workshop.state(id, "back", "scraper", "still")
    assert [s["mark"] for s in found["stations"][8:12]] == ["on", "within", "thin", "below"]
    assert "below the floor" in found["alarms"][0]["text"]
    assert found["needed"] == 2


def test_an_entry_that_cannot_be_is_told_and_the_others_go_in(workshop: Workshop) -> None:
    id = only(workshop)
    state = workshop.state(id, "top", None, "still")
    good, letters, off = sent(state, "top", ["3.3", "three", "3.3"])
    off |= {"x_mm": 900.0}
    told = workshop.take(id, [good, letters, off, {"kind": "rocket"}, good])
    assert [t["kept"] for t in told] == [True, False, False, False, True]
    assert [t["key"] for t in told if not t["kept"]] == ["no_number", "off-plate", "not-an-entry"]
    assert workshop.count(id) == 2 + 1  # file, decision, the reading once


@pytest.mark.parametrize(
    ("text", "mm"),
    [("2,53", 2.53), ("+002.53", 2.53), (".98", 0.98), ("2.53mm", 2.53), ("0.1 in", 2.54)],
)
def test_what_calipers_type(text: str, mm: float) -> None:
    assert typed_thickness(text).mm == pytest.approx(mm)


@pytest.mark.parametrize("text", ["", "abc", "2.5.3", "-2.5", "1e3", "2 5", "２．５", "nan", "inf"])
def test_what_is_no_number(text: str) -> None:
    assert typed_thickness(text).wrong == "no_number"


def test_slips() -> None:
    """A factor of ten, more than the wood there, unlike its neighbours; and what is none."""
    assert doubtful(32.0, 14.0, 3.2)
    assert doubtful(0.3, 14.0, None)
    assert doubtful(9.0, 8.0, None)
    assert doubtful(2.0, 14.0, 3.5)
    assert not doubtful(2.8, 14.0, 3.2)


def test_the_same_scales_whoever_asks_first(workshop: Workshop, tmp_path: Path) -> None:
    """The state is a function of the entries: one by one ends where all at once ends."""
    id = only(workshop)
    state = workshop.state(id, "back", None, "left")
    texts = [f"{s['target_mm'] + 0.03 * (i % 7):.2f}" for i, s in enumerate(state["stations"][:20])]
    for item in sent(state, "back", texts):
        workshop.take(id, [item])
        last = workshop.state(id, "back", None, "left")
    again = Workshop(tmp_path / "w.book")
    assert again.state(id, "back", None, "left") == last
    again.close()
