"""What is missing, assumed, doubtful or contradictory in an instrument file."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from graduale.base.findings import Finding, Refused
from graduale.files.instrument import Loaded, load_instrument
from graduale.jobs.clashes import Shapes, clashes, shapes_of
from graduale.jobs.result import BAD_INPUT, DONE, JobResult
from graduale.records.instrument import Instrument, WoodChoice
from graduale.strings.setup import StringForces, setup_of
from graduale.wood.material import wood_of
from graduale.wood.species import species

# What changes the answer most, in the order in which it is worth measuring (common practice).
WORTH_MEASURING = (
    "body.length", "body.waist_width", "body.lower_width", "body.upper_width", "top.arch.crown",
    "back.arch.crown", "top.wood.board.mass", "back.wood.board.mass", "body.rib_height_lower",
    "body.stop", "strings.length", "strings.string", "top.arch.edge", "back.arch.edge",
    "bridge.height", "bridge.bass_foot_y", "neck.nut_height", "bar.height", "post.diameter",
    "workshop.printed_scale_x",
)  # fmt: skip
STEEP_DEG = 40.0


@dataclass(frozen=True, eq=False)
class Checked:
    """An instrument, what was found, and what its shapes and strings come to."""

    loaded: Loaded
    findings: tuple[Finding, ...]
    shapes: Shapes | None
    forces: StringForces | None


def run(path: Path) -> JobResult:
    """The report on the file at `path`; exit code 2 when it holds errors.

    Errors: Refused when the file cannot be read or its values contradict each other.
    """
    checked = inspect(load_instrument(path), path.name)
    wrong = any(f.level == "error" for f in checked.findings)
    return JobResult(
        BAD_INPUT if wrong else DONE, report(checked, path.name), document(checked, path.name)
    )


def inspect(loaded: Loaded, name: str) -> Checked:
    """Every finding of files, wood, geometry, clashes and strings."""
    i = loaded.instrument
    found = list(loaded.findings)
    found += _woods(i, name)
    shapes, reasons = shapes_of(i, name)
    found += reasons
    forces: StringForces | None = None
    if shapes is not None:
        found += clashes(i, shapes, name)
        found += _steep(shapes, name)
        found += _lower_eye(i, shapes, name)
    crown = i.top.arch.crown_mm
    if shapes is not None:
        crown = float(shapes.top.height(np.array([[i.bridge.x_mm, 0.0]]))[0])
    try:
        forces = setup_of(i.strings, i.bridge, i.neck, i.body, crown)
        found += _named(forces.findings, name)
    except Refused as refused:
        found += _named(refused.findings, name)
    return Checked(loaded, tuple(dict.fromkeys(found)), shapes, forces)


def _named(findings: tuple[Finding, ...], name: str) -> Iterator[Finding]:
    for f in findings:
        yield Finding(f.level, f.key, f"{name}: {f.where}" if f.where else name, f.sentence)


def _woods(i: Instrument, name: str) -> Iterator[Finding]:
    """Woods whose species is unknown, whose measures or compliance are impossible."""
    choices: tuple[tuple[str, WoodChoice], ...]
    choices = (("top.wood", i.top.wood), ("back.wood", i.back.wood), ("ribs.wood", i.rib_wood))
    for where, choice in choices:
        try:
            wood_of(choice, where)
        except Refused as refused:
            for f in refused.findings:
                place = where if f.where in ("wood", "") else f.where
                yield Finding(f.level, f.key, f"{name}: {place}", f.sentence)
    names = [("blocks.block_species", i.blocks.block_species)]
    names += [("blocks.lining_species", i.blocks.lining_species)]
    names += [("bar.species", i.bar.species)] if i.bar.present else []
    names += [("post.species", i.post.species)] if i.post.present else []
    for key, wood in names:
        try:
            species(wood)
        except Refused as refused:
            yield Finding(
                "error", "unknown-species", f"{name}: {key}", refused.findings[0].sentence
            )


def steepest_deg(shapes: Shapes) -> dict[str, float]:
    """The steepest slope (degrees) of each outside, 3 mm and more inside the edge."""
    x_low, y_low = shapes.outline.xy.min(axis=0)
    x_high, y_high = shapes.outline.xy.max(axis=0)
    x, y = np.meshgrid(np.arange(x_low, x_high, 3.0), np.arange(y_low, y_high, 3.0), indexing="ij")
    xy = np.column_stack([x.ravel(), y.ravel()])
    xy = xy[shapes.outline.edge_distance(xy) >= 3.0]
    surfaces = (("top", shapes.top), ("back", shapes.back))
    return {which: float(np.max(surface.slope_deg(xy))) for which, surface in surfaces}


def _steep(shapes: Shapes, name: str) -> Iterator[Finding]:
    for which, slope in steepest_deg(shapes).items():
        if slope > STEEP_DEG:
            sentence = (
                f"the outside slopes by up to {slope:.0f}°, steeper than a plate is carved; check "
                "crown, edge and channel against the widths."
            )
            yield Finding("warning", "steep-flank", f"{name}: {which}.arch", sentence)


def _lower_eye(i: Instrument, shapes: Shapes, name: str) -> Iterator[Finding]:
    """Says where the lower eyes stand when that is not as the maker wrote it."""
    key = "soundholes.lower_eye_edge"
    lower = [e for e in shapes.eyes if e.which == "lower"]
    if not lower or i.known[key].how in ("assumed", "derived"):
        return
    eye = lower[0]
    room = float(shapes.outline.edge_distance([[eye.x_mm, eye.y_mm]])[0]) - eye.radius_mm
    if abs(room - i.soundholes.lower_eye_edge_mm) > 1.0:
        sentence = (
            f"the lower eyes stand {room:.0f} mm from the edge, more than the "
            f"{i.soundholes.lower_eye_edge_mm:g} written, so that the slot does not lie too flat; "
            "write the hole's own points if it must be otherwise."
        )
        yield Finding("note", "lower-eye-further-in", f"{name}: {key}", sentence)


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
