"""The use case `wood`: weight and tap tones say what wood a plate or board is of."""

from pathlib import Path

from graduale.base.findings import refuse
from graduale.base.progress import Progress
from graduale.base.threads import blas_threads
from graduale.jobs import check
from graduale.jobs.result import DONE, JobResult
from graduale.jobs.wood_document import document, snippet
from graduale.jobs.wood_input import TONES, Typed, mass_of, taps_of
from graduale.jobs.wood_plate import check_weight, on_bench
from graduale.jobs.wood_text import text_of
from graduale.readings.evidence import Evidence
from graduale.readings.identify import identify
from graduale.readings.remarks import helps_most, remarks
from graduale.readings.tapped import mean_thickness_mm
from graduale.store.out import write_file
from graduale.words.catalogue import say


def run(path: Path, typed: Typed, out: Path | None, progress: Progress) -> JobResult:
    """Identifies the wood; writes the plate's wood table to the new file `out`, if given.

    Errors: Refused (input, figures that cannot be, no tone matched, a file that exists), Cancelled.
    """
    progress(0.0, "read")
    taps, mass = taps_of(typed.tones), mass_of(typed.mass)
    instrument = check.sound(path)
    progress(0.1, "mesh")
    bench = on_bench(instrument, typed)
    check_weight(bench.tapped, mass)
    progress(0.3, "tones")
    evidence = Evidence(taps, mass, bench.spread_mm / mean_thickness_mm(bench.tapped))
    with blas_threads():
        found = identify(bench.tapped, evidence)
    if not (found.mode_of >= 0).any():
        heard = ", ".join(f"{m.name} {m.hz:.0f}" for m in found.modes[:6])
        raise refuse("no-tone-matched", TONES, say("wood.none_matched", modes=heard))
    notes = remarks(found, evidence, typed.plate)
    told = document(instrument, typed, bench, evidence, found, notes, helps_most(found, evidence))
    if out is not None:
        write_file(out, snippet(instrument.plate(typed.plate).wood, typed.plate, found))
    return JobResult(DONE, text_of(told, None if out is None else str(out)), told)
