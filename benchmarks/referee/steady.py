"""How steady every read-out is when the mesh changes, alone and as the ratio of two bodies.

    python benchmarks/referee/steady.py         about a minute

Solves both examples on meshes of 8, 5 and 3.5 mm (finer where the program refines) and writes
steady.json (every value) and steady.md (mean, spread and extremes by kind, against 3.5 mm).
"""

import json
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1]))

from tests.outside.referee.box_cases import ZONES, Case  # noqa: E402

MESHES_MM = ("8", "5", "3.5")
Values = dict[str, dict[str, float]]


def kind(key: str) -> str:
    """Kind of a read-out."""
    if ": press" in key:
        return key.split(":")[0] + ", press"
    if key.endswith("shear"):
        return "shear round feet and post"
    if ": " in key:
        return "hole edges" if " hole " in key else "post and feet under strings"
    return key


def rows(name: str, at: Values) -> list[str]:
    """Lines of the table for one body or for the ratio of both."""
    fine = at[MESHES_MM[-1]]
    out = []
    for one in dict.fromkeys(map(kind, fine)):
        keys = [k for k in fine if kind(k) == one and all(k in at[m] for m in MESHES_MM)]
        cells = []
        for mesh in MESHES_MM[:-1]:
            share = np.array([at[mesh][k] / fine[k] for k in keys])
            cells.append(
                f"{share.mean():.3f} ± {share.std():.3f} ({share.min():.2f} to {share.max():.2f})"
            )
        out.append(f"| {name} | {one} | {len(keys)} | " + " | ".join(cells) + " |")
    return out


def main() -> None:
    found = {n: {m: Case(n).every(float(m)) for m in MESHES_MM} for n in ZONES}
    (HERE / "steady.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    narrow, violin = found.values()
    ratio = {
        m: {k: v / violin[m][k] for k, v in narrow[m].items() if k in violin[m]} for m in narrow
    }
    head = (
        "# Read-outs against the mesh\n\nWritten by `benchmarks/referee/steady.py`: value over that"
    )
    head += " of the 3.5 mm mesh, mean ± spread (least to greatest).\n\n"
    head += "| body | read-out | number | 8 mm | 5 mm |\n|---|---|---|---|---|\n"
    lines = [line for n, at in found.items() for line in rows(n, at)]
    lines += rows("ratio of both", ratio)
    (HERE / "steady.md").write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
