"""The linear interval of every figure against a Latin hypercube of full solves.

    python -m benchmarks.doubt.sample narrow-fiddle 64

Every source moves at once (boards, angles, ribs, bar, post, shape, set-up, caliper and tool); each
draw is a full solve of the moved box on the deciding mesh and of both free plates, nothing
linear. Writes `sample-NAME.json` beside this file.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from graduale.base.arrays import Floats
from graduale.base.threads import blas_threads
from graduale.box import nudge
from graduale.box.cases import Cases, moved_cases, string_forces
from graduale.box.nudge import PLATES, Move
from graduale.box.plate import PlateShell
from graduale.box.readouts import reading_of, solve
from graduale.files.instrument import load_instrument
from graduale.jobs.doubting import figures_of
from graduale.records.instrument import Instrument
from graduale.shell.modes import free_modes
from graduale.thickness.sources import HEARD, Figures, Source, sources, stepped
from graduale.wood.scatter import NAMES
from graduale.wood.species import MODULI, STRENGTHS

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SEED = 20261125
MAPS = {"top": np.array([3.0, 2.7, 2.7, 2.4]), "back": np.array([4.3, 2.5, 2.5, 2.3])}
WIDTHS = ("lower", "waist", "upper")
Draw = dict[str, Floats]


def draws_of(found: tuple[Source, ...], count: int) -> list[Draw]:
    """Parameters by source, from a Latin hypercube."""
    size = sum(len(s.params) for s in found)
    normal = ndtri(qmc.LatinHypercube(size, seed=SEED).random(count))
    out: list[Draw] = [{} for _ in range(count)]
    start = 0
    for source in found:
        values, vectors = np.linalg.eigh(source.cov)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        block = normal[:, start : start + len(values)] @ root.T
        start += len(values)
        for draw, row in zip(out, block, strict=True):
            draw[source.key] = row
    return out


def one(draw: Draw, key: str) -> float:
    """The value of a single source; 0 when it has no spread here."""
    return float(draw[key][0]) if key in draw else 0.0


def move_of(draw: Draw, inst: Instrument) -> Move:
    """The change of shape of a draw."""
    b = inst.body
    wide = (b.lower_width_mm, b.waist_width_mm, b.upper_width_mm)
    across = [one(draw, f"{n} width") / w for n, w in zip(WIDTHS, wide, strict=True)]
    return Move(
        one(draw, "length") / b.length_mm,
        (across[0], across[1], across[2]),
        {w: one(draw, f"{w} arch") for w in PLATES},
        {w: one(draw, f"{w} edge") for w in PLATES},
        one(draw, "rib height"),
    )


def plate_of(draw: Draw, plate: PlateShell) -> PlateShell:
    """The plate of another board, its board turned."""
    which = plate.body.which
    logs = dict(zip(NAMES, draw[f"{which} wood"], strict=True))
    wood = plate.body.wood
    for name in (*MODULI, "poisson"):
        wood = stepped(wood, name, float(logs[name]))
    strong = {n: getattr(wood.strength, n) * float(np.exp(logs[n])) for n in STRENGTHS}
    heavy = wood.density_kg_m3 * float(np.exp(logs["density"]))
    wood = replace(wood, strength=replace(wood.strength, **strong), density_kg_m3=heavy)
    c = plate.body.choice
    choice = replace(
        c,
        ring_angle_deg=c.ring_angle_deg + one(draw, f"{which} ring_angle"),
        runout_deg=c.runout_deg + one(draw, f"{which} runout"),
    )
    body = replace(plate.body, choice=choice)
    axes = body.board_axes(plate.mesh.xy[plate.triangles][:, :, 1].mean(axis=1))
    return nudge.with_wood(plate, wood, axes)


def thickness_of(draw: Draw, plate: PlateShell, t_mm: Floats, found: Figures) -> Floats:
    """Thickness at the nodes (n,): seats follow the edge, the rest caliper and tool."""
    which = plate.body.which
    height = np.maximum(plate.body.arching.height(plate.inside_xy), 0.3)
    seat = np.abs(t_mm - height) < 1e-9
    box_plate = found.order.reading.box.plates[which]
    cells = np.unique(_cells(box_plate))
    place = np.searchsorted(cells, _cells(plate)).clip(0, len(cells) - 1)
    carved = t_mm + one(draw, f"{which} caliper") + draw[f"{which} tool"][place]
    return np.where(seat, t_mm + one(draw, f"{which} edge"), np.maximum(carved, 0.5))


def _cells(plate: PlateShell) -> "np.typing.NDArray[np.int64]":
    i, j = np.floor(plate.inside_xy / 25.0).astype(np.int64).T
    return np.asarray(1000 * i + j)


def cases_at(draw: Draw, found: Figures, moved: nudge.Box, move: Move) -> Cases:
    """Loads of a draw."""
    box, cases, inst = found.order.reading.box, found.order.reading.cases, moved.instrument
    b = inst.body
    new = replace(
        inst,
        body=replace(
            b,
            length_mm=b.length_mm * (1.0 + move.along),
            rib_height_upper_mm=b.rib_height_upper_mm + move.ribs_mm,
            rib_height_lower_mm=b.rib_height_lower_mm + move.ribs_mm,
        ),
        bridge=replace(
            inst.bridge,
            x_mm=inst.bridge.x_mm * (1.0 + move.along),
            height_mm=inst.bridge.height_mm + one(draw, "bridge height"),
        ),
        neck=replace(
            inst.neck,
            nut_height_mm=inst.neck.nut_height_mm + one(draw, "neck nut_height"),
            saddle_height_mm=inst.neck.saddle_height_mm + one(draw, "neck saddle_height"),
        ),
    )
    pull = float(np.exp(one(draw, "string tension")))
    strung = [
        replace(s, mass_per_length_g_m=s.mass_per_length_g_m * pull)
        if s.mass_per_length_g_m is not None
        else replace(s, gauge_mm=(s.gauge_mm or 0.0) * pull**0.5)
        for s in inst.strings.strings
    ]
    new = replace(new, strings=replace(inst.strings, strings=tuple(strung)))
    strings = string_forces(box, new, move.crown_mm.get("top", 0.0))
    return moved_cases(moved, cases, found.pushed, strings)


def full(draw: Draw, found: Figures) -> Floats:
    """Logarithms of all figures of a draw over those of the instrument (n,), by full solves."""
    order = found.order
    box, inst = order.reading.box, order.reading.box.instrument
    move = move_of(draw, inst)
    t_nodes = order.solved.t_nodes.copy()
    for w in PLATES:
        plate = box.plates[w]
        first = box.first_node(w)
        some = slice(first, first + len(plate.nodes))
        t_nodes[some] = thickness_of(draw, plate, t_nodes[some], found)
        box = nudge.with_plate(box, w, plate_of(draw, plate))
    box = nudge.with_ribs(box, float(np.exp(one(draw, "rib wood"))), one(draw, "rib thickness"))
    box = nudge.moved_box(box, move)
    if inst.bar.present:
        bar = replace(
            inst.bar,
            height_mm=inst.bar.height_mm + one(draw, "bar height"),
            width_mm=inst.bar.width_mm + one(draw, "bar width"),
        )
        stiff = float(np.exp(one(draw, "bar wood")))
        box = nudge.with_bar(box, replace(inst, bar=bar), stiff)
    if box.post_rows is not None:
        box = nudge.with_post_stiffness(box, float(np.exp(one(draw, "post wood"))))
    cases = cases_at(draw, found, box, move)
    made = reading_of(box, cases)
    probes = tuple(
        replace(p, disc=replace(p.disc, turn=q.disc.turn), strength=q.strength)
        for p, q in zip(order.reading.probes, made.probes, strict=True)
    )
    got = solve(replace(made, probes=probes), t_nodes, slopes=False).values
    out = [np.log(np.array([got[n] for n in order.names]) / order.values)]
    mass, tones = [], []
    for w in PLATES:
        heard = found.heard[w]
        plate = nudge.moved_plate(
            inst, plate_of(draw, heard.free.plate), move, np.zeros(len(heard.free.plate.nodes))
        )
        t = thickness_of(draw, heard.free.plate, heard.t_nodes, found)
        old = heard.free.structure
        heavy = float(np.exp(draw[f"{w} wood"][0]))
        shell = replace(
            old.shell,
            nodes=plate.nodes,
            triads=plate.triads,
            q_mpa=plate.q_mpa,
            h_mpa=plate.h_mpa,
            density=old.shell.density * heavy,
        )
        beams = tuple(replace(b, nodes=plate.nodes) for b in old.beams)
        new = replace(old, shell=shell, beams=beams)
        mass.append(np.log(new.mass_g(t) / old.mass_g(heard.t_nodes)))
        hz = free_modes(new.stiffness(t), new.mass(t), HEARD).hz
        tones.append(np.log(hz / heard.modes.hz))
    return np.concatenate([*out, mass, *tones])


def study(name: str, count: int) -> dict[str, object]:
    """What the sample says of the line, by group of figures."""
    inst = load_instrument(ROOT / "examples" / name / "instrument.toml").instrument
    found = figures_of(inst, MAPS)
    all_sources = sources(found, inst.known, inst.workshop.caliper_spread_mm, 0.03 / 3**0.5)
    line = np.sqrt(sum(s.variance() for s in all_sources))
    rows = np.array([full(d, found) for d in draws_of(all_sources, count)])
    inside = (np.abs(rows) <= 1.645 * line).mean(axis=0)
    upper = np.quantile(rows, 0.9, axis=0) - 1.2816 * line
    groups = {
        "across, lengthwise": ("across", "lengthwise"),
        "masses": ("mass ",),
        "tap tones": ("tone ",),
        "stress and shear, strings": ("top: ", "back: "),
        "stress, press": ("top: press", "back: press"),
    }
    out: dict[str, object] = {"draws": count, "seed": SEED}
    for group, starts in groups.items():
        some = [
            i
            for i, n in enumerate(found.names)
            if n.startswith(starts) and not (group.endswith("strings") and ": press" in n)
        ]
        spread = rows[:, some].std(axis=0) / line[some]
        out[group] = {
            "figures": len(some),
            "spread, sample over line": [round(float(v), 3) for v in _three(spread)],
            "share inside the 90 % interval": [round(float(v), 3) for v in _three(inside[some])],
            "nine in ten, sample less line (logarithm)": [
                round(float(v), 3) for v in _three(upper[some])
            ],
        }
    return out


def _three(values: Floats) -> Floats:
    """Least, median, greatest."""
    return np.quantile(values, (0.0, 0.5, 1.0))


if __name__ == "__main__":
    with blas_threads():
        answer = study(sys.argv[1], int(sys.argv[2]))
    text = json.dumps(answer, indent=2) + "\n"
    (HERE / f"sample-{sys.argv[1]}.json").write_text(text, encoding="utf-8")
    print(text)
