"""The use case `judge`: plates already carved, from thickness readings; may I stop, is this spot
dangerous."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from graduale.base.findings import refuse
from graduale.base.progress import Progress, part
from graduale.base.threads import blas_threads
from graduale.files.readings import load_readings
from graduale.jobs import check
from graduale.jobs.decide import today
from graduale.jobs.document import as_bytes, instrument_digest, map_from
from graduale.jobs.doubting import doubt_of, surer
from graduale.jobs.earlier import read_earlier
from graduale.jobs.judge_document import document
from graduale.jobs.judge_known import DecidedMaps, read
from graduale.jobs.judge_pictures import pictures_of
from graduale.jobs.judge_text import text_of
from graduale.jobs.judging import Judgement, judge_readings
from graduale.jobs.reference import PLATES, reference
from graduale.jobs.result import DONE, NO_SAFE_MAP, JobResult
from graduale.records.instrument import Instrument, PlateName
from graduale.store.out import check_folder, write_folder

RESULT_NAME, TEXT_NAME, READINGS_NAME = "judged.json", "summary.txt", "readings.csv"


def run(
    path: Path,
    readings_path: Path,
    out: Path | None,
    progress: Progress,
    margin: float | None = None,
    decision: Path | None = None,
) -> JobResult:
    """Judges; writes a folder when `out` is given; exit code 3 when a verdict or a spot fails.

    `decision`: folder of an earlier 'decide' of this instrument: its maps say what is still to come
    off, and stand for a plate that is not measured. Errors: Refused (input, or a folder that cannot
    be written), Cancelled.
    """
    if out is not None:
        check_folder(out)
    progress(0.0, "read")
    instrument = check.sound(path)
    readings = load_readings(readings_path)
    used = instrument.margin if margin is None else margin
    if not 0.0 <= used < 5.0:
        raise refuse("bad-margin", "margin", f"{used:g} is no share; write e.g. 0.1 for 10 %.")
    given = read(instrument, readings, readings_path.name)
    decided = None if decision is None else _decided(instrument, decision)
    with blas_threads():
        known = reference(part(progress, 0.02, 0.3))
        known = surer(known, doubt_of(instrument, known, part(progress, 0.3, 0.4)))
        made = judge_readings(
            given,
            known,
            part(progress, 0.4, 0.95),
            margin=used,
            decided=decided,
        )
        found = document(made, readings)
        text = text_of(found)
        if out is not None:
            _write(out, made, found, text, readings_path.read_bytes(), progress)
    return JobResult(DONE if found["safe"] else NO_SAFE_MAP, text, found)


def _decided(instrument: Instrument, folder: Path) -> dict[PlateName, DecidedMaps]:
    earlier = read_earlier(folder)
    if earlier.document["instrument_digest"] != instrument_digest(instrument):
        sentence = "is of another instrument; name the decision of this one, or decide again."
        raise refuse("other-decision", str(folder), sentence)
    stored = earlier.document["plates"]
    return {
        w: DecidedMaps(map_from(stored[w]["thickness"]), map_from(stored[w]["floor_joint"]))
        for w in PLATES
    }


def _write(
    out: Path,
    made: Judgement,
    found: Mapping[str, Any],
    text: str,
    readings: bytes,
    progress: Progress,
) -> None:
    progress(0.96, "pictures")
    files: dict[str, bytes | str] = {RESULT_NAME: as_bytes(found), TEXT_NAME: text + "\n"}
    files[READINGS_NAME] = readings
    files |= pictures_of(made, found, today())
    progress(0.99, "write")
    write_folder(out, files)
