"""Time and memory against nodes, free plate and closed box, with fitted exponents.

Run from the root: `python -m benchmarks.scaling`. CPU seconds on one thread, each size in a process
of its own; writes scaling.json and scaling.md beside itself.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "examples" / "narrow-fiddle" / "instrument.toml"
PLATE_MM = (13.0, 9.0, 6.5, 4.6, 3.2)
BOX_MM = (16.0, 8.0, 5.0, 3.5, 2.5)


def _best(work: object, repeats: int = 3) -> float:
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def plate(size_mm: float) -> dict:
    """The back of the example, free."""
    from graduale.box.plate import plate_bodies
    from graduale.box.tones import free_plate
    from graduale.files.instrument import load_instrument
    from graduale.shell.live import LiveShell
    from graduale.thickness.field import layout_of

    instrument = load_instrument(EXAMPLE).instrument
    body = plate_bodies(instrument)["back"]
    field = layout_of(instrument, body).at(np.full(4, 2.8))
    free = free_plate(instrument, body, field, size_mm)
    free.modes(field)
    t = free.thickness(field)
    away = np.sum((free.plate.mesh.xy - np.array([150.0, 10.0])) ** 2, axis=1)
    scraped = t - 0.1 * np.exp(-away / (2.0 * 15.0**2))
    live = LiveShell.of(free.structure, t)
    heard = live.at(t)
    return {
        "nodes": len(t),
        "modes, plan known": _best(lambda: free.modes(field)),
        "new map warm": _best(lambda: live.at(scraped, heard)),
    }


def box(size_mm: float) -> dict:
    """The closed example: all verdicts, and again after a scrape."""
    from graduale.box.build import build_box
    from graduale.box.cases import cases_of
    from graduale.box.live_box import LiveBox
    from graduale.box.plate import plate_bodies
    from graduale.box.readouts import reading_of, solve
    from graduale.files.instrument import load_instrument
    from graduale.thickness.field import layout_of

    instrument = load_instrument(EXAMPLE).instrument
    bodies = plate_bodies(instrument)
    fields = {w: layout_of(instrument, bodies[w]).at(np.full(4, 2.8)) for w in bodies}
    made = build_box(instrument, bodies, fields, size_mm)
    reading = reading_of(made, cases_of(made))
    t = made.thickness(fields)
    solve(reading, t, slopes=False)
    whole = _best(lambda: solve(reading, t, slopes=False), 2)
    live = LiveBox.of(reading)
    first = live.at(t)
    xy = made.plates["top"].mesh.xy
    away = np.sum((xy - np.array([150.0, 10.0])) ** 2, axis=1)
    scraped = t.copy()
    scraped[: len(xy)] -= 0.1 * np.maximum(0.0, 1.0 - away / 20.0**2)
    rest = _best(lambda: live.at(scraped, first))
    return {
        "nodes": len(t),
        "all verdicts, plan known": whole,
        "verdicts after a scrape": rest,
        "buckling": _best(lambda: live.buckling(first), 1),
    }


def measured(kind: str, size_mm: float) -> dict:
    """One size in a child process, with its peak memory."""
    code = (
        "import resource,subprocess,sys;"
        f"subprocess.run([sys.executable,'-m','benchmarks.scaling','{kind}','{size_mm}'],check=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    told = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, env=env
    ).stdout.splitlines()
    return {"size_mm": size_mm, **json.loads(told[-2]), "peak MB": int(told[-1]) / 1024.0}


def exponents(rows: list[dict]) -> dict[str, float]:
    """Slope of log(figure) over log(nodes) for each figure."""
    nodes = np.log([r["nodes"] for r in rows])
    names = [k for k in rows[0] if k not in ("nodes", "size_mm")]
    return {k: float(np.polyfit(nodes, np.log([r[k] for r in rows]), 1)[0]) for k in names}


def page(result: dict) -> str:
    """The result as Markdown."""
    lines = ["# Time and memory against nodes", ""]
    lines += [
        "Written by `python -m benchmarks.scaling`; CPU seconds on one thread, peak memory of a"
    ]
    lines += [f"process of its own. Load of the machine when it began: {result['load']}.", ""]
    for kind, title in (
        ("plate", "Free back of the example"),
        ("box", "Closed box of the example"),
    ):
        rows = result[kind]
        names = [k for k in rows[0] if k not in ("nodes", "size_mm")]
        lines += [f"## {title}", "", "| edge mm | nodes | " + " | ".join(names) + " |"]
        lines += ["|---" * (2 + len(names)) + "|"]
        for r in rows:
            figures = " | ".join(f"{r[k]:.3g}" for k in names)
            lines.append(f"| {r['size_mm']} | {r['nodes']} | {figures} |")
        fits = result["exponents"][kind]
        lines += ["| exponent | | " + " | ".join(f"{fits[k]:.2f}" for k in names) + " |", ""]
    return "\n".join(lines)


def main() -> None:
    """Both studies."""
    result: dict = {"load": round(os.getloadavg()[0], 1), "exponents": {}}
    for kind, sizes in (("plate", PLATE_MM), ("box", BOX_MM)):
        result[kind] = []
        for size in sizes:
            result[kind].append(measured(kind, size))
            print(kind, result[kind][-1], flush=True)
        result["exponents"][kind] = exponents(result[kind])
    (HERE / "scaling.json").write_text(json.dumps(result, indent=1) + "\n")
    (HERE / "scaling.md").write_text(page(result))


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(json.dumps({"plate": plate, "box": box}[sys.argv[1]](float(sys.argv[2]))))
    else:
        main()
