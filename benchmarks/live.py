"""How soon and how truly the live plate and the live box answer; writes live.json and live.md.

Run from the root: `python -m benchmarks.live`. CPU seconds on one thread, best of five, since other
work on the machine only adds.
"""

import json
import os
import time
from pathlib import Path

import numpy as np

from graduale.base.threads import blas_threads
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.live_box import LiveBox
from graduale.box.live_plate import TRUE_HOLE_MM, TRUE_MM, LivePlate
from graduale.box.meshing import settled_mm
from graduale.box.plate import plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.box.tones import free_plate
from graduale.files.instrument import load_instrument
from graduale.records.instrument import PlateName
from graduale.thickness.field import layout_of

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "examples" / "narrow-fiddle" / "instrument.toml"
INSTRUMENT = load_instrument(EXAMPLE).instrument
BODIES = plate_bodies(INSTRUMENT)
FIELDS = {w: layout_of(INSTRUMENT, BODIES[w]).at(np.full(4, 2.8)) for w in BODIES}


def best(work: object, repeats: int = 5) -> float:
    """Least CPU time in ms."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return round(1000.0 * min(times), 1)


def maps(which: PlateName) -> dict:
    """Three later states of a plate: a touch, a wide hollow, all of it thicker."""

    def hollow(depth: float, reach: float):
        middle = np.array([150.0, 10.0])
        return lambda xy: (
            FIELDS[which](xy) - depth * np.exp(-np.sum((xy - middle) ** 2, axis=1) / (2 * reach**2))
        )

    return {
        "touch of 0.1 mm": hollow(0.1, 15.0),
        "hollow of 0.6 mm": hollow(0.6, 40.0),
        "0.5 mm more all over": lambda xy: FIELDS[which](xy) + 0.5,
    }


def plate(which: PlateName) -> dict:
    """Times, and errors of the scaled tones against the fine mesh at each state."""
    start = time.process_time()
    live = LivePlate.of(INSTRUMENT, BODIES[which], FIELDS[which])
    out: dict = {"prepare_s": round(time.process_time() - start, 2)}
    t = FIELDS[which](live.places)
    first, rough = live.at(t), live.preview(t)
    out |= {"nodes": len(t), "preview_nodes": len(live.coarse.free.plate.nodes), "states": {}}
    out["mesh_error"] = round(float(np.abs(1.0 / live.rest.scale - 1.0).max()), 4)
    for name, rule in maps(which).items():
        new = rule(live.places)
        fine = free_plate(INSTRUMENT, BODIES[which], rule, TRUE_MM, hole_mm=TRUE_HOLE_MM)
        hz = fine.modes(rule, 8).hz
        now, soon = live.at(new, first), live.preview(new, rough)
        out["states"][name] = {
            "at_ms": best(lambda n=new: live.at(n, first)),
            "preview_ms": best(lambda n=new: live.preview(n, rough)),
            "at_error": round(float(np.abs(np.sort(now.hz) / hz - 1.0).max()), 5),
            "preview_error": round(float(np.abs(np.sort(soon.hz) / hz - 1.0).max()), 5),
        }
    load = live.press(150.0, 0.0)
    out["gradient_ms"] = best(lambda: live.gradient(first, (0, 1, 4), load))
    return out


def box() -> dict:
    """Times and errors of the box after two scrapes."""
    size = settled_mm(INSTRUMENT)
    made = build_box(INSTRUMENT, BODIES, FIELDS, size)
    reading = reading_of(made, cases_of(made))
    t = made.thickness(FIELDS)
    live = LiveBox.of(reading)
    first = live.at(t)
    tangent = live.tangent(first)
    start = live.buckling(first)[1]
    out: dict = {"nodes": len(t), "read_outs": len(first.values), "states": {}}
    out["tangent_ms"] = best(lambda: live.tangent(first), 1)
    xy = made.plates["top"].mesh.xy
    away = np.sum((xy - np.array([150.0, 10.0])) ** 2, axis=1)
    for name, depth, reach in (
        ("touch, 0.1 mm within 20 mm", 0.1, 20.0),
        ("hollow, 0.3 mm within 60 mm", 0.3, 60.0),
        ("all over, 0.2 mm", 0.2, 1000.0),
    ):
        new = t.copy()
        new[: len(xy)] -= depth * np.maximum(0.0, 1.0 - away / reach**2)
        exact = solve(reading, new, slopes=False).values
        rest, rough = live.at(new, first), tangent.preview(new)
        out["states"][name] = {
            "rest_ms": best(lambda n=new: live.at(n, first)),
            "preview_ms": best(lambda n=new: tangent.preview(n)),
            "buckling_ms": best(lambda r=rest: live.buckling(r, start), 2),
            "rest_error": max(abs(rest.values[k] / exact[k] - 1.0) for k in exact),
            "preview_error": round(max(abs(rough.values[k] / exact[k] - 1.0) for k in exact), 4),
        }
    return out


def page(result: dict) -> str:
    """The result as Markdown."""
    lines = [
        "# The live plate and the live box",
        "",
        "Written by `python -m benchmarks.live` on the narrow example; CPU on one thread, best",
        f"of five. Load of the machine when it began: {result['load']}.",
        "",
        "| plate, state | at rest | its error | preview | its error |",
        "|---|---|---|---|---|",
    ]
    for which in ("top", "back"):
        for name, s in result[which]["states"].items():
            lines.append(
                f"| {which}, {name} | {s['at_ms']} ms | {100 * s['at_error']:.2f} % | "
                f"{s['preview_ms']} ms | {100 * s['preview_error']:.2f} % |"
            )
    lines += [""]
    for which in ("top", "back"):
        p = result[which]
        lines += [
            f"{which}: {p['nodes']} nodes at rest, {p['preview_nodes']} in the preview, prepared in"
            f" {p['prepare_s']} s; three tones and a compliance with slopes {p['gradient_ms']} ms."
            f" The mesh at rest by itself is {100 * p['mesh_error']:.1f} % off the fine one; "
            "the scale takes that away; what is left is the drift in the table.",
            "",
        ]
    lines += [
        "| box, scrape of the top | at rest | error | preview | its error | buckling |",
        "|---|---|---|---|---|---|",
    ]
    for name, s in result["box"]["states"].items():
        lines.append(
            f"| {name} | {s['rest_ms']} ms | {s['rest_error']:.0e} | {s['preview_ms']} ms | "
            f"{100 * s['preview_error']:.1f} % | {s['buckling_ms']} ms |"
        )
    b = result["box"]
    lines += [
        "",
        f"Box: {b['nodes']} nodes, {b['read_outs']} read-outs; slopes of all of them "
        f"{b['tangent_ms']} ms behind the scenes. The error at rest is against a whole solution.",
        "",
    ]
    return "\n".join(lines)


def main() -> None:
    """Plates and box."""
    with blas_threads(1):
        result = {"load": round(os.getloadavg()[0], 1)}
        result |= {"top": plate("top"), "back": plate("back"), "box": box()}
    (HERE / "live.json").write_text(json.dumps(result, indent=1) + "\n")
    (HERE / "live.md").write_text(page(result))
    print(page(result))


if __name__ == "__main__":
    main()
