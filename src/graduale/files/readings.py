"""Caliper readings as CSV: plate, x, y, thickness, and where told stage, when, note.

    plate,x_mm,y_mm,thickness_mm,stage,when,note
    top,150,0,3.2,holes_cut,2026-11-20,

Commas, semicolons or tabs separate; with semicolons or tabs a decimal comma is read too. A reading
that cannot be right stops with its line and mend; one that is only doubtful is kept and flagged.
"""

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import Finding, Refused
from graduale.files.disk import read_text
from graduale.files.problems import error, first_of, nearest
from graduale.files.quantity import printable, shown

NEEDED = ("plate", "x_mm", "y_mm", "thickness_mm")
COLUMNS = (*NEEDED, "stage", "when", "note")
PLATES = ("top", "back")
MOST_ROWS = 20_000
LEAST_MM, MOST_MM = 0.3, 40.0
DOUBTFUL_MM = (0.8, 12.0)
_NUMBER = re.compile(r"^([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm)?$")


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings (n) in the body frame, mm; `doubtful` (n,) marks those that want a second look."""

    plate: tuple[str, ...]
    x_mm: Floats
    y_mm: Floats
    t_mm: Floats
    stage: tuple[str, ...]
    when: tuple[str, ...]
    note: tuple[str, ...]
    doubtful: tuple[bool, ...]
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        for name in ("x_mm", "y_mm", "t_mm"):
            object.__setattr__(self, name, freeze(getattr(self, name), (len(self.plate),)))


@dataclass(frozen=True)
class _Row:
    line: int
    plate: str
    x: float
    y: float
    t: float
    stage: str
    when: str
    note: str


def load_readings(path: Path) -> Readings:
    """The readings in the file at `path`. Raises Refused with every error found."""
    return parse_readings(read_text(path), path.name)


def parse_readings(text: str, name: str) -> Readings:
    """The readings in `text`; `name` is the file's name for the sentences. Raises Refused."""
    lines = _lines(text, name)
    (head_at, head), rows = lines[0], lines[1:]
    columns = _columns(head, head_at, name)
    if not rows:
        raise Refused([error("no-readings", name, "", "holds a header and no reading; measure.")])
    if len(rows) > MOST_ROWS:
        sentence = f"holds {len(rows)} readings; write at most {MOST_ROWS}."
        raise Refused([error("too-many-readings", name, "", sentence)])
    errors: list[Finding] = []
    read = [_row(cells, columns, line, name, errors) for line, cells in rows]
    if errors:
        raise Refused(first_of(errors, name))
    return _readings([r for r in read if r is not None], name)


def _lines(text: str, name: str) -> list[tuple[int, list[str]]]:
    """(line number, cells) of every line that is not empty and no remark."""
    plain = text.replace("\0", "")
    told = (row for row in plain.splitlines() if not row.lstrip().startswith("#"))
    first = next((row for row in told if row.strip(" \t,;")), "")
    mark = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(plain), delimiter=mark, skipinitialspace=True)
    found = []
    try:
        for cells in reader:
            trimmed = [c.strip() for c in cells]
            if any(trimmed) and not trimmed[0].startswith("#"):
                found.append((reader.line_num, trimmed))
    except csv.Error:
        place = f"line {reader.line_num}"
        sentence = "cannot be taken apart into columns; check its quotation marks."
        raise Refused([error("not-csv", name, place, sentence)]) from None
    if not found:
        sentence = f"is empty; write a header line {','.join(NEEDED)} and a line for each reading."
        raise Refused([error("no-readings", name, "", sentence)])
    return found


def _columns(head: list[str], line: int, name: str) -> dict[str, int]:
    names = [h.lower().replace(" ", "_") for h in head]
    place, errors = f"line {line}", []
    for at, column in enumerate(names):
        if column and column not in COLUMNS:
            near = nearest(column, COLUMNS)
            hint = f"did you mean '{near}'?" if near else f"known: {', '.join(COLUMNS)}."
            sentence = f"the column '{printable(head[at])}' is not known; {hint}"
            errors.append(error("unknown-column", name, place, sentence))
        elif column and names.index(column) != at:
            sentence = f"the column '{column}' stands twice; keep one."
            errors.append(error("column-twice", name, place, sentence))
    missing = [c for c in NEEDED if c not in names]
    if missing:
        sentence = f"the column {missing[0]} is missing; the header is {','.join(COLUMNS)}."
        errors.append(error("missing-column", name, place, sentence))
    if errors:
        raise Refused(first_of(errors, name))
    return {column: names.index(column) for column in COLUMNS if column in names}


def _row(
    cells: list[str], columns: dict[str, int], line: int, name: str, errors: list[Finding]
) -> _Row | None:
    place, before = f"line {line}", len(errors)
    if len(cells) > max(columns.values()) + 1 and any(cells[max(columns.values()) + 1 :]):
        sentence = (
            "holds more values than the header has columns; write decimals with a point, or "
            "separate with semicolons."
        )
        errors.append(error("too-many-cells", name, place, sentence))
        return None
    value = {c: cells[at] if at < len(cells) else "" for c, at in columns.items()}
    plate = value["plate"].lower()
    if plate not in PLATES:
        sentence = f"{shown(value['plate'])} is no plate; write top or back."
        errors.append(error("unknown-plate", name, place, sentence))
    numbers = {c: _number(value[c], c, name, place, errors) for c in NEEDED[1:]}
    if len(errors) > before:
        return None
    _check(numbers, name, place, errors)
    told = {c: value.get(c, "")[:200] for c in ("stage", "when", "note")}
    return _Row(line, plate, numbers["x_mm"], numbers["y_mm"], numbers["thickness_mm"], **told)


def _number(raw: str, column: str, name: str, place: str, errors: list[Finding]) -> float:
    found = _NUMBER.match(raw)
    number = float(found[1].replace(",", ".")) if found else math.nan
    if not math.isfinite(number):
        what = "is empty" if not raw else f"{shown(raw)} is no number"
        sentence = f"{column} {what}; write it in mm like 3.2, or take the line out."
        errors.append(error("bad-reading", name, place, sentence))
    return number


def _check(numbers: dict[str, float], name: str, place: str, errors: list[Finding]) -> None:
    t = numbers["thickness_mm"]
    if not LEAST_MM <= t <= MOST_MM:
        sentence = f"a thickness of {t:g} mm cannot be; {_slip(t)}."
        errors.append(error("impossible-thickness", name, place, sentence))
    for column in ("x_mm", "y_mm"):
        if abs(numbers[column]) > 1500.0:
            sentence = f"{column} {numbers[column]:g} lies off any plate; correct it."
            errors.append(error("impossible-place", name, place, sentence))


def _slip(t: float) -> str:
    """What a thickness that cannot be was perhaps meant to be, and what to do."""
    mend = "correct it or take the line out"
    if t <= 0.0:
        return f"write what the caliper shows; {mend}"
    for factor in (0.1, 0.01, 10.0):
        if 1.0 <= t * factor <= 8.0:
            return f"did you mean {t * factor:.3g} mm? If not, {mend}"
    inches = 25.4 * t
    return f"was it {inches:.2f} mm, read in inches? If not, {mend}" if inches <= 8.0 else mend


def _readings(rows: Sequence[_Row], name: str) -> Readings:
    usual = {p: _usual([r.t for r in rows if r.plate == p]) for p in PLATES}
    found: list[Finding] = []
    doubtful = []
    for row in rows:
        sentence = _doubt(row, usual[row.plate])
        doubtful.append(bool(sentence))
        if sentence:
            where = f"{name}: line {row.line}"
            found.append(Finding("warning", "doubtful-reading", where, sentence))
    return Readings(
        plate=tuple(r.plate for r in rows),
        x_mm=freeze([r.x for r in rows]),
        y_mm=freeze([r.y for r in rows]),
        t_mm=freeze([r.t for r in rows]),
        stage=tuple(r.stage for r in rows),
        when=tuple(r.when for r in rows),
        note=tuple(r.note for r in rows),
        doubtful=tuple(doubtful),
        findings=tuple(found),
    )


def _usual(values: list[float]) -> float | None:
    return median(values) if len(values) >= 5 else None


def _doubt(row: _Row, usual: float | None) -> str:
    """Why a reading wants a second look; empty when it does not."""
    low, high = DOUBTFUL_MM
    far = usual is not None and not usual / 3.0 <= row.t <= 3.0 * usual
    if low <= row.t <= high and not far:
        return ""
    beside = "" if usual is None else f" (the plate's middle reading is {usual:.3g})"
    tenth = row.t / 10.0
    slip = f"was it {tenth:.3g}? " if 1.0 <= tenth <= 8.0 else ""
    return f"{row.t:g} mm is doubtful{beside}; {slip}measure again, or take the line out."
