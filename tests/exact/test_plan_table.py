"""The hole list as text and the scrap-block card."""

import csv
import io
import math

import pytest

from graduale.plan.card import plan_card, scrap_card
from graduale.plan.holes import plan_guide_holes
from graduale.plan.records import HolePlan
from graduale.plan.table import COLUMNS, holes_csv
from graduale.records.instrument import Drill
from tests.exact.plan_cases import drill, oval, rim_zone
from tests.exact.plan_surfaces import bumpy
from tests.exact.test_plan_holes import target


def plan(how: Drill) -> HolePlan:
    outline = oval()
    return plan_guide_holes(
        "back", outline, bumpy(2), target, "maple", how, rim_zone(outline), allowance_mm=1.0
    )


def test_csv_says_what_the_plan_says() -> None:
    result = plan(drill())
    rows = list(csv.DictReader(io.StringIO(holes_csv(result))))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == len(result.holes)
    holes = {h.id: h for h in result.holes}
    for row in rows:
        hole = holes[row["id"]]
        assert float(row["rest_gap_mm"]) == pytest.approx(hole.setting_mm, abs=0.005)
        assert row["collar_depth_mm"] == ""
        sides = {1: "bass", 0: "middle", -1: "treble"}
        assert row["side"] == sides[round(math.copysign(1, hole.y_mm)) if hole.y_mm else 0]
    assert [r["group"] for r in rows] == sorted(r["group"] for r in rows)
    assert holes_csv(result) == holes_csv(plan(drill()))  # same input, same bytes


def test_csv_of_a_collar_fills_the_other_column() -> None:
    rows = list(csv.DictReader(io.StringIO(holes_csv(plan(drill(method="collar"))))))
    assert all(r["rest_gap_mm"] == "" and float(r["collar_depth_mm"]) > 0 for r in rows)


def test_card_on_the_rest() -> None:
    """Trade notes: a point stop of 4.0 leaves 3.46 at 20 and 2.79 at 30 degrees (rest of 5, bit
    6)."""
    rows = scrap_card(drill(bit_mm=6.0))
    assert [r.tilt_deg for r in rows] == [0.0, 10.0, 20.0, 30.0]
    assert rows[0].expect_mm == pytest.approx(4.0, abs=1e-3)
    assert rows[2].expect_mm == pytest.approx(3.46, abs=0.01)
    assert rows[3].expect_mm == pytest.approx(2.79, abs=0.01)
    assert rows[2].tolerance_mm == pytest.approx(0.14, abs=0.01)


def test_card_with_a_collar() -> None:
    rows = scrap_card(drill(method="collar"))
    for row in rows:
        assert row.setting_mm == 6.0
        upright = row.block_mm - row.setting_mm
        assert row.expect_mm == pytest.approx(
            upright * math.cos(math.radians(row.tilt_deg)), abs=0.005
        )


def test_card_of_a_plan_has_a_row_for_each_group() -> None:
    how = drill()
    result = plan(how)
    rows = plan_card(result, how)
    assert [r.group for r in rows] == [g.key for g in result.groups]
    assert [r.setting_mm for r in rows] == [g.setting_mm for g in result.groups]
    assert all(r.tilt_deg == 0.0 for r in rows if r.hold == "tilted")
    assert all(0.0 < r.expect_mm <= r.setting_mm + 1e-6 for r in rows)
