"""Do all bodies mesh that `graduale check` accepts? By command, as it takes hours.

    python -m benchmarks.robust.outlines --accepted 10000 --kept out/outlines.jsonl

Bodies are drawn by seed (bodies.py) until so many are accepted by `check`; of each both plates are
meshed as `decide` does it (rib line, bar, soundholes, refined spots; with even seeds on the mesh of
deciding, with odd ones on the finer one that verdicts are read from). A line is kept for each seed,
so that a run that was stopped goes on; the summary is written beside this script.
"""

import argparse
import json
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from benchmarks.robust.bodies import drawn_toml

from graduale.base.findings import Refused
from graduale.base.threads import blas_threads
from graduale.box.meshing import DECIDING_MM, mesh_for_box, rib_ring, settled_mm
from graduale.box.plate import PlateBody
from graduale.files.instrument import parse_instrument
from graduale.geometry.meshedges import edges_of
from graduale.jobs.check import inspect
from graduale.wood.material import wood_of

SUMMARY = Path(__file__).with_name("outlines.json")
THIN_DEG = 10.0  # a triangle thinner than this is counted


def meshed(seed: int) -> dict[str, Any]:
    """What came of one body: refused (with keys), or its meshes, or a fault."""
    started = time.process_time()
    row: dict[str, Any] = {"seed": seed}
    try:
        row["kind"], text = drawn_toml(seed)
        loaded = parse_instrument(text, "drawn.toml")
        checked = inspect(loaded, "drawn.toml")
        wrong = [f.key for f in checked.findings if f.level == "error"]
        if wrong or checked.shapes is None:
            return row | {"refused": sorted(set(wrong))}
        row |= _meshes(loaded.instrument, checked.shapes, seed)
    except Refused as refused:
        row["refused"] = sorted({f.key for f in refused.findings})
    except Exception as error:
        row["fault"] = [f"{type(error).__name__}: {error}", traceback.format_exc(limit=-3)]
    row["seconds"] = round(time.process_time() - started, 2)
    return row


def _meshes(instrument: Any, shapes: Any, seed: int) -> dict[str, Any]:
    """Both plates; a refusal here is a fault, for `check` has accepted the body."""
    size = DECIDING_MM if seed % 2 == 0 else settled_mm(instrument)
    bodies = {
        which: PlateBody(
            which,
            shapes.outline,
            shapes.top if which == "top" else shapes.back,
            shapes.holes if which == "top" else (),
            wood_of(instrument.plate(which).wood, "wood"),
            instrument.plate(which).wood,
            instrument.plate(which).inside,
        )
        for which in ("top", "back")
    }
    out: dict[str, Any] = {"accepted": True, "size_mm": round(size, 2)}
    try:
        ring = rib_ring(bodies["top"], instrument, size)
        for which, body in bodies.items():
            bar = which == "top" and instrument.bar.present
            made = mesh_for_box(instrument, body, ring, size, bar=bar)
            out[which] = _judged(made.mesh, body)
    except Refused as refused:
        out["fault"] = [f.line() for f in refused.findings]
    except Exception as error:
        out["fault"] = [f"{type(error).__name__}: {error}", traceback.format_exc(limit=-3)]
    return out


def _judged(mesh: Any, body: PlateBody) -> dict[str, Any]:
    """Nodes and least angle; every triangle upright, the whole area, one hole for each opening."""
    wanted = body.outline.polygon.area - sum(shapely.Polygon(o).area for o in body.openings)
    edges = edges_of(mesh.triangles)
    euler = len(mesh.xy) - len(edges) + len(mesh.triangles)
    sound = bool(mesh.areas.min() > 0.0) and euler == 1 - len(body.openings)
    angles = mesh.min_angles_deg
    return {
        "nodes": len(mesh.xy),
        "angle_deg": round(float(angles.min()), 1),
        "thin": int(np.sum(angles < THIN_DEG)),
        "area_off": round(abs(float(mesh.areas.sum()) / wanted - 1.0), 5),
        "sound": sound,
    }


def _plates(row: dict[str, Any]) -> list[dict[str, Any]]:
    return [row[w] for w in ("top", "back") if w in row]


def summary_faults(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Bodies that `check` accepted and that did not mesh."""
    return [{"seed": r["seed"], "fault": r["fault"][0]} for r in rows if "fault" in r]


def summary(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """The figures of all rows."""
    good = [r for r in rows if r.get("accepted")]
    plates = [p for r in good for p in _plates(r)]
    angle = np.array([p["angle_deg"] for p in plates])
    return {
        "drawn": len(rows),
        "accepted": len(good),
        "refused": dict(Counter(k for r in rows for k in r.get("refused", [])).most_common()),
        "faults": summary_faults(rows),
        "unsound": [r["seed"] for r in good if not all(p["sound"] for p in _plates(r))],
        "by_kind": dict(Counter(r["kind"] for r in good)),
        "meshes": len(plates),
        "nodes": [min(p["nodes"] for p in plates), max(p["nodes"] for p in plates)],
        "least_angle_deg": {
            "least": float(angle.min()),
            "1 in 1000": round(float(np.quantile(angle, 0.001)), 1),
            "1 in 100": round(float(np.quantile(angle, 0.01)), 1),
            "median": round(float(np.median(angle)), 1),
        },
        "meshes_with_a_triangle_below_10_deg": int(np.sum(angle < THIN_DEG)),
        "area_off_most": max(p["area_off"] for p in plates),
        "cpu_seconds": round(sum(r.get("seconds", 0.0) for r in rows)),
    }


def main() -> None:
    """Draws, meshes, keeps a line a seed, writes the summary."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--accepted", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--minutes", type=float, default=600.0)
    parser.add_argument("--kept", type=Path, required=True)
    given = parser.parse_args()
    lines = given.kept.read_text().splitlines() if given.kept.exists() else []
    rows = [json.loads(line) for line in lines]
    accepted = sum(bool(r.get("accepted")) for r in rows)
    seed = max((r["seed"] for r in rows), default=given.first - 1)
    until = time.monotonic() + 60.0 * given.minutes
    with blas_threads(), given.kept.open("a") as kept:
        while accepted < given.accepted and time.monotonic() < until:
            seed += 1
            row = meshed(seed)
            rows.append(row)
            accepted += bool(row.get("accepted"))
            kept.write(json.dumps(row) + "\n")
            kept.flush()
    SUMMARY.write_text(json.dumps(summary(rows), indent=1) + "\n", encoding="utf-8")
    print(SUMMARY.read_text())


if __name__ == "__main__":
    main()
