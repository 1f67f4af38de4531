"""What `check` found, as text for the maker and as plain JSON values."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from graduale.base.findings import Finding
from graduale.files.instrument import Loaded
from graduale.jobs.clashes import Shapes
from graduale.records.instrument import Instrument
from graduale.strings.setup import StringForces

# What changes the answer most, in the order in which it is worth measuring (common practice).
WORTH_MEASURING = (
    "body.length", "body.waist_width", "body.lower_width", "body.upper_width", "top.arch.crown",
    "back.arch.crown", "top.wood.board.mass", "back.wood.board.mass", "body.rib_height_lower",
    "body.stop", "strings.length", "strings.string", "top.arch.edge", "back.arch.edge",
    "bridge.height", "bridge.bass_foot_y", "neck.nut_height", "bar.height", "post.diameter",
    "workshop.printed_scale_x",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Checked:
    """An instrument, what was found, and what its shapes and strings come to."""

    loaded: Loaded
    findings: tuple[Finding, ...]
    shapes: Shapes | None
    forces: StringForces | None


def steepest_deg(shapes: Shapes) -> dict[str, float]:
    """The steepest slope (degrees) of each outside, 3 mm and more inside the edge."""
    x_low, y_low = shapes.outline.xy.min(axis=0)
    x_high, y_high = shapes.outline.xy.max(axis=0)
    x, y = np.meshgrid(np.arange(x_low, x_high, 3.0), np.arange(y_low, y_high, 3.0), indexing="ij")
    xy = np.column_stack([x.ravel(), y.ravel()])
    xy = xy[shapes.outline.edge_distance(xy) >= 3.0]
    surfaces = (("top", shapes.top), ("back", shapes.back))
    return {which: float(np.max(surface.slope_deg(xy))) for which, surface in surfaces}


def report(checked: Checked, name: str) -> str:
    """The findings as text: errors, doubts, what the set-up comes to, what is assumed."""
    i = checked.loaded.instrument
    lines = [f"{name}: {i.name} ({i.kind})", ""]
    for level, title in (("error", "To mend"), ("warning", "Doubtful")):
        found = [f for f in checked.findings if f.level == level]
        lines += [f"{title} ({len(found)}):", *(f"  {_short(f, name)}" for f in found)]
        lines += [] if found else ["  nothing"]
    notes = [f for f in checked.findings if f.level == "note"]
    lines += ["Notes:", *(f"  {_short(f, name)}" for f in notes)] if notes else []
    lines += ["", *_comes_to(checked)]
    lines += ["", "Worth measuring first:", *(f"  {line}" for line in _missing(i))]
    assumed = [(k, p) for k, p in i.known.items() if p.how == "assumed"]
    lines += ["", f"Assumed ({len(assumed)} of {len(i.known)} values), with its source:"]
    lines += [f"  {k} = {_figure(checked.loaded, k)}: {p.source}" for k, p in assumed]
    return "\n".join(lines)


def _short(f: Finding, name: str) -> str:
    where = f.where.removeprefix(f"{name}: ")
    return f"{where}: {f.sentence}" if where and where != name else f.sentence


def _figure(loaded: Loaded, key: str) -> str:
    value = loaded.values.get(key)
    if value is None:
        return "the set of the kind"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _comes_to(checked: Checked) -> list[str]:
    lines = []
    if checked.forces is not None:
        f = checked.forces
        lines.append(
            f"Strings: {f.tension_total_n:.0f} N in all, break angle {f.break_angle_deg:.1f}°, "
            f"pressing {f.press_total_n:.0f} N on the top "
            f"({', '.join(f'{s.note} {s.tension_n:.0f}' for s in f.lines)} N)."
        )
    if checked.shapes is not None:
        slopes = steepest_deg(checked.shapes)
        lines.append(f"Steepest flank: top {slopes['top']:.0f}°, back {slopes['back']:.0f}°.")
    return lines


def _missing(i: Instrument) -> list[str]:
    lines = []
    for key in WORTH_MEASURING:
        known = i.known.get(key)
        if key.endswith("board.mass"):
            plate = key.split(".")[0]
            if known is None:
                lines.append(f"{plate}.wood.board: weigh, measure and tap the {plate}'s board.")
        elif known is not None and known.how == "assumed":
            lines.append(f"{key}: assumed so far.")
    return lines[:8] or ["nothing; all that weighs most was measured or given."]


def document(checked: Checked, name: str) -> dict[str, Any]:
    """The same as plain JSON values."""
    i, f = checked.loaded.instrument, checked.forces
    fields = ("key", "where", "sentence")
    found = {
        level: [{k: getattr(x, k) for k in fields} for x in checked.findings if x.level == level]
        for level in ("error", "warning", "note")
    }
    assumed = [
        {"key": k, "value": checked.loaded.values.get(k), "source": p.source, "spread": p.spread}
        for k, p in i.known.items()
        if p.how == "assumed"
    ]
    strings = {}
    if f is not None:
        strings = {
            "tension_n": {s.note: round(s.tension_n, 2) for s in f.lines},
            "tension_total_n": round(f.tension_total_n, 2),
            "press_total_n": round(f.press_total_n, 2),
            "break_angle_deg": round(f.break_angle_deg, 2),
        }
    slopes = {} if checked.shapes is None else steepest_deg(checked.shapes)
    return {
        "file": name,
        "name": i.name,
        "kind": i.kind,
        "errors": found["error"],
        "warnings": found["warning"],
        "notes": found["note"],
        "assumed": assumed,
        "worth_measuring": _missing(i),
        "strings": strings,
        "steepest_deg": {k: round(v, 1) for k, v in slopes.items()},
    }
