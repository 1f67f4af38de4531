"""A body that nobody has chosen: drawn by a seed inside the usual ranges, as an instrument file.

The ranges are those of the averages table of the trade and of the records of narrow fiddles
(common practice); a few dimensions stay unwritten, as on a real bench.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from graduale.files.defaults import default_rows, over_table
from graduale.jobs.new import compose
from graduale.jobs.result import DONE, JobResult
from graduale.store.out import write_file

LEFT_OUT = 4
KINDS = ("narrow-fiddle", "violin")
Draw = Callable[[float, float], float]
# Ranges of a violin-shaped narrow fiddle; the widths as shares of the body length.
_NARROW = {
    "body.length": (295.0, 340.0),
    "body.lower_width": (0.325, 0.355),
    "body.waist_width": (0.185, 0.205),
    "body.upper_width": (0.255, 0.28),
    "body.rib_height": (19.0, 24.0),
    "top.arch.crown": (11.5, 13.5),
    "back.arch.crown": (11.0, 13.0),
    "top.arch.edge": (3.2, 4.2),
    "back.arch.edge": (3.2, 4.2),
    "strings.length": (285.0, 315.0),
}
# A violin's dimensions lie this share (and as much the other way) about the averages of its size.
_ABOUT = {
    "body.upper_width": 0.015,
    "body.waist_width": 0.02,
    "body.lower_width": 0.012,
    "body.rib_height": 0.04,
    "top.arch.crown": 0.05,
    "back.arch.crown": 0.05,
    "top.arch.edge": 0.06,
    "back.arch.edge": 0.06,
}


def dimensions(seed: int, kind: str | None = None) -> tuple[str, dict[str, str]]:
    """The kind and its drawn dimensions (dotted key -> text); the same seed gives the same body.

    Errors: ValueError when `kind` is not one of KINDS.
    """
    rng = np.random.default_rng(seed)
    drawn = KINDS[int(rng.integers(len(KINDS)))]
    kind = drawn if kind is None else kind
    if kind not in KINDS:
        raise ValueError(f"no ranges are known for the kind '{kind}'")

    def draw(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 1)

    values = _narrow(draw) if kind == "narrow-fiddle" else _violin(draw)
    droppable = sorted(k for k in values if k != "body.length")
    dropped = rng.choice(droppable, size=LEFT_OUT, replace=False)
    kept = {key: f"{value:g}" for key, value in values.items() if key not in dropped}
    return kind, {"name": f"Seeded body {seed}, invented", **kept}


def _narrow(draw: Draw) -> dict[str, float]:
    values: dict[str, float] = {}
    for key, (low, high) in _NARROW.items():
        scale = values["body.length"] if key.endswith("_width") else 1.0
        values[key] = draw(low * scale, high * scale)
    return values


def _violin(draw: Draw) -> dict[str, float]:
    rows = default_rows("violin")
    length = draw(285.0, 356.0)
    values = {"body.length": length}
    for key, about in _ABOUT.items():
        row = rows["body.rib_height_lower" if key == "body.rib_height" else key]
        middle = over_table(length, row["at"], row["values"])
        values[key] = draw(middle * (1.0 - about), middle * (1.0 + about))
    return values


def seeded_toml(seed: int, kind: str | None = None) -> str:
    """The instrument file of the body drawn by `seed`."""
    kind, drawn = dimensions(seed, kind)
    return compose(kind, drawn, f"seeded-{seed}.toml")[1]


def run(seed: int, out: Path, kind: str | None = None) -> JobResult:
    """Writes the body drawn by `seed` to `out`. Errors: Refused when `out` exists."""
    kind, drawn = dimensions(seed, kind)
    write_file(out, compose(kind, drawn, out.name)[1])
    told = ", ".join(f"{k} {v}" for k, v in drawn.items() if k != "name")
    text = f"{out} is written: {kind} drawn by seed {seed} ({told})."
    return JobResult(DONE, text, {"file": str(out), "kind": kind, "seed": seed})
