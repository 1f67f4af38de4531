"""What is missing, assumed, doubtful or contradictory in an instrument file."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from graduale.base.findings import Finding, Refused
from graduale.base.threads import blas_threads
from graduale.files.instrument import Loaded, load_instrument
from graduale.jobs.check_report import (
    WORTH_MEASURING,
    Checked,
    document,
    report,
    steepest_deg,
)
from graduale.jobs.clashes import Shapes, clashes, shapes_of
from graduale.jobs.result import BAD_INPUT, DONE, JobResult
from graduale.records.instrument import Instrument, WoodChoice
from graduale.strings.setup import StringForces, setup_of
from graduale.wood.material import wood_of
from graduale.wood.species import species

__all__ = ["WORTH_MEASURING", "Checked", "inspect", "run", "sound"]

STEEP_DEG = 40.0


def run(path: Path) -> JobResult:
    """The report on the file at `path`; exit code 2 when it holds errors.

    Errors: Refused when the file cannot be read or its values contradict each other.
    """
    checked = inspect(load_instrument(path), path.name)
    wrong = any(f.level == "error" for f in checked.findings)
    return JobResult(
        BAD_INPUT if wrong else DONE, report(checked, path.name), document(checked, path.name)
    )


def sound(path: Path, loaded: Loaded | None = None) -> Instrument:
    """The instrument in the file at `path`, fit to be computed with.

    `loaded`: the same, read already. Errors: Refused, with everything that is wrong with it.
    """
    known = load_instrument(path) if loaded is None else loaded
    wrong = [f for f in inspect(known, path.name).findings if f.level == "error"]
    if wrong:
        raise Refused(wrong)
    return known.instrument


def inspect(loaded: Loaded, name: str) -> Checked:
    """Every finding of files, wood, geometry, clashes and strings."""
    with blas_threads():
        return _inspected(loaded, name)


def _inspected(loaded: Loaded, name: str) -> Checked:
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
            f"{i.soundholes.lower_eye_edge_mm:g} written, so that the slot does not lie too flat "
            "or too near the waist's edge; write the hole's own points if it must be otherwise."
        )
        yield Finding("note", "lower-eye-further-in", f"{name}: {key}", sentence)
