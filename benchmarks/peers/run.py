"""Speed and memory beside peers, at equal error: writes results.json and results.md beside itself.

Run from the root of the tree: `python -m benchmarks.peers.run` (PYTHONPATH=src:. if need be). Every
solver is refined from coarse to fine until its first eight tones lie within 1 % of its own fine
ones; that mesh is timed. Times are CPU time (user and system, one thread), so that other work on
the machine counts little. A peer that is not there is left out and named.
"""

import importlib.util
import json
import os
import platform
import resource
import shutil
import statistics
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
WANTED = 0.01
FINE = {"ours": 3.0, "CalculiX": 5.0, "NGSolve": 8.0, "pyfe3d": 2.5}
LADDER = {
    "ours": (16.0, 12.0, 10.0, 8.0, 7.0, 6.0, 5.0),
    "CalculiX": (24.0, 16.0, 12.0, 10.0, 8.0, 7.0),
    "NGSolve": (24.0, 16.0, 12.0, 10.0),
    "pyfe3d": (16.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.5, 3.0),
}
NEEDS = {
    "CalculiX": "the program ccx (Debian: calculix-ccx)",
    "NGSolve": "the package ngsolve (part of the test lock)",
    "pyfe3d": "the package pyfe3d (pip install pyfe3d into a folder on PYTHONPATH)",
}
MODELS = {
    "ours": "facets of turned block wood, DKMT and OPT, thickness at nodes",
    "CalculiX": "quadratic shells S6, grain along the surface (its shells project the orientation)",
    "NGSolve": "3-D solid, cubic prisms, grain fixed in the block",
    "pyfe3d": "triangles Tria3R with our facets' moduli, thickness by facet",
}
_WARM_UP_MM = 40.0
_REPEATS = 3


def _cpu() -> float:
    every = (resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(use.ru_utime + use.ru_stime for use in every)


def child(name: str, size_mm: float, what: str) -> None:
    """One measurement, printed as JSON. what: 'tones', 'process' (the task alone) or 'full'."""
    from benchmarks.peers import problem
    from benchmarks.peers.solvers import SOLVERS

    solver = SOLVERS[name]
    if what == "full":
        solver(_WARM_UP_MM).first()  # imports and first calls are not counted
    run, start = solver(size_mm), _cpu()
    out = {"hz": run.first().tolist(), "nodes": run.nodes(), "in_process_s": _cpu() - start}
    if what == "full":
        run.again(problem.first_map)
        times = []
        for _ in range(_REPEATS):
            for rule in (problem.second_map, problem.first_map):
                start = _cpu()
                new = run.again(rule)
                times.append(_cpu() - start)
            out.setdefault("hz_new", new.tolist())
        out["again_s"] = statistics.median(times)
    print(json.dumps(out))


def measured(name: str, size_mm: float, what: str) -> dict:
    """A child process: its answer, CPU seconds in all and peak memory."""
    command = [sys.executable, "-m", "benchmarks.peers.run", name, str(size_mm), what]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    before = _cpu()
    told = subprocess.run(command, check=True, capture_output=True, text=True, env=env).stdout
    return {**json.loads(told.splitlines()[-1]), "process_s": _cpu() - before}


def peak_mb(name: str, size_mm: float) -> float:
    """Peak resident memory of the task in a process of its own (and of what it starts)."""
    code = (
        "import resource,subprocess,sys;"
        f"subprocess.run([sys.executable,'-m','benchmarks.peers.run','{name}','{size_mm}','tones'],"
        "check=True,stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    env = {**os.environ, "OMP_NUM_THREADS": "1"}
    told = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, env=env
    )
    return int(told.stdout) / 1024.0


def there(name: str) -> bool:
    """Whether a peer is installed."""
    if name == "CalculiX":
        return shutil.which("ccx") is not None
    return name == "ours" or importlib.util.find_spec(name.lower()) is not None


def study(name: str) -> dict:
    """Refines one solver and times the first mesh that is good enough."""
    fine = measured(name, FINE[name], "tones")
    steps, chosen = [], FINE[name]
    for size in LADDER[name]:
        found = measured(name, size, "tones")
        gap = max(abs(a / b - 1.0) for a, b in zip(found["hz"], fine["hz"], strict=True))
        steps.append({"size_mm": size, "nodes": found["nodes"], "error": round(gap, 5)})
        print(name, steps[-1], flush=True)
        if gap <= WANTED:
            chosen = size
            break
    cold = measured(name, chosen, "process")
    full = measured(name, chosen, "full")
    return {
        "model": MODELS[name],
        "size_mm": chosen,
        "nodes": full["nodes"],
        "error": steps[-1]["error"],
        "steps": steps,
        "fine_mm": FINE[name],
        "fine_hz": [round(v, 2) for v in fine["hz"]],
        "cold_process_s": round(cold["process_s"], 3),
        "cold_in_process_s": round(full["in_process_s"], 3),
        "new_map_warm_s": round(full["again_s"], 4),
        "peak_mb": round(peak_mb(name, chosen)),
    }


def machine() -> dict:
    """What the figures were taken on; no names."""
    model = "unknown"
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            model = line.split(":", 1)[1].strip()
            break
    return {
        "cpu": model,
        "cores": os.cpu_count(),
        "system": platform.system(),
        "python": platform.python_version(),
        "threads": 1,
        "load_at_start": round(os.getloadavg()[0], 1),
    }


def page(result: dict) -> str:
    """The result as Markdown."""
    m, ours = result["machine"], result["solvers"].get("ours")
    lines = [
        "# Beside general-purpose peers, at equal error",
        "",
        "Written by `python -m benchmarks.peers.run`; not edited by hand. First eight tones of a",
        "free carved spruce plate of full size, then with a hollow scraped into it. Each solver on",
        "the coarsest mesh of its ladder that lies within 1 % of its own fine tones.",
        f"CPU seconds on one thread; {m['cpu']}, {m['cores']} cores, Python {m['python']}; load"
        f" {m['load_at_start']} when it began.",
        "",
        "| solver | nodes | own error | cold process | cold in process | new map warm | peak MB |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, s in result["solvers"].items():
        lines.append(
            f"| {name} | {s['nodes']} | {100 * s['error']:.2f} % | {s['cold_process_s']:.2f} s | "
            f"{s['cold_in_process_s']:.2f} s | {s['new_map_warm_s']:.3f} s | {s['peak_mb']} |"
        )
    if ours:
        lines += ["", "How many times longer than ours:", ""]
        for name, s in result["solvers"].items():
            if name != "ours":
                rows = ("cold_process_s", "cold_in_process_s", "new_map_warm_s")
                a, b, c = (s[r] / ours[r] for r in rows)
                lines.append(f"- {name}: cold process {a:.1f}, in process {b:.1f}, new map {c:.1f}")
    lines += ["", "| solver | model | fine mesh | fine tones, Hz |", "|---|---|---|---|"]
    for name, s in result["solvers"].items():
        tones = " ".join(f"{v:.1f}" for v in s["fine_hz"])
        lines.append(f"| {name} | {s['model']} | {s['fine_mm']} mm | {tones} |")
    lines += ["", *(f"Left out: {n}; it needs {NEEDS[n]}." for n in result["left_out"]), ""]
    return "\n".join(lines)


def main() -> None:
    """All solvers that are there; results stored beside this script."""
    names = [n for n in FINE if there(n)]
    result = {
        "machine": machine(),
        "solvers": {n: study(n) for n in names},
        "left_out": [n for n in FINE if n not in names],
    }
    (HERE / "results.json").write_text(json.dumps(result, indent=1) + "\n")
    (HERE / "results.md").write_text(page(result))
    print(page(result))


if __name__ == "__main__":
    if len(sys.argv) == 4:
        child(sys.argv[1], float(sys.argv[2]), sys.argv[3])
    else:
        main()
