"""The use case `holes`: plan the guide holes of a decision again, without deciding anew."""

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from graduale.base.findings import refuse
from graduale.base.progress import Progress
from graduale.base.threads import blas_threads
from graduale.jobs.decide import Files, paper_files, sheets_name
from graduale.jobs.document import as_bytes, plan_document
from graduale.jobs.drawings import bit_text, setting_text
from graduale.jobs.earlier import read_earlier
from graduale.jobs.holeplan import plans_of
from graduale.jobs.overrides import with_drill
from graduale.jobs.reference import PLATES
from graduale.jobs.result import DONE, JobResult
from graduale.jobs.summary import summary
from graduale.plan.records import HolePlan
from graduale.prints.figures import short_unit
from graduale.records.instrument import Instrument, PlateName
from graduale.store.out import check_folder, write_folder, written


def run(
    folder: Path, out: Path | None, overrides: Mapping[str, str], progress: Progress
) -> JobResult:
    """Plans again and writes hole lists and sheets; into `folder` itself unless `out` is given.

    Errors: Refused when the decision is missing, not safe, or an override is no value.
    """
    earlier = read_earlier(folder)
    if not earlier.document["safe"]:
        raise refuse(
            "not-safe", str(folder), "holds no safe map; there are no holes to plan. Cure it first."
        )
    target = out or folder
    check_folder(target)
    instrument = with_drill(earlier.instrument, overrides)
    progress(0.1, "holes")
    with blas_threads():
        plans = plans_of(instrument, earlier.targets())
        found = dict(earlier.document)
        found["guide_holes"] = [asdict(h) for w in PLATES for h in plans[w].holes]
        found["drill"] = asdict(instrument.drill)
        found["hole_plans"] = {w: plan_document(plans[w]) for w in PLATES}
        progress(0.6, "sheets")
        files: Files = {"decision.json": as_bytes(found)}
        files |= paper_files(instrument, earlier.bodies, found, plans)
    sheets = sheets_name(instrument)
    files["summary.txt"] = summary(found, instrument, str(target), sheets) + "\n"
    if out is not None:
        files = carried(folder) | files
    progress(0.95, "write")
    write_folder(target, files, keep=True)
    return JobResult(
        DONE, _text(found, plans, target, instrument), {"guide_holes": found["guide_holes"]}
    )


def carried(folder: Path) -> Files:
    """What a new folder takes over from the earlier one so that it stands on its own."""
    return {n: (folder / n).read_bytes() for n in written(folder) if (folder / n).is_file()}


def _text(
    found: Mapping[str, Any],
    plans: Mapping[PlateName, HolePlan],
    target: Path,
    instrument: Instrument,
) -> str:
    units, step_mm = instrument.workshop.units, instrument.drill.step_mm
    unit = short_unit(units)
    lines = [f"{found['instrument']}   decision {found['digest']}"]
    for which, plan in plans.items():
        settings = ", ".join(
            f"{g.key} {setting_text(g.setting_mm, g.method, units, step_mm)} {unit} ({g.count})"
            for g in plan.groups
        )
        bit = bit_text(plan, instrument)
        lines.append(
            f"{which}: {len(plan.holes)} guide holes, {bit}; settings in order: {settings}"
        )
        lines += [f.line() for f in plan.findings]
    lines.append(
        f"Written to {target}. Next: print the sheets at 100 %, drill the scrap block first."
    )
    return "\n".join(lines)
