"""The closed box against the whole box as solids: fine models, parts left out, both examples.

    python benchmarks/referee/box.py            everything: about 6 minutes of CPU time, 5 GB
    python benchmarks/referee/box.py violin     one example
    python benchmarks/referee/box.py --shell    our own rows anew, the solids as stored

Writes box.json and box.md beside itself. Nothing of it is read by the program.
"""

import json
import resource
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from tests.outside.referee.box_cases import READOUTS, VARIANTS, Case  # noqa: E402
from tests.outside.referee.box_solid import Size  # noqa: E402

PLANS = {  # coarse and fine
    "narrow-fiddle": (Size(14, 8, 10), Size(6, 3.5)),
    "violin": (Size(18, 9, 10), Size(8, 4.5)),
}
MESHES_MM = (8.0, 5.0, 3.5)


def plan_name(size: Size) -> str:
    """Edge length and degree."""
    return f"{size.edge_mm:g} mm, degree {size.order}"


def solids(case: Case, plans: tuple[Size, ...]) -> dict[str, dict[str, float]]:
    """The referee's read-outs by plan, with freedoms and CPU seconds."""
    out = {}
    for size in plans:
        start = time.process_time()
        values, freedoms = case.solid(size)
        spent = time.process_time() - start
        out[plan_name(size)] = {**values, "freedoms": freedoms, "cpu_s": round(spent, 1)}
        print(case.name, case.variant, plan_name(size), f"{spent:.0f} s", flush=True)
    return out


def study(name: str) -> dict[str, dict[str, dict[str, dict[str, float]]]]:
    """Solid and shell for one example, whole and with parts left out."""
    out = {}
    for variant in VARIANTS:
        case = Case(name, variant)
        plans = PLANS[name] if variant == "whole" else PLANS[name][:1]
        shells = {f"{m:g} mm": case.shell(m) for m in MESHES_MM}
        out[variant] = {"solid": solids(case, plans), "shell": shells}
    return out


def page(found: dict[str, dict[str, dict[str, dict[str, dict[str, float]]]]]) -> str:
    """Tables: the referee's own convergence, and the shell's gap to its best plan."""
    text = "# Closed box: shell against solids\n\nWritten by `benchmarks/referee/box.py`.\n"
    for name, variants in found.items():
        text += f"\n## {name}\n"
        for variant, both in variants.items():
            text += f"\n**{variant}**\n\n| model | " + " | ".join(READOUTS) + " |\n"
            text += "|---|" + "---|" * len(READOUTS) + "\n"
            for plan, row in both["solid"].items():
                text += f"| solid, {plan} | " + " | ".join(_cells(row)) + " |\n"
            best = _best(both["solid"])
            for mesh, row in both["shell"].items():
                gaps = [
                    f"{row[k]:.4g} ({100 * (row[k] / best[k] - 1):+.1f} %)" if k in best else "—"
                    for k in READOUTS
                ]
                text += f"| shell, {mesh} | " + " | ".join(gaps) + " |\n"
    return text


def _cells(row: dict[str, float]) -> list[str]:
    return [f"{row[k]:.4g}" if k in row else "—" for k in READOUTS]


def _best(rows: dict[str, dict[str, float]]) -> dict[str, float]:
    """The finest plan of degree 3."""
    cubic = {k: v for k, v in rows.items() if k.endswith("3")}
    return min(cubic.items(), key=lambda kv: float(kv[0].split(" ")[0]))[1]


def _write(found: dict[str, dict[str, dict[str, dict[str, dict[str, float]]]]]) -> None:
    (HERE / "box.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    (HERE / "box.md").write_text(page(found), encoding="utf-8")


def main() -> None:
    store = HERE / "box.json"
    found = json.loads(store.read_text(encoding="utf-8")) if store.exists() else {}
    if sys.argv[1:] == ["--shell"]:
        for name, variants in found.items():
            for variant, both in variants.items():
                both["shell"] = {f"{m:g} mm": Case(name, variant).shell(m) for m in MESHES_MM}
        _write(found)
        return
    for name in sys.argv[1:] or list(PLANS):
        found[name] = study(name)
        _write(found)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak memory {peak:.1f} GB")


if __name__ == "__main__":
    main()
