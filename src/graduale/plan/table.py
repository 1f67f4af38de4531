"""The hole list as text of comma-separated values."""

import csv
import io
import math
from collections.abc import Callable

from graduale.plan.records import GuideHole, HolePlan

COLUMNS = (
    "id",
    "group",
    "plate",
    "x_mm",
    "y_mm",
    "side",
    "slope_deg",
    "method",
    "hold",
    "tilt_deg",
    "tilt_toward",
    "tilt_azimuth_deg",
    "bit",
    "depth_to",
    "rest_gap_mm",
    "collar_depth_mm",
    "depth_mm",
    "leaves_mm",
    "thinnest_x_mm",
    "thinnest_y_mm",
    "over_mm",
    "tolerance_mm",
)

# A setting of more than two digits is rounded so as to leave more wood.
LEAVES_MORE: dict[str, Callable[[float], int]] = {
    "rest_gap_mm": lambda v: math.ceil(v - 1e-4),
    "collar_depth_mm": lambda v: math.floor(v + 1e-4),
}


def holes_csv(plan: HolePlan) -> str:
    """One line a hole in the order of drilling (by group, then by number), with a head line.

    A setting that does not apply is left empty; y is positive to the bass, `side` says it again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    order = {g.key: i for i, g in enumerate(plan.groups)}
    for hole in sorted(plan.holes, key=lambda h: order[h.group]):
        writer.writerow([_cell(hole, name) for name in COLUMNS])
    return out.getvalue()


def _cell(hole: GuideHole, name: str) -> str:
    if name == "side":
        return "middle" if abs(hole.y_mm) < 0.005 else "bass" if hole.y_mm > 0 else "treble"
    value = getattr(hole, name)
    if value is None:
        return ""
    if name in LEAVES_MORE:
        return f"{LEAVES_MORE[name](100.0 * value) / 100.0:.2f}"
    if isinstance(value, float):
        digits = 1 if name.endswith("_deg") else 2
        return f"{round(value, digits) + 0.0:.{digits}f}"
    return str(value)
