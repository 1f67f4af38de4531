"""Extreme but legal bodies: each goes through `check`, both meshes, the closed box and one solve.

    python -m benchmarks.robust.extremes

Judged for each: `check` finds no error, or says in a sentence what to mend; both plates mesh; with
plates as thick as told here the box is solved under all load cases and every read-out is finite and
positive; plates 10 per cent thicker read better in every read-out of the body, and at most press
places (beside a glued edge stiffer wood draws more stress). The result is written beside this
script.
"""

import argparse
import json
import time
import traceback
from pathlib import Path
from typing import Any

import numpy as np

from graduale.base.findings import Refused
from graduale.base.threads import blas_threads
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.plate import plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.files.instrument import parse_instrument
from graduale.jobs.check import inspect
from graduale.jobs.check_report import steepest_deg
from graduale.thickness.field import layout_of

SUMMARY = Path(__file__).with_name("extremes.json")
SIZE_MM = 10.0
THICKER = 1.1
N, V = 'kind = "narrow-fiddle"\n', 'kind = "violin"\n'
FLAT = "crown = 4.2\nedge = 4\nchannel = 4\nchannel_at = 5\n"
CELLO = (
    V + "[body]\nlength = 755\nupper_width = 345\nwaist_width = 240\nlower_width = 435\n"
    "rib_height = 115\nrib_thickness = 1.6\noverhang = 3\nstop = 400\n"
    "[top.arch]\ncrown = 26\nedge = 5\n[back.arch]\ncrown = 25\nedge = 5\n"
    "[strings]\nlength = 690\n[bridge]\nheight = 90\nfoot_length = 17\nfoot_width = 9\n"
    "[bar]\nlength = 590\nwidth = 11\nheight = 24\n[post]\ndiameter = 11\n"
    "[blocks]\nlining_height = 14\n"
)
# name -> (file without its first line, plate thickness in mm)
CASES: dict[str, tuple[str, float]] = {
    "waist 25": (
        N + "[body]\nlength = 300\nwaist_width = 25\nlower_width = 60\nupper_width = 50\n",
        2.5,
    ),
    "waist 25, bouts 100": (N + "[body]\nwaist_width = 25\n", 2.5),
    "waist 17": (N + "[body]\nwaist_width = 17\nlower_width = 40\nupper_width = 34\n", 2.5),
    "cello": (CELLO, 5.0),
    "plates of 1.5": (N, 1.5),
    "plates of 9": (CELLO, 9.0),
    "slopes to 45": (V + "[top.arch]\ncrown = 31\n[back.arch]\ncrown = 31\n", 3.0),
    "no arch": (V + f"[top.arch]\n{FLAT}[back.arch]\n{FLAT}", 3.0),
    "no soundholes": (V + "[soundholes]\npresent = false\n", 3.0),
    "no bar": (V + "[bar]\npresent = false\n", 3.0),
    "no post": (V + "[post]\npresent = false\n", 3.0),
    "neither bar, post nor soundholes": (
        N + "[bar]\npresent = false\n[post]\npresent = false\n[soundholes]\npresent = false\n",
        3.0,
    ),
    "no corners": (
        N + "[body]\nwaist_width = 70\nupper_corner_width = 71\nlower_corner_width = 81\n"
        "[blocks]\ncorner_depth = 0\n",
        3.0,
    ),
    "one piece": (V + "[top.wood]\none_piece = true\n[back.wood]\none_piece = true\n", 3.0),
    "left-handed": ("left_handed = true\n" + V, 3.0),
    "ribs 0.4 thick": (V + "[body]\nrib_thickness = 0.4\n", 3.0),
    "ribs 6 high": (N + "[body]\nrib_height = 6\n", 3.0),
    "ribs 120 high": (V + "[body]\nrib_height = 120\n", 3.0),
    "no linings": (V + "[blocks]\nlining_width = 0\n", 3.0),
    "quarter size": (V + "[body]\nlength = 285\n", 3.0),
    "slab-cut, runout 30": (
        V + "[top.wood]\nring_angle = 45\nrunout = 30\n[back.wood]\nring_angle = 90\n",
        3.0,
    ),
    "one string": (V + '[[strings.string]]\nnote = "A4"\ntension = 60\n', 3.0),
}


def tried(name: str, size_mm: float = SIZE_MM) -> dict[str, Any]:
    """What came of one case: figures, or the sentences of its refusal, or a fault."""
    text, thick = CASES[name]
    row: dict[str, Any] = {"case": name}
    started = time.process_time()
    try:
        loaded = parse_instrument("format = 1\n" + text, "case.toml")
        checked = inspect(loaded, "case.toml")
        wrong = [f.line() for f in checked.findings if f.level == "error"]
        row["warnings"] = [f.key for f in checked.findings if f.level == "warning"]
        if wrong or checked.shapes is None:
            return row | {"refused": wrong}
        row["steepest_deg"] = {w: round(v, 1) for w, v in steepest_deg(checked.shapes).items()}
        row |= solved(loaded.instrument, thick, size_mm)
    except Refused as refused:
        row["refused"] = [f.line() for f in refused.findings]
    except Exception as error:
        row["fault"] = f"{type(error).__name__}: {error}"
        row["trace"] = traceback.format_exc(limit=-4)
    row["cpu_s"] = round(time.process_time() - started, 1)
    return row


def solved(instrument: Any, thick: float, size_mm: float) -> dict[str, Any]:
    """The box with even plates, solved at this thickness and at THICKER times it."""
    bodies = plate_bodies(instrument)
    layouts = {w: layout_of(instrument, bodies[w]) for w in ("top", "back")}
    fields = {w: layouts[w].at(np.full(4, thick)) for w in layouts}
    box = build_box(instrument, bodies, fields, size_mm)
    reading = reading_of(box, cases_of(box))
    t_nodes = box.thickness(fields)
    now = solve(reading, t_nodes, slopes=False).values
    more = solve(reading, THICKER * t_nodes, slopes=False).values
    values = np.array(list(now.values()))
    presses = [k for k in now if ": " in k]
    better = np.mean([more[k] <= now[k] * 1.001 for k in presses])
    return {
        "nodes": len(box.shell.nodes),
        "least_angle_deg": round(min(m.mesh.min_angle_deg for m in box.meshed.values()), 1),
        "plates_g": round(float(box.structure.mass_slope_g() @ t_nodes), 1),
        "readouts": len(now),
        "finite": bool(np.isfinite(values).all()),
        "positive": bool((values > 0.0).all()),
        "not_positive": [k for k, v in now.items() if not v > 0.0],
        "body": {k: float(f"{v:.4g}") for k, v in now.items() if ": " not in k},
        "thicker_is_no_worse": round(float(better), 3),
        "thicker": {k: round(float(more[k] / v), 3) for k, v in now.items() if ": " not in k},
    }


def main() -> None:
    """All cases, one result each."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", default=list(CASES))
    parser.add_argument("--size", type=float, default=SIZE_MM)
    given = parser.parse_args()
    with blas_threads():
        rows = []
        for name in given.names:
            rows.append(tried(name, given.size))
            print(json.dumps(rows[-1]), flush=True)
    if len(rows) == len(CASES):
        SUMMARY.write_text(json.dumps(rows, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
