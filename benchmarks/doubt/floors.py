"""Both floor maps of a decision against full solves at a dozen spots.

    python -m benchmarks.doubt.floors examples/narrow-fiddle/instrument.toml out/demo

Reads the decided zones and `joint_reduction_mm`; lone-spot floors are found anew by the same code.
At each spot a disc of 10 mm radius is thinned to its floor on the fine box, and every verdict is
solved again; then the rim of the disc is searched as `judge` does. At last both plates are thinned
evenly. Writes `floors-NAME.json` beside this file.
"""

import json
import sys
from pathlib import Path

import numpy as np

from graduale.base.threads import blas_threads
from graduale.box import meshing
from graduale.box.anywhere import local_presses
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.nudge import PLATES
from graduale.box.plate import plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.box.verdicts import limits
from graduale.files.instrument import load_instrument
from graduale.jobs.doubting import doubt_of, surer
from graduale.jobs.reference import reference
from graduale.thickness.field import layout_of
from graduale.thickness.floor import LONE_RADIUS_MM, lone_floor, thinned

HERE = Path(__file__).parent
SPOTS = 3  # of each plate those of the highest floors, and as many spread over its press places
REACH_MM = 15.0  # how far round the spot the rim is searched


def silent(share: float, stage: str) -> None:
    """No bar."""


def study(path: Path, folder: Path) -> dict[str, object]:
    """Demand over limit (margin 0) at each floor: 1 is the floor's promise, above it is broken."""
    stored = json.loads((folder / "decision.json").read_text(encoding="utf-8"))["plates"]
    inst = load_instrument(path).instrument
    known = reference(silent)
    band = surer(known, doubt_of(inst, known, silent)).band
    bodies = plate_bodies(inst)
    fields = {w: layout_of(inst, bodies[w]).at(np.array(list(_zones(stored[w])))) for w in PLATES}
    box = build_box(inst, bodies, fields, meshing.settled_mm(inst))
    reading = reading_of(box, cases_of(box))
    t_nodes = box.thickness(fields)
    solved = solve(reading, t_nodes, slopes=True)
    bare = limits(reading, band, 0.0)
    rows = []
    for which in PLATES:
        lone = lone_floor(reading, solved, bare, which)
        plate, first = box.plates[which], box.first_node(which)
        high = np.argsort(-lone.floor_mm, kind="stable")[:SPOTS]
        even = np.linspace(0, len(lone.spots) - 1, SPOTS).round().astype(int)
        for i in dict.fromkeys([*high.tolist(), *even.tolist()]):
            spot, floor = lone.spots[i], float(lone.floor_mm[i])
            near = np.hypot(*(plate.inside_xy - [spot.x_mm, spot.y_mm]).T) <= LONE_RADIUS_MM
            nodes = first + np.flatnonzero(near)
            thick = float(t_nodes[nodes].mean())
            t = t_nodes.copy()
            t[nodes] *= floor / thick
            values = solve(reading, t, slopes=False).values
            used = {k: values[k] / v for k, v in bare.items()}
            worst = max(used, key=lambda k: used[k])
            reach = np.array([REACH_MM])
            rim = local_presses(reading, t, t_nodes, (spot,), reach, band, 0.0)[0]
            rows.append(
                {
                    "plate": which,
                    "spot": spot.key,
                    "thickness_mm": round(thick, 2),
                    "floor_mm": round(floor, 2),
                    "demand_over_limit": round(used[worst], 3),
                    "by": worst,
                    "with_its_rim": round(1.0 / rim.reserve, 3),
                    "at_its_own_read_out": round(used.get(lone.governs[i], float("nan")), 3),
                    "governs": lone.governs[i],
                }
            )
    less = float(stored["top"]["joint_reduction_mm"])
    joint = {}
    for extra in (0.0, 0.05):
        thin = thinned(fields, less + extra)
        lower = build_box(inst, bodies, thin, meshing.settled_mm(inst))
        values = solve(
            reading_of(lower, cases_of(lower)), lower.thickness(thin), slopes=False
        ).values
        used = {k: values[k] / v for k, v in bare.items()}
        worst = max(used, key=lambda k: used[k])
        joint[f"{less + extra:.3f} mm less"] = [round(used[worst], 3), worst]
    return {"lone": rows, "joint": joint}


def _zones(plate: dict[str, dict[str, float]]) -> list[float]:
    z = plate["zones_mm"]
    return [z["centre"], z["upper"], z["lower"], z["channel"]]


if __name__ == "__main__":
    with blas_threads():
        answer = study(Path(sys.argv[1]), Path(sys.argv[2]))
    text = json.dumps(answer, indent=2) + "\n"
    name = Path(sys.argv[1]).parent.name
    (HERE / f"floors-{name}.json").write_text(text, encoding="utf-8")
    print(text)
