"""Bodies drawn by a seed inside the ranges that the trade's public tables and records hold.

The ranges are those of the averages table of violins of all sizes, of violas, and of the records of
narrow fiddles (violin-shaped and boat-shaped), each dimension on its own a few per cent about them:
common practice, no source. Some bodies contradict themselves; `graduale check` says so.
"""

from collections.abc import Callable

import numpy as np

from graduale.files.defaults import default_rows, over_table
from graduale.jobs.new import compose
from graduale.jobs.seeded import seeded_toml

KINDS = ("seeded", "violin", "narrow", "viola", "small")
Draw = Callable[[float, float], float]
Values = dict[str, float | bool]
# Share of the table's value by which a dimension may lie off it.
ABOUT = {
    "body.upper_width": 0.05,
    "body.waist_width": 0.07,
    "body.lower_width": 0.05,
    "body.rib_height_upper": 0.15,
    "body.rib_height_lower": 0.15,
    "top.arch.crown": 0.18,
    "back.arch.crown": 0.18,
    "top.arch.edge": 0.15,
    "back.arch.edge": 0.15,
    "soundholes.length": 0.05,
    "soundholes.upper_eye_gap": 0.06,
    "body.upper_at": 0.02,
    "body.waist_at": 0.02,
    "body.lower_at": 0.05,
    "body.upper_corner_at": 0.02,
    "body.lower_corner_at": 0.03,
    "body.upper_corner_width": 0.04,
    "body.lower_corner_width": 0.04,
    "top.arch.channel_at": 0.2,
    "back.arch.channel_at": 0.2,
    "blocks.corner_depth": 0.3,
    "blocks.end_depth": 0.2,
    "body.rib_thickness": 0.1,
    "bar.length": 0.05,
}
WRITTEN = 0.6  # of these a body writes so many; the rest follows its kind, as on a real bench


def drawn_toml(seed: int) -> tuple[str, str]:
    """Which of KINDS, and the instrument file of the body drawn by `seed`. Errors: Refused."""
    rng = np.random.default_rng(seed)
    which = KINDS[seed % len(KINDS)]
    if which == "seeded":
        return which, seeded_toml(seed)

    def draw(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 2)

    kind, values = {"violin": _violin, "narrow": _narrow, "viola": _viola, "small": _small}[which](
        draw
    )
    values |= _choices(rng, which)
    typed = {k: str(v).lower() if isinstance(v, bool) else f"{v:g}" for k, v in values.items()}
    return which, compose(kind, typed, f"drawn-{seed}.toml")[1]


def _choices(rng: np.random.Generator, which: str) -> Values:
    """What a maker may have or leave out."""
    out: Values = {}
    for key, share in (
        ("bar.present", 0.85),
        ("post.present", 0.85),
        ("soundholes.present", 0.4 if which == "small" else 0.93),
    ):
        if rng.random() > share:
            out[key] = False
    if rng.random() < 0.2:
        out["blocks.lining_width"] = 0.0
    if rng.random() < 0.1:
        out["left_handed"] = True
    return out


def _around(draw: Draw, kind: str, values: Values) -> Values:
    """Some of ABOUT, each within its share of what the kind's own row gives."""
    rows = default_rows(kind)
    for key, share in ABOUT.items():
        if key not in values and draw(0.0, 1.0) < WRITTEN:
            middle = _row_value(rows, key, values)
            values[key] = round(middle * draw(1.0 - share, 1.0 + share), 2)
    return values


def _row_value(rows: dict[str, dict[str, object]], key: str, values: Values) -> float:
    """The value of a row, by what is drawn so far and by other rows."""
    if key in values:
        return float(values[key])
    row = rows[key]
    if "over" in row:
        return over_table(_row_value(rows, row["over"], values), row["at"], row["values"])
    if "sum" in row:
        total = sum(_row_value(rows, k, values) * f for k, f in row["sum"])
        return max(total + row.get("const", 0.0), row.get("at_least", -np.inf))
    return float(row["value"])


def _violin(draw: Draw) -> tuple[str, Values]:
    return "violin", _around(draw, "violin", {"body.length": draw(285.0, 356.0)})


def _viola(draw: Draw) -> tuple[str, Values]:
    return "viola", _around(draw, "viola", {"body.length": draw(390.0, 430.0)})


def _narrow(draw: Draw) -> tuple[str, Values]:
    """Violin-shaped, up to 108 wide and 440 over all; the waist 40 to 65."""
    length = draw(270.0, 345.0)
    lower = draw(80.0, 112.0)
    values: Values = {
        "body.length": length,
        "body.lower_width": lower,
        "body.upper_width": round(lower * draw(0.7, 0.85), 2),
        "body.waist_width": round(lower * draw(0.5, 0.6), 2),
        "body.rib_height": draw(15.0, 24.0),
    }
    return "narrow-fiddle", _around(draw, "narrow-fiddle", values)


def _small(draw: Draw) -> tuple[str, Values]:
    """As narrow as the boat-shaped ones, 215 to 300 long and up to 60 wide, but with a waist."""
    length = draw(215.0, 300.0)
    lower = draw(44.0, 75.0)
    values: Values = {
        "body.length": length,
        "body.lower_width": lower,
        "body.upper_width": round(lower * draw(0.72, 0.92), 2),
        "body.waist_width": round(lower * draw(0.55, 0.68), 2),
        "body.rib_height": draw(9.0, 22.0),
        "top.arch.crown": draw(6.0, 10.0),
        "back.arch.crown": draw(6.0, 10.0),
        "blocks.end_width": draw(12.0, 22.0),
    }
    return "narrow-fiddle", _around(draw, "narrow-fiddle", values)
