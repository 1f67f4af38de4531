"""Damaged instrument files and readings: each is read, or refused in clear sentences; in time.

    python -m benchmarks.robust.fuzz --files 100000 --kept out/fuzz.jsonl

Sound files (sound_files.py) are damaged by seed (damage.py) and put through what `graduale check`
does with an instrument file and `graduale judge` with readings, in this process. Three in four are
instrument files. Outlines and archings already drawn are kept, and of those that damage made new
only one in NEW_DRAWN is drawn; all else runs for every file. A fault is any exception but a
refusal, a refusal without place or mend, or more than LIMIT_S of work. Only faults and counts are
kept.
"""

import argparse
import json
import signal
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from benchmarks.robust import sound_files
from benchmarks.robust.damage import damaged

from graduale.base.findings import Finding, Refused
from graduale.base.threads import blas_threads
from graduale.files.disk import decoded
from graduale.files.instrument import parse_instrument
from graduale.files.readings import parse_readings
from graduale.jobs import check, check_report, clashes

SUMMARY = Path(__file__).with_name("fuzz.json")
LIMIT_S = 10.0
NEW_DRAWN = 16
LONGEST = 600  # letters of one sentence with its place
MOST_LINES = 60


class TooSlow(Exception):
    """A file took longer than the limit."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raises TooSlow when the block takes longer, in seconds of work of this process."""

    def ring(*_: object) -> None:
        raise TooSlow

    old = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, old)


@lru_cache(maxsize=128)
def _shapes(body: Any, arches: tuple[Any, Any], holes: Any) -> tuple[Any, ...]:
    """What `clashes.shapes_of` draws, kept for equal records; the same calls in the same order."""
    whole = SimpleNamespace(body=body, top=_plate(arches[0]), back=_plate(arches[1]))
    whole.soundholes = holes
    return _drawn(whole, "NAME")


def _plate(arch: Any) -> SimpleNamespace:
    return SimpleNamespace(arch=arch)


_drawn = clashes.shapes_of


def _kept_shapes(instrument: Any, name: str) -> tuple[Any, Any]:
    arches = (instrument.top.arch, instrument.back.arch)
    shapes, reasons = _shapes(instrument.body, arches, instrument.soundholes)
    named = (Finding(f.level, f.key, f.where.replace("NAME", name), f.sentence) for f in reasons)
    return shapes, tuple(named)


KEPT = (
    (clashes, "outline_of"),
    (clashes, "arching_of"),
    (check, "shapes_of"),
    (check, "steepest_deg"),
    (check_report, "steepest_deg"),
)


def keep_shapes() -> None:
    """Outlines, archings and soundholes are drawn once for equal records."""
    clashes.outline_of = lru_cache(maxsize=64)(clashes.outline_of)
    clashes.arching_of = lru_cache(maxsize=128)(clashes.arching_of)
    check.shapes_of = _kept_shapes
    steep = lru_cache(maxsize=128)(check.steepest_deg)
    check.steepest_deg = check_report.steepest_deg = steep


def tried(seed: int, *, draw: int = NEW_DRAWN, limit_s: float = LIMIT_S) -> dict[str, Any]:
    """What came of one damaged file: 'kind', 'outcome' and, where it is one, 'fault'."""
    table = seed % 4 == 3
    sound = sound_files.readings() if table else sound_files.instruments()
    raw = damaged(sound[seed // 4 % len(sound)], seed, table=table)
    name = "r.csv" if table else "my.toml"
    row: dict[str, Any] = {"seed": seed, "kind": "readings" if table else "instrument"}
    started = time.process_time()
    try:
        with within(limit_s):
            outcome, findings = _read(raw, name, table, seed // 4 % draw == 0)
        row["outcome"] = outcome
        fault = unclear(findings, name)
        if fault:
            row["fault"] = fault
    except Exception as error:
        row["outcome"] = "fault"
        row["fault"] = f"{type(error).__name__}: {error}"
        row["trace"] = traceback.format_exc(limit=-4)
    row["seconds"] = time.process_time() - started
    return row


def _read(raw: bytes, name: str, table: bool, draw: bool) -> tuple[str, list[Finding]]:
    try:
        text = decoded(raw, name)
        if table:
            return "read", list(parse_readings(text, name).findings)
        loaded = parse_instrument(text, name)
    except Refused as refused:
        return "refused", list(refused.findings)
    body = loaded.instrument
    if not draw and (body.body, body.top.arch, body.back.arch, body.soundholes) not in _known():
        return "read, not drawn", list(loaded.findings)
    found = check.inspect(loaded, name)
    wrong = [f for f in found.findings if f.level == "error"]
    check.report(found, name)
    return ("contradicts", wrong) if wrong else ("read", list(found.findings))


@lru_cache
def _known() -> frozenset[Any]:
    """What the shapes of the sound files are drawn from."""
    files = sound_files.instruments()
    found = [parse_instrument(f.decode(), "my.toml").instrument for f in files]
    return frozenset((i.body, i.top.arch, i.back.arch, i.soundholes) for i in found)


def unclear(findings: list[Finding], name: str) -> str:
    """Why these findings are no clear sentences; empty when they are."""
    shown = [f for f in findings if f.level in ("error", "warning")]
    if len(shown) > MOST_LINES:
        return f"{len(shown)} lines at once"
    for f in shown:
        line = f.line()
        if not f.where.startswith(name):
            return f"names no file: {line[:200]}"
        if len(line) > LONGEST:
            return f"{len(line)} letters: {line[:200]}"
        if not all(c.isprintable() for c in line):
            return f"holds what cannot be printed: {line[:200]!r}"
        if len(f.sentence) < 10 or not f.sentence.endswith((".", "?")):
            return f"no whole sentence: {line[:200]}"
        if any(w in line for w in ("Traceback", "Error(", "<class", "pydantic", "object at 0x")):
            return f"speaks of the inside: {line[:200]}"
    return ""


def summary(
    rows: Counter[str], faults: list[dict[str, Any]], slowest: dict[str, Any]
) -> dict[str, Any]:
    """The figures of a run."""
    files = sum(rows.values())
    return {"files": files, "outcomes": dict(sorted(rows.items())), "faults": len(faults),
            "first_faults": faults[:20], "slowest": slowest}  # fmt: skip


def main() -> None:
    """Damages, reads, counts; writes the summary."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=600.0)
    parser.add_argument("--kept", type=Path)
    given = parser.parse_args()
    rows: Counter[str] = Counter()
    faults: list[dict[str, Any]] = []
    slowest: dict[str, Any] = {"seconds": 0.0}
    until, cpu = time.monotonic() + 60.0 * given.minutes, 0.0
    keep_shapes()
    with blas_threads():
        for seed in range(given.first, given.first + given.files):
            row = tried(seed)
            cpu += row["seconds"]
            rows[f"{row['kind']}: {row['outcome']}"] += 1
            if "fault" in row:
                faults.append(row)
                if given.kept:
                    with given.kept.open("a") as kept:
                        kept.write(json.dumps(row) + "\n")
            if row["seconds"] > slowest["seconds"]:
                slowest = row
            if time.monotonic() > until:
                break
            if given.kept and seed % 1000 == 0:
                state = summary(rows, faults, slowest) | {"cpu_seconds": round(cpu)}
                given.kept.with_suffix(".state").write_text(json.dumps(state))
    found = summary(rows, faults, slowest) | {"first": given.first, "cpu_seconds": round(cpu)}
    SUMMARY.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(SUMMARY.read_text())


if __name__ == "__main__":
    main()
