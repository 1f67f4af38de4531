"""The referee of the closed box: every part a solid, prisms on one plan, solved with NGSolve.

Plates between the carved faces (shortest thickness), ribs, linings, blocks, bar and post are
elastic solids glued face to face; no part is a shell, a beam, a spring or rigid. The grain of
linings and ribs runs along the ribs, of bar along the body, of blocks and post from back to top
(common practice, no source). Loads and read-outs are those of the program's definitions: force and
moment spread over a patch, mean motion of the same patch, patches taken through the depth of the
plate. Shared with the shell: outline, arching, thickness rule, wood, string forces. mm, N, MPa.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import netgen.meshing as nm
import ngsolve as ng
import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.parts import bar_height, bar_line, rib_height, species_wood
from graduale.box.plate import PlateBody, ThicknessAt
from graduale.geometry.surface import inside_from_thickness
from graduale.records.instrument import Instrument, PlateName
from graduale.strings.setup import setup_of
from graduale.wood.material import wood_of
from tests.outside.referee.box_plan import Plan, plan_of
from tests.outside.referee.solid import _voigt, turned_stiffness

UPRIGHT = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # rows L, R, T
_HOLD = 1e-5  # N/mm3: weak springs on the lower block; loads in balance put no force on them
_FINE_RULE = 10


@dataclass(frozen=True)
class Size:
    """Edge length, finer edge length (bar, post, soundholes), length along the ribs (mm): longer
    chords there cut off a part of the end blocks; degree of the displacement.

    Wood shears so easily across the grain that the degree 2 reads 5 % too stiff.
    """

    edge_mm: float
    fine_mm: float
    ring_mm: float = 6.0
    order: int = 3


class _Builder:
    """Gathers nodes and prisms; a node is a plan node at a named level."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.z: dict[str, Floats] = {}
        self.points: list[tuple[float, float, float]] = []
        self.numbers: dict[str, Ints] = {}
        self.prisms: list[Ints] = []
        self.names: list[str] = []
        self.columns: list[int] = []
        self.at: list[tuple[int, str]] = []

    def level(self, name: str, z: Floats) -> None:
        self.z[name] = z
        self.numbers[name] = np.full(len(z), -1, dtype=np.int64)

    def _node(self, name: str, nodes: Ints) -> Ints:
        have = self.numbers[name]
        for i in np.unique(nodes[have[nodes] < 0]).tolist():
            have[i] = len(self.points)
            self.points.append((*self.plan.xy[i], float(self.z[name][i])))
            self.at.append((i, name))
        return have[nodes]

    def fill(self, facets: Ints, low: str, high: str, name: str) -> None:
        """Prisms between two levels on plan triangles `facets`."""
        tri = self.plan.triangles[facets]
        both = np.hstack(
            [
                self._node(low, tri.ravel()).reshape(-1, 3),
                self._node(high, tri.ravel()).reshape(-1, 3),
            ]
        )
        self.prisms += list(both)
        self.names += [name] * len(facets)
        self.columns += facets.tolist()


def _heights(
    builder: _Builder,
    instrument: Instrument,
    bodies: dict[PlateName, PlateBody],
    fields: dict[PlateName, ThicknessAt],
) -> tuple[str, ...]:
    """Levels of both plates and of the ribs, bottom to top; names of the rib levels."""
    plan = builder.plan
    xy, rise = plan.xy, rib_height(instrument, plan.xy[:, 0])
    seat = np.zeros(len(xy), dtype=bool)
    seat[np.unique(plan.triangles[(plan.ring > 0) | (plan.block >= 0)])] = True
    inside = {}
    for which, body in bodies.items():
        z = inside_from_thickness(body.arching, fields[which], xy)
        inside[which] = np.where(seat, 0.0, z)
    builder.level("back out", -bodies["back"].arching.height(xy))
    builder.level("back in", -inside["back"])
    builder.level("top in", rise + inside["top"])
    builder.level("top out", rise + bodies["top"].arching.height(xy))
    share = instrument.blocks.lining_height_mm / float(rise.max())
    shares = (
        (share, 0.5, 1.0 - share) if instrument.blocks.lining_width_mm > 0 else (0.25, 0.5, 0.75)
    )
    for k, s in enumerate(shares):
        builder.level(f"rib {k}", s * rise)
    return ("back in", *(f"rib {k}" for k in range(len(shares))), "top in")


def _fill_all(
    builder: _Builder, instrument: Instrument, rows: tuple[str, ...], roof: ThicknessAt
) -> None:
    plan, every = builder.plan, np.arange(len(builder.plan.triangles))
    bridge = instrument.bridge.x_mm
    near = max(10.0, 0.04 * instrument.body.length_mm)
    beside = np.abs(plan.centres[:, 0] - bridge) < near
    rib, post = plan.ring == 2, plan.post
    for plate, low, high in (("back", "back out", "back in"), ("top", "top in", "top out")):
        here = ~plan.hole if plate == "top" else np.ones(len(every), dtype=bool)
        kinds = {
            f"{plate} rim beside": rib & beside,
            f"{plate} rim": rib & ~beside,
            f"{plate} post": post,
            plate: ~rib & ~post,
        }
        for name, some in kinds.items():
            builder.fill(every[some & here], low, high, name)
    for k, (low, high) in enumerate(pairwise(rows)):
        builder.fill(every[rib], low, high, "rib")
        for number, name in enumerate(plan.block_names):
            builder.fill(every[plan.block == number], low, high, name)
        if k in (0, len(rows) - 2):
            builder.fill(every[(plan.ring == 3) & (plan.block < 0)], low, high, "lining")
    if instrument.bar.present:
        _bar(builder, instrument, every[plan.bar], roof)
    if instrument.post.present:
        low, high = builder.z["back in"], builder.z["top in"]
        names = ["back in", "post 1", "post 2", "top in"]
        for k in (1, 2):
            builder.level(names[k], low + k / 3.0 * (high - low))
        for a, b in pairwise(names):
            builder.fill(every[post], a, b, "post")


def _bar(builder: _Builder, instrument: Instrument, facets: Ints, over: ThicknessAt) -> None:
    """The bar stands upright; its height is measured on its middle line, from `over`."""
    bar, xy = instrument.bar, builder.plan.xy
    ends = bar_line(bar)
    share = (xy[:, 0] - ends[0, 0]) / (ends[1, 0] - ends[0, 0])
    middle = ends[0, 1] + share * (ends[1, 1] - ends[0, 1])
    roof = builder.z["top in"]
    nodes = np.unique(builder.plan.triangles[facets])
    line = np.column_stack([xy[nodes, 0], middle[nodes]])
    under = roof - 0.5
    under[nodes] = np.minimum(under[nodes], over(line) - bar_height(bar, line[:, 0]))
    builder.level("bar 1", 0.5 * (roof + under))
    builder.level("bar 2", under)
    builder.fill(facets, "bar 1", "top in", "bar")
    builder.fill(facets, "bar 2", "bar 1", "bar")


@dataclass(frozen=True, eq=False)
class BoxSolid:
    """The whole box as one elastic solid."""

    instrument: Instrument
    bodies: dict[PlateName, PlateBody]
    mesh: ng.Mesh
    bowed: Floats  # rise of each mesh edge's middle over its chord, mm
    names: "np.typing.NDArray[np.str_]"
    stiffness: Floats  # (elements, 6, 6)
    order: int

    @cached_property
    def space(self):
        return ng.VectorH1(self.mesh, order=self.order)

    @cached_property
    def rigid(self) -> Floats:
        """The six rigid motions about the origin (ndof, 6): of the corners and of bowed edges."""
        corners = np.array([v.point for v in self.mesh.vertices])
        out = np.zeros((self.space.ndof, 6))
        part = self.space.ndof // 3
        x, y, z = corners.T
        for k in range(3):
            out[k * part : k * part + len(corners), k] = 1.0
        for axis, values in ((3, (0 * x, -z, y)), (4, (z, 0 * x, -x)), (5, (-y, x, 0 * x))):
            for k in range(3):
                out[k * part : k * part + len(corners), axis] = values[k]
        edge = _edge_freedoms(self.mesh, self.order)
        out[part + edge, 3], out[edge, 4] = -self.bowed, self.bowed
        return out

    @cached_property
    def inverse(self):
        u, v = self.space.TnT()
        grid = ng.GridFunction(ng.L2(self.mesh, order=0, dim=36))
        grid.vec.FV().NumPy()[:] = self.stiffness.reshape(-1)
        material = grid.Reshape((6, 6))
        form = ng.BilinearForm(self.space, symmetric=True)
        form += (material * _voigt(u)) * _voigt(v) * ng.dx
        form += _HOLD * u * v * ng.dx("lower block")
        with ng.TaskManager():
            form.Assemble()
            return form.mat.Inverse(self.space.FreeDofs(), inverse="sparsecholesky")

    def solve(self, loads: Floats) -> Floats:
        """Displacements (ndof, k) of loads (ndof, k)."""
        out = np.empty_like(loads)
        f, u = (self.inverse.CreateColVector() for _ in range(2))
        for k in range(loads.shape[1]):
            f.FV().NumPy()[:] = loads[:, k]
            with ng.TaskManager():
                u.data = self.inverse * f
            out[:, k] = u.FV().NumPy()
        return out


@dataclass(frozen=True, eq=False)
class Body6:
    """Mean motion of a patch: rows (6, ndof) translation and rotation, place (3,)."""

    rows: Floats
    place: Floats

    def load(self, force: Floats, moment: Floats | None = None) -> Floats:
        return self.rows.T @ np.concatenate([force, np.zeros(3) if moment is None else moment])

    def load_at(self, force: Floats, point: Floats, moment: Floats) -> Floats:
        return self.load(force, np.cross(point - self.place, force) + moment)


def patch(solid: BoxSolid, materials: str, share=None) -> Body6:
    """Least-squares motion of a region, `share` (a coefficient, 0 to 1) cuts a part of it.

    The rows are scaled by what they say of the six rigid motions, so that these come out exactly.
    """
    one = ng.CoefficientFunction(1.0) if share is None else share
    dx = ng.dx(materials, bonus_intorder=0 if share is None else _FINE_RULE)
    v = solid.space.TestFunction()
    x = (ng.x, ng.y, ng.z)
    turns = [x[i] * v[j] - x[j] * v[i] for i, j in ((1, 2), (2, 0), (0, 1))]
    rows = []
    for part in (*(v[i] for i in range(3)), *turns):
        form = ng.LinearForm(solid.space)
        form += one * part * dx
        form.Assemble()
        rows.append(form.vec.FV().NumPy().copy())
    raw = np.array(rows)
    seen = raw @ solid.rigid
    place = np.array([seen[2, 4], seen[0, 5], seen[1, 3]]) / -seen[0, 0]
    fitted = np.linalg.solve(seen, raw)
    fitted[:3] += np.cross(fitted[3:], place, axis=0)
    return Body6(fitted, place)


def box_solid(
    instrument: Instrument,
    bodies: dict[PlateName, PlateBody],
    fields: dict[PlateName, ThicknessAt],
    size: Size,
) -> BoxSolid:
    """Builds the box on its plan."""
    plan = plan_of(instrument, bodies["top"], size.edge_mm, size.fine_mm, size.ring_mm)
    builder = _Builder(plan)
    rows = _heights(builder, instrument, bodies, fields)

    def roof(xy: Floats) -> Floats:
        inside = inside_from_thickness(bodies["top"].arching, fields["top"], xy)
        return rib_height(instrument, xy[:, 0]) + inside

    _fill_all(builder, instrument, rows, roof)
    names = np.array(builder.names)
    mesh = _mesh(builder, names)
    bowed = _bow(builder, mesh, instrument, bodies, fields)
    return BoxSolid(
        instrument,
        bodies,
        mesh,
        bowed,
        names,
        _stiffness(builder, instrument, bodies, names),
        size.order,
    )


def _mesh(builder: _Builder, names) -> ng.Mesh:
    raw = nm.Mesh(dim=3)
    raw.Add(nm.FaceDescriptor(surfnr=1, domin=1, bc=1))
    points = [raw.Add(nm.MeshPoint(nm.Pnt(*p))) for p in builder.points]
    kinds = list(dict.fromkeys(names.tolist()))
    for name, prism in zip(names.tolist(), builder.prisms, strict=True):
        raw.Add(nm.Element3D(kinds.index(name) + 1, [points[i] for i in prism.tolist()]))
    for k, name in enumerate(kinds, start=1):
        raw.SetMaterial(k, name)
    return ng.Mesh(raw)


def _edge_freedoms(mesh: ng.Mesh, order: int) -> Ints:
    """The freedom of each edge whose function is a parabola along it, one component."""
    space = ng.H1(mesh, order=order)
    return np.array([space.GetDofNrs(e)[0] for e in mesh.edges])


def _bow(builder, mesh, instrument, bodies, fields) -> Floats:
    """Bends the edges on the carved faces so that their middles lie on them too; see `bowed`.

    What comes back are coefficients of NGSolve's own parabola along an edge.
    """
    ends = np.array([[v.nr for v in e.vertices] for e in mesh.edges])
    plan = np.array([i for i, _ in builder.at])
    level = np.array([name for _, name in builder.at])
    z = np.array(builder.points)[:, 2]
    middle = builder.plan.xy[plan[ends]].mean(axis=1)
    rise = np.zeros(len(ends))
    for which, side in (("top", 1.0), ("back", -1.0)):
        body = bodies[which]
        base = rib_height(instrument, middle[:, 0]) if which == "top" else 0.0 * middle[:, 0]
        flat = base + side * 0.0
        for name, height in (
            (f"{which} out", body.arching.height),
            (
                f"{which} in",
                lambda xy, b=body, w=which: inside_from_thickness(b.arching, fields[w], xy),
            ),
        ):
            here = np.flatnonzero(np.all(level[ends] == name, axis=1))
            seat = np.all(np.abs(z[ends[here]] - flat[here, None]) < 1e-6, axis=1)
            here = here[~seat]  # what is glued stays plane
            true = base[here] + side * height(middle[here])
            rise[here] = true - z[ends[here]].mean(axis=1)
    space = ng.VectorH1(mesh, order=2)
    shift = ng.GridFunction(space)
    first = _edge_freedoms(mesh, 2)
    values = shift.components[2].vec.FV().NumPy()
    values[first[0]] = 1.0
    a, b = (np.array(builder.points[i]) for i in ends[0])
    unit = shift.components[2](mesh(*(0.5 * (a + b))))
    values[:] = 0.0
    values[first] = rise / unit
    mesh.SetDeformation(shift)
    return rise / unit


def _stiffness(builder, instrument, bodies, names) -> Floats:
    """Stiffness (elements, 6, 6) of every prism in the body's axes."""
    plan, column = builder.plan, np.array(builder.columns)
    out = np.zeros((len(names), 6, 6))
    centres = plan.centres[column]
    for which, body in bodies.items():
        mine = np.flatnonzero(np.char.startswith(names, which))
        axes = body.board_axes(np.array([1.0, -1.0]))
        for half, side in ((axes[0], centres[mine, 1] >= 0), (axes[1], centres[mine, 1] < 0)):
            out[mine[side]] = turned_stiffness(body.wood.compliance(), half)
    blocks = species_wood(instrument.blocks.block_species, "blocks").compliance()
    out[np.char.endswith(names, "block") | np.char.startswith(names, "corner")] = turned_stiffness(
        blocks, UPRIGHT
    )
    if instrument.post.present:
        out[names == "post"] = turned_stiffness(
            species_wood(instrument.post.species, "post").compliance(), UPRIGHT
        )
    if instrument.bar.present:
        ends = bar_line(instrument.bar)
        run = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        axes = np.array([[*run, 0.0], [-run[1], run[0], 0.0], [0.0, 0.0, 1.0]])
        out[names == "bar"] = turned_stiffness(
            species_wood(instrument.bar.species, "bar").compliance(), axes
        )
    _along_ribs(builder, names, out, "rib", wood_of(instrument.rib_wood, "ribs").compliance())
    lining = species_wood(instrument.blocks.lining_species, "linings").compliance()
    _along_ribs(builder, names, out, "lining", lining)
    return out


def _along_ribs(builder, names, out: Floats, kind: str, compliance: Floats) -> None:
    """Grain along the longest side of the prism's plan triangle, R upright, T through the rib."""
    mine = np.flatnonzero(names == kind)
    for i in mine.tolist():
        corners = builder.plan.xy[builder.plan.triangles[builder.columns[i]]]
        sides = np.roll(corners, -1, axis=0) - corners
        run = sides[np.argmax(np.hypot(*sides.T))]
        run = run / np.hypot(*run)
        axes = np.array([[run[0], run[1], 0.0], [0.0, 0.0, 1.0], [run[1], -run[0], 0.0]])
        out[i] = turned_stiffness(compliance, axes)


@dataclass(frozen=True)
class BoxAnswer:
    """Read-outs as the program defines them: mm/N, mm/N, mm, rad, rad per N m; freedoms."""

    across_top: float
    across_back: float | None
    sag_mm: float
    lengthwise: float
    lengthwise_per_nm: float
    freedoms: int


def answer(solid: BoxSolid) -> BoxAnswer:
    """All read-outs of one box."""
    inst = solid.instrument
    b, down = inst.bridge, np.array([0.0, 0.0, -1.0])

    def foot(y: float) -> Body6:
        across = ng.IfPos(0.5 * b.foot_length_mm - ng.sqrt((ng.y - y) ** 2), 1.0, 0.0)
        along = ng.IfPos(0.5 * b.foot_width_mm - ng.sqrt((ng.x - b.x_mm) ** 2), 1.0, 0.0)
        return patch(solid, "top|top post", across * along)

    feet = {"bass": foot(b.bass_foot_y_mm), "treble": foot(b.treble_foot_y_mm)}
    rim = {w: patch(solid, f"{w} rim|{w} rim beside") for w in ("top", "back")}
    blocks = {n: patch(solid, n) for n in ("lower block", "upper block")}
    press = feet["bass"].load(0.5 * down) + feet["treble"].load(0.5 * down)
    middle = 0.5 * (feet["bass"].place + feet["treble"].place)
    loads = {"foot press": press + rim["top"].load_at(-down, middle, np.zeros(3))}
    arching = solid.bodies["top"].arching
    crown, bass, treble = (
        float(arching.height(np.array([[b.x_mm, y]]))[0])
        for y in (0.0, b.bass_foot_y_mm, b.treble_foot_y_mm)
    )
    strings = setup_of(inst.strings, b, inst.neck, inst.body, crown, (bass, treble))
    strung = sum(feet[s].load_at(w.force, w.point, w.moment) for s, w in strings.feet.items())
    for name, w in (("upper block", strings.nut), ("lower block", strings.saddle)):
        strung = strung + blocks[name].load_at(w.force, w.point, w.moment)
    loads["strung"] = strung
    couple = np.array([0.0, 1000.0, 0.0])
    loads["bend"] = blocks["lower block"].load(np.zeros(3), couple) + blocks["upper block"].load(
        np.zeros(3), -couple
    )
    if inst.post.present:
        spot = patch(solid, "back post")
        loads["post press"] = spot.load(down) + rim["back"].load_at(-down, spot.place, np.zeros(3))
    u = dict(zip(loads, solid.solve(np.column_stack(list(loads.values()))).T, strict=True))
    rib = patch(solid, "top rim beside")

    def sag(foot_: Body6, way: Floats) -> float:
        motion, arm = rib.rows @ way, foot_.place - rib.place
        return float(motion[2] + arm[1] * motion[3] - arm[0] * motion[4] - foot_.rows[2] @ way)

    def turn(way: Floats) -> float:
        return float((blocks["upper block"].rows[4] - blocks["lower block"].rows[4]) @ way)

    return BoxAnswer(
        float(loads["foot press"] @ u["foot press"]),
        float(loads["post press"] @ u["post press"]) if inst.post.present else None,
        0.5 * sum(sag(f, u["strung"]) for f in feet.values()),
        abs(turn(u["strung"])),
        abs(turn(u["bend"])),
        solid.space.ndof,
    )
