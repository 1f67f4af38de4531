"""The use case `decide`: an instrument file in, a folder with the decision and the bench sheets
out."""

import datetime
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from graduale.base.arrays import GridMap
from graduale.base.crew import crew
from graduale.base.findings import Refused
from graduale.base.progress import Progress, part
from graduale.base.threads import blas_threads
from graduale.box.plate import PlateBody
from graduale.files.instrument import load_instrument, workshop_for
from graduale.files.workshop import WORKSHOP_NAME
from graduale.jobs import check
from graduale.jobs.deciding import Decided, decide
from graduale.jobs.document import as_bytes, document, map_document, map_from
from graduale.jobs.drawings import bench_sheets
from graduale.jobs.holeplan import Targets, plans_of, stages_of
from graduale.jobs.pictures import pictures_of
from graduale.jobs.reasons import sections
from graduale.jobs.reference import PLATES, reference
from graduale.jobs.result import DONE, NO_SAFE_MAP, JobResult
from graduale.jobs.summary import summary
from graduale.plan.records import HolePlan
from graduale.plan.table import holes_csv
from graduale.prints.bench import bench_sheets_pdf
from graduale.prints.frame import Paper
from graduale.records.instrument import Instrument, PlateName
from graduale.store.out import check_folder, write_folder

INSTRUMENT_NAME = "instrument.toml"
DATE_VARIABLE = "GRADUALE_DATE"
PAPERS: tuple[Paper, ...] = ("A4", "Letter")
Files = dict[str, bytes | str]


def today() -> str:
    """The date on the sheets: GRADUALE_DATE, else today."""
    return os.environ.get(DATE_VARIABLE) or datetime.date.today().isoformat()


def sheets_name(instrument: Instrument) -> str:
    """The sheets for the maker's own paper."""
    return f"sheets-{instrument.workshop.paper}.pdf"


def run(path: Path, out: Path, progress: Progress) -> JobResult:
    """Decides, writes the folder, returns the summary; exit code 3 when no safe map was found.

    Errors: Refused (input, or a folder that cannot be written), Cancelled.
    """
    check_folder(out)
    loaded = load_instrument(path)
    raw = path.read_bytes()
    seen = check.inspect(loaded, path.name).findings
    if any(f.level == "error" for f in seen):
        raise Refused([f for f in seen if f.level == "error"])
    doubts = [f.line().removeprefix(f"{path.name}: ") for f in seen if f.level == "warning"]
    with blas_threads(), crew() as helpers:
        known = reference(part(progress, 0.0, 0.3), helpers)
        made = decide(loaded.instrument, known, part(progress, 0.3, 0.85), helpers)
        progress(0.86, "holes")
        found, files = _files(made, doubts, part(progress, 0.86, 0.98))
    files[INSTRUMENT_NAME] = raw
    shop = workshop_for(path)
    if shop is not None:
        files[WORKSHOP_NAME] = shop.read_bytes()
    text = summary(found, loaded.instrument, str(out), sheets_name(loaded.instrument))
    files["summary.txt"] = text + "\n"
    progress(0.99, "write")
    write_folder(out, files)
    safe = bool(found["safe"])
    return JobResult(DONE if safe else NO_SAFE_MAP, text, found)


def _files(made: Decided, doubts: list[str], progress: Progress) -> tuple[dict[str, Any], Files]:
    targets = {w: targets_of(made, w) for w in PLATES}
    stages = {w: stages_of(t) for w, t in targets.items()}
    plans = plans_of(made.instrument, targets)
    stored = as_bytes(document(made, plans, stages) | {"doubtful": doubts})
    found: dict[str, Any] = json.loads(stored)  # sheets and words come from what is stored
    progress(0.4, "sheets")
    bodies = {w: made.plates[w].body for w in PLATES}
    shown = plans if found["safe"] else {}
    files: Files = {"decision.json": stored}
    files |= paper_files(made.instrument, bodies, found, shown)
    files |= pictures_of(made, found, today())
    return found, files


def targets_of(made: Decided, which: PlateName) -> Targets:
    """The maps that a plate's work is planned from, as they are stored: so a later `holes` or
    `sheets` finds the same settings."""
    plate = made.plates[which]
    before = [_as_stored(s.thickness) for s in plate.states if s.name == "before_holes"]
    return Targets(
        plate.body,
        plate.wood_kind,
        _as_stored(plate.finished.thickness),
        before[0] if before else None,
        plate.platform,
    )


def _as_stored(grid: GridMap) -> GridMap:
    return map_from(map_document(grid))


def paper_files(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    found: Mapping[str, Any],
    plans: Mapping[PlateName, HolePlan],
    papers: tuple[Paper, ...] = PAPERS,
) -> Files:
    """Bench sheets as PDF, hole lists as CSV."""
    shop = instrument.workshop
    sheets = bench_sheets(instrument, bodies, found, plans, sections(found, instrument), today())
    out: Files = {
        f"sheets-{paper}.pdf": bench_sheets_pdf(sheets, paper, shop.printer_x, shop.printer_y)
        for paper in papers
    }
    for which, plan in plans.items():
        out[f"holes-{which}.csv"] = holes_csv(plan)
    return out
