"""The use case `sheets`: print the sheets of a decision again, for another paper or printer."""

from collections.abc import Mapping
from pathlib import Path

from graduale.base.progress import Progress
from graduale.base.threads import blas_threads
from graduale.jobs.decide import Files, paper_files, sheets_name, today
from graduale.jobs.earlier import read_earlier
from graduale.jobs.holeplan import plans_of
from graduale.jobs.holes import carried
from graduale.jobs.overrides import with_drill, with_workshop
from graduale.jobs.pictures import length_pictures
from graduale.jobs.result import DONE, JobResult
from graduale.jobs.summary import summary
from graduale.store.out import check_folder, write_folder


def run(
    folder: Path, out: Path | None, overrides: Mapping[str, str], progress: Progress
) -> JobResult:
    """Draws the sheets anew from decision.json; with other units also the summary and the pictures
    that show lengths. Errors: Refused as in `read_earlier`."""
    earlier = read_earlier(folder)
    target = out or folder
    check_folder(target)
    instrument = with_workshop(earlier.instrument, overrides)
    drill = earlier.document.get("drill", {})
    instrument = with_drill(instrument, {k: str(v) for k, v in drill.items()})
    progress(0.1, "holes")
    with blas_threads():
        safe = bool(earlier.document["safe"])
        plans = plans_of(instrument, earlier.targets()) if safe else {}
        progress(0.5, "sheets")
        files: Files = paper_files(instrument, earlier.bodies, earlier.document, plans)
        if "units" in overrides:
            files |= length_pictures(instrument, earlier.bodies, earlier.document, today())
            words = summary(earlier.document, instrument, str(target), sheets_name(instrument))
            files["summary.txt"] = words + "\n"
    if out is not None:
        files = carried(folder) | files
    progress(0.95, "write")
    write_folder(target, files, keep=True)
    mine = sheets_name(instrument)
    names = ", ".join(sorted(n for n in files if n.endswith(".pdf")))
    inches = ", figures in inches," if instrument.workshop.units == "inch" else ""
    text = (
        f"{earlier.document['instrument']}: sheets of decision {earlier.document['digest']} "
        f"drawn again{inches} in {target}: {names}. "
        f"Next: print {mine} at 100 %, measure both 100 mm scales on the paper."
    )
    return JobResult(DONE, text, {"files": sorted(files), "folder": str(target)})
