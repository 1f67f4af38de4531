"""Ours and the peers: each makes a `Run` from a mesh size; `first` is cold, `again` a new map."""

import re
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.peers import problem

from graduale.base.arrays import Floats


@dataclass(frozen=True, eq=False)
class Run:
    """first() -> Hz (8,) and `again(map)` -> Hz (8,), which may use whatever first() left."""

    first: Callable[[], Floats]
    again: Callable[[problem.Map], Floats]
    nodes: Callable[[], int]


def ours(size_mm: float) -> Run:
    """This program's shell."""
    from graduale.box.parts import lone_structure
    from graduale.shell.live import LiveShell
    from graduale.shell.modes import free_modes

    kept: dict[str, object] = {}

    def first() -> Floats:
        plate = problem.lifted(size_mm)
        structure = lone_structure(None, plate, np.empty(0, dtype=np.int64))
        t = problem.first_map(plate.inside_xy)
        kept.update(plate=plate, structure=structure, t=t)
        return free_modes(structure.stiffness(t), structure.mass(t), problem.COUNT).hz

    def again(rule: problem.Map) -> Floats:
        plate = kept["plate"]
        if "live" not in kept:
            kept["live"] = LiveShell.of(kept["structure"], kept["t"], problem.COUNT)
            kept["heard"] = kept["live"].at(kept["t"])
        return kept["live"].at(rule(plate.inside_xy), kept["heard"]).hz

    return Run(first, again, lambda: len(kept["plate"].nodes))


def ngsolve(size_mm: float) -> Run:
    """NGSolve (LGPL): 3-D solid of cubic prisms, its sparse Cholesky, SciPy's eigsh."""
    from tests.outside.referee.plates import VIOLIN
    from tests.outside.referee.solid import Solid, bend_to, carve, solid_mesh, turned_stiffness

    kept: dict[str, int] = {}

    def solve(rule: problem.Map) -> Floats:
        mesh = problem.mesh(size_mm)
        prisms = carve(mesh.xy, mesh.triangles, (mesh.outline_nodes,), VIOLIN.arching, rule)
        none = np.empty(0, dtype=np.int64)
        stiffness = turned_stiffness(VIOLIN.wood.compliance(), VIOLIN.axes)
        density = VIOLIN.wood.density_kg_m3 * 1e-12
        shaped = solid_mesh(prisms, none)
        bend_to(shaped, prisms, lambda xy: _faces(carve(xy, none, (), VIOLIN.arching, rule)))
        solid = Solid(prisms, shaped, stiffness, density)
        kept["nodes"] = len(prisms.xy)
        return solid.free_modes(problem.COUNT)[0]

    return Run(lambda: solve(problem.first_map), solve, lambda: kept["nodes"])


def _faces(prisms: Any) -> tuple[Floats, Floats]:
    return prisms.outer, prisms.inner


def calculix(size_mm: float) -> Run:
    """CalculiX (GPL): quadratic shells S6, block wood by an orientation, thickness at nodes.

    Every solution is a run of its own: its only way. Writing its input is not counted as its time
    alone, but takes little.
    """
    kept: dict[str, int] = {}

    def solve(rule: problem.Map) -> Floats:
        surface = problem.surface(size_mm, rule, quadratic=True)
        kept["nodes"] = len(surface.nodes)
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "plate.inp").write_text(_deck(surface))
            subprocess.run(["ccx", "plate"], cwd=folder, check=True, capture_output=True)
            text = (Path(folder) / "plate.dat").read_text()
        rows = re.findall(r"^\s+\d+\s+\S+\s+\S+\s+(\S+)\s+\S+\s*$", text, re.MULTILINE)
        return np.array([float(r) for r in rows[6 : 6 + problem.COUNT]])

    return Run(lambda: solve(problem.first_map), solve, lambda: kept["nodes"])


def _deck(surface: problem.Surface) -> str:
    from tests.outside.referee.plates import VIOLIN

    wood, axes = VIOLIN.wood, VIOLIN.axes
    nodes = [f"{i + 1}, {x:.9g}, {y:.9g}, {z:.9g}" for i, (x, y, z) in enumerate(surface.nodes)]
    tri = [", ".join(str(v + 1) for v in (i, *row)) for i, row in enumerate(surface.triangles)]
    thick = [f"{i + 1}, {t:.9g}" for i, t in enumerate(surface.thickness)]
    moduli = (wood.el, wood.er, wood.et, wood.nu_lr, wood.nu_lt, wood.nu_rt, wood.glr, wood.glt)
    return "\n".join(
        [
            "*NODE, NSET=ALL",
            *nodes,
            "*ELEMENT, TYPE=S6, ELSET=PLATE",
            *tri,
            "*ORIENTATION, NAME=BOARD, SYSTEM=RECTANGULAR",
            ", ".join(f"{v:.9g}" for v in (*axes[0], *axes[1])),
            "*MATERIAL, NAME=WOOD",
            "*ELASTIC, TYPE=ENGINEERING CONSTANTS",
            ", ".join(f"{m:.9g}" for m in moduli),
            f"{wood.grt:.9g}, 293",
            "*DENSITY",
            f"{wood.density_kg_m3 * 1e-12:.9g}",
            "*SHELL SECTION, ELSET=PLATE, MATERIAL=WOOD, ORIENTATION=BOARD, NODAL THICKNESS",
            "3.0",
            "*NODAL THICKNESS",
            *thick,
            "*STEP",
            "*FREQUENCY",
            f"{6 + problem.COUNT}",
            "*END STEP",
            "",
        ]
    )


def pyfe3d(size_mm: float) -> Run:
    """pyfe3d (BSD): compiled triangles Tria3R driven from Python, SciPy's SuperLU and eigsh.

    It takes our facets with their moduli (the block's wood turned and condensed); thickness is
    even over a facet.
    """
    import scipy.sparse as sp
    from pyfe3d import Tria3R, Tria3RData, Tria3RProbe
    from pyfe3d.shellprop import ShellProp
    from scipy.sparse.linalg import eigsh

    kept: dict[str, object] = {}

    def prepare() -> None:
        plate = problem.lifted(size_mm)
        data, x = Tria3RData(), np.ascontiguousarray(plate.nodes.ravel())
        probe, elements = Tria3RProbe(), []
        for i, (a, b, c) in enumerate(plate.triangles.tolist()):
            e = Tria3R(probe)
            e.n1, e.n2, e.n3, e.c1, e.c2, e.c3 = a, b, c, 6 * a, 6 * b, 6 * c
            e.init_k_KC0, e.init_k_M = i * data.KC0_SPARSE_SIZE, i * data.M_SPARSE_SIZE
            e.update_rotation_matrix(x, 1.0, 0.0, 0.0)
            elements.append(e)
        kept.update(plate=plate, elements=elements, x=x, data=data)

    def solve(rule: problem.Map) -> Floats:
        plate, data = kept["plate"], kept["data"]
        t = rule(plate.inside_xy)[plate.triangles].mean(axis=1)
        count = len(t)
        sizes = count * data.KC0_SPARSE_SIZE, count * data.M_SPARSE_SIZE
        k, m = ([np.zeros(n, int), np.zeros(n, int), np.zeros(n)] for n in sizes)
        for e, q, h, ti in zip(kept["elements"], plate.q_mpa, plate.h_mpa, t, strict=True):
            prop = _section(ShellProp(), q, h, float(ti), plate.density)
            e.update_probe_xe(kept["x"])
            e.update_KC0(*k, prop)
            e.update_M(*m, prop)
        shape = (6 * len(plate.nodes),) * 2
        stiff, mass = (sp.csc_matrix((v, (r, c)), shape) for r, c, v in (k, m))
        shift = (2.0 * np.pi * 20.0) ** 2
        start = np.cos(np.arange(shape[0]))
        values = eigsh(stiff, problem.COUNT + 6, mass, -shift, v0=start, return_eigenvectors=False)
        return np.sqrt(np.sort(values)[6:]) / (2.0 * np.pi)

    def first() -> Floats:
        prepare()
        return solve(problem.first_map)

    return Run(first, solve, lambda: len(kept["plate"].nodes))


def _section(prop: object, q: Floats, h: Floats, t: float, density: float) -> object:
    """Membrane, bending and shear stiffness of an even section (shear factor 5/6)."""
    names = (("11", 0, 0), ("12", 0, 1), ("16", 0, 2), ("22", 1, 1), ("26", 1, 2), ("66", 2, 2))
    for name, i, j in names:
        setattr(prop, "A" + name, t * q[i, j])
        setattr(prop, "B" + name, 0.0)
        setattr(prop, "D" + name, t**3 / 12.0 * q[i, j])
    shear = 5.0 / 6.0 * t * h  # theirs: 4 is yz, 5 is xz
    prop.A44, prop.A45, prop.A55 = shear[1, 1], shear[0, 1], shear[0, 0]
    prop.h, prop.intrho, prop.intrhoz, prop.intrhoz2 = t, density * t, 0.0, density * t**3 / 12.0
    return prop


SOLVERS: dict[str, Callable[[float], Run]] = {
    "ours": ours,
    "CalculiX": calculix,
    "NGSolve": ngsolve,
    "pyfe3d": pyfe3d,
}
