"""Every source of doubt of one instrument, with what it does to each figure, to first order.

Figures: each read-out of the closed box, the mass and the first tap tones of both plates, all as
logarithms. Sources: the boards (wood/scatter), board angles, ribs, bar and post wood, arching and
outline as the file knows them, strings and set-up, the caliper and the last tool.
Not carried: soundholes, the places of bridge and post, blocks.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats
from graduale.box import nudge
from graduale.box.cases import moved_cases, pushes, string_forces, with_strings
from graduale.box.firstorder import FirstOrder
from graduale.box.nudge import PLATES, Move
from graduale.box.plate import PlateShell
from graduale.box.tones import FreePlate
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.modes import Modes
from graduale.strings.feet import Wrench
from graduale.strings.setup import StringForces
from graduale.wood.material import Wood
from graduale.wood.scatter import NAMES, Known, scatter_of
from graduale.wood.species import MODULI, species

HEARD = 5  # tap tones that carry their doubt
_STEP = 1e-4  # of a logarithm
_STEP_MM = 2e-3
_STEP_DEG = 0.02
_PATCH_MM = 25.0  # thickness errors of tool and caliper are alike so far, not farther [own]
_STRINGS = 0.05  # tension of a set known by gauge or weight [own]
_TOLD = 0.02  # of a set whose tension the packet tells [own]


@dataclass(frozen=True, eq=False)
class Source:
    """One source: key, group ('wood', 'shape', ...), params (p,), effects (p, n) of the figures'
    logarithms, covariance (p, p) of the parameters."""

    key: str
    group: str
    params: tuple[str, ...]
    effects: Floats
    cov: Floats

    def variance(self, cov: Floats | None = None) -> Floats:
        """Of every figure's logarithm (n,); with another covariance, if given."""
        used = self.cov if cov is None else cov
        out: Floats = np.einsum("pn,pq,qn->n", self.effects, used, self.effects)
        return out


@dataclass(frozen=True, eq=False)
class Heard:
    """A free plate with its modes at a nodal thickness (n,)."""

    free: FreePlate
    t_nodes: Floats
    modes: Modes

    def change(self, plate: PlateShell, density: float = 1.0) -> tuple[float, Floats]:
        """d ln mass, d ln hertz (k,) of another plate on the same mesh; density: a factor."""
        old, shapes = self.free.structure, self.modes.shapes
        shell = old.shell
        places = plate.nodes is not self.free.plate.nodes
        if places:
            moved = replace(
                shell, nodes=plate.nodes, triads=plate.triads, q_mpa=plate.q_mpa, h_mpa=plate.h_mpa
            )
            moved.__dict__["pattern"] = shell.pattern
            beams = tuple(replace(b, nodes=plate.nodes) for b in old.beams)
        else:
            moved = shell.of_wood(plate.q_mpa, plate.h_mpa, shell.density * density)
            beams = old.beams
        new = replace(old, shell=moved, beams=beams)
        lam = (2.0 * np.pi * self.modes.hz) ** 2
        change, mass = np.zeros(len(lam)), 0.0
        if density == 1.0:
            stiff = new.stiffness(self.t_nodes) @ shapes - self._still[0]
            change += np.einsum("ik,ik->k", shapes, stiff) / (2.0 * lam)
        if places or density != 1.0:
            heavy = new.mass(self.t_nodes) @ shapes - self._still[1]
            change -= 0.5 * np.einsum("ik,ik->k", shapes, heavy)
            mass = new.mass_g(self.t_nodes) / old.mass_g(self.t_nodes) - 1.0
        return mass, change

    @cached_property
    def _still(self) -> tuple[Floats, Floats]:
        """K and M times the shapes (size, k)."""
        old, t, shapes = self.free.structure, self.t_nodes, self.modes.shapes
        return old.stiffness(t) @ shapes, old.mass(t) @ shapes


@dataclass(frozen=True, eq=False)
class Figures:
    """What the sources act on: the box and both free plates; figures in the order of `names`."""

    order: FirstOrder
    heard: Mapping[PlateName, Heard]

    @cached_property
    def pushed(self) -> Floats:
        """Presses without their reactions (size, c)."""
        return pushes(self.order.reading.box, self.order.reading.cases)

    @property
    def names(self) -> tuple[str, ...]:
        """Read-outs, then 'mass top', 'mass back', 'tone top 1', ..."""
        mass = tuple(f"mass {w}" for w in PLATES)
        tones = tuple(f"tone {w} {i + 1}" for w in PLATES for i in range(HEARD))
        return (*self.order.names, *mass, *tones)

    def row(
        self, box: Floats | None = None, plates: Mapping[PlateName, tuple[float, Floats]] = {}
    ) -> Floats:
        """One row of effects (n,)."""
        none = (0.0, np.zeros(HEARD))
        parts = [plates.get(w, none) for w in PLATES]
        still = np.zeros(len(self.order.names)) if box is None else box
        return np.concatenate([still, [m for m, _ in parts], *(hz for _, hz in parts)])


def sources(
    figures: Figures, known: Known, caliper_mm: float, tool_mm: float
) -> tuple[Source, ...]:
    """All sources that have a spread. caliper_mm, tool_mm: one standard deviation."""
    return (
        *_boards(figures, known),
        *_angles(figures, known),
        *_parts(figures, known),
        *_shape(figures, known),
        *_setup(figures, known),
        *_thickness(figures, caliper_mm, tool_mm),
    )


def wood_effects(order: FirstOrder, which: PlateName) -> Floats:
    """d ln J / d ln property (14, k) of a plate's wood, in the order of wood.scatter.NAMES."""
    box, plate = order.reading.box, order.reading.box.plates[which]
    first = box.first_facet(which)
    own = slice(first, first + len(plate.triangles))
    strengths = order.strengths()
    rows = []
    for name in NAMES:
        if name in MODULI or name == "poisson":
            other = nudge.with_wood(plate, stepped(plate.body.wood, name))
            moved = nudge.with_plate(box, which, other)
            rows.append(order.change(moved, facets=own) / _STEP)
        elif name == "density":
            rows.append(np.zeros(len(order.names)))
        else:
            rows.append(strengths[f"{which} {name}"])
    return np.array(rows)


def stepped(wood: Wood, name: str, step: float = _STEP) -> Wood:
    """The wood with one property (of MODULI, or 'poisson') larger by a step of its logarithm."""
    factor = float(np.exp(step))
    if name == "poisson":
        names = ("nu_lr", "nu_lt", "nu_rt")
        return replace(wood, **{n: getattr(wood, n) * factor for n in names})
    return replace(wood, **{name.lower(): getattr(wood, name.lower()) * factor})


def _boards(figures: Figures, known: Known) -> Iterator[Source]:
    inst = figures.order.reading.box.instrument
    for which in PLATES:
        still = wood_effects(figures.order, which)
        heard = figures.heard[which]
        plate = heard.free.plate
        rows = []
        for i, name in enumerate(NAMES):
            if name == "density":
                mass, hz = heard.change(plate, float(np.exp(_STEP)))
                move = (mass / _STEP, hz / _STEP)
            elif name in MODULI or name == "poisson":
                other = nudge.with_wood(plate, stepped(plate.body.wood, name))
                move = (0.0, heard.change(other)[1] / _STEP)
            else:
                move = (0.0, np.zeros(HEARD))
            rows.append(figures.row(still[i], {which: move}))
        cov = scatter_of(inst.plate(which).wood, known, f"{which}.wood")
        yield Source(f"{which} wood", "wood", NAMES, np.array(rows), cov)


def _angles(figures: Figures, known: Known) -> Iterator[Source]:
    box = figures.order.reading.box
    for which in PLATES:
        plate, heard = box.plates[which], figures.heard[which]
        first = box.first_facet(which)
        own = slice(first, first + len(plate.triangles))
        for name in ("ring_angle", "runout"):
            spread = _spread(known, f"{which}.wood.{name}")
            if spread == 0.0:
                continue
            turned = _turned(plate, f"{name}_deg")
            still = figures.order.change(nudge.with_plate(box, which, turned), facets=own)
            free = heard.change(_turned(heard.free.plate, f"{name}_deg"))
            row = figures.row(still, {which: free}) / _STEP_DEG
            yield _single(f"{which} {name}", "wood", row, spread)


def _turned(plate: PlateShell, angle: str) -> PlateShell:
    choice = plate.body.choice
    turned = replace(choice, **{angle: getattr(choice, angle) + _STEP_DEG})
    body = replace(plate.body, choice=turned)
    axes = body.board_axes(plate.mesh.xy[plate.triangles][:, :, 1].mean(axis=1))
    return nudge.with_wood(plate, plate.body.wood, axes)


def _single(key: str, group: str, row: Floats, spread: float) -> Source:
    return Source(key, group, (key,), row[None], np.array([[spread**2]]))


def _spread(known: Known, key: str) -> float:
    found = known.get(key)
    return 0.0 if found is None or found.spread is None else float(found.spread)


def _parts(figures: Figures, known: Known) -> Iterator[Source]:
    """Ribs, bar and post: their wood is that of the table; their sizes as the file knows them."""
    order, box = figures.order, figures.order.reading.box
    inst = box.instrument
    factor = float(np.exp(_STEP))
    ribs = order.change(nudge.with_ribs(box, factor), facets=_rib_facets(figures)) / _STEP
    yield _single("rib wood", "parts", figures.row(ribs), _stiff_spread(inst.rib_wood.species))
    thick = _spread(known, "body.rib_thickness")
    lining = _spread(known, "blocks.lining_width") if inst.blocks.lining_width_mm > 0.0 else 0.0
    if thick or lining:
        moved = nudge.with_ribs(box, rib_mm=_STEP_MM)
        row = order.change(moved, facets=_rib_facets(figures)) / _STEP_MM
        yield _single("rib thickness", "parts", figures.row(row), float(np.hypot(thick, lining)))
    if inst.bar.present:
        bar = order.change(nudge.with_bar(box, inst, factor), facets=slice(0, 0)) / _STEP
        yield _single("bar wood", "parts", figures.row(bar), _stiff_spread(inst.bar.species))
        for name in ("height", "width"):
            spread = _spread(known, f"bar.{name}")
            if spread:
                key = f"{name}_mm"
                other = replace(inst.bar, **{key: getattr(inst.bar, key) + _STEP_MM})
                moved = nudge.with_bar(box, replace(inst, bar=other))
                row = order.change(moved, facets=slice(0, 0)) / _STEP_MM
                yield _single(f"bar {name}", "parts", figures.row(row), spread)
    if box.post_rows is not None:
        moved = nudge.with_post_stiffness(box, factor)
        row = order.change(moved, facets=slice(0, 0)) / _STEP
        yield _single("post wood", "parts", figures.row(row), _stiff_spread(inst.post.species))


def _stiff_spread(name: str) -> float:
    return float(species(name).spread["EL"])


def _rib_facets(figures: Figures) -> slice:
    box = figures.order.reading.box
    return slice(sum(len(box.plates[w].triangles) for w in PLATES), None)


def _shape(figures: Figures, known: Known) -> Iterator[Source]:
    inst = figures.order.reading.box.instrument
    b = inst.body
    step = _STEP_MM
    stretches: list[tuple[str, str, Move, float]] = [
        ("length", "body.length", Move(along=step / b.length_mm), 0.0)
    ]
    widths = ("lower", b.lower_width_mm), ("waist", b.waist_width_mm), ("upper", b.upper_width_mm)
    for i, (name, wide) in enumerate(widths):
        across = tuple(step / wide if j == i else 0.0 for j in range(3))
        stretches.append((f"{name} width", f"body.{name}_width", Move(across=across), 0.0))  # type: ignore[arg-type]
    stretches.append(("rib height", "body.rib_height_lower", Move(ribs_mm=step), 0.0))
    for which in PLATES:
        rise = step if which == "top" else 0.0
        stretches.append(
            (f"{which} arch", f"{which}.arch.crown", Move(crown_mm={which: step}), rise)
        )
        stretches.append((f"{which} edge", f"{which}.arch.edge", Move(edge_mm={which: step}), 0.0))
    for key, path, move, rise in stretches:
        spread = _spread(known, path)
        if spread:
            yield _single(key, "shape", _shape_row(figures, move, rise) / step, spread)


def _shape_row(figures: Figures, move: Move, rise_mm: float) -> Floats:
    order = figures.order
    box, cases = order.reading.box, order.reading.cases
    inst = box.instrument
    moved = nudge.moved_box(box, move)
    strings = string_forces(box, _figures_of(inst, move), rise_mm)
    still = order.change(moved, cases=moved_cases(moved, cases, figures.pushed, strings))
    plates = {}
    for which in PLATES:
        heard = figures.heard[which]
        plate = heard.free.plate
        if move.ribs_mm or (which not in {**move.crown_mm, **move.edge_mm} and not _plan(move)):
            continue
        mass, hz = heard.change(nudge.moved_plate(inst, plate, move))
        seat = move.edge_mm.get(which, 0.0)
        if seat:
            more = _seat_step(figures, which, seat)
            still, mass, hz = still + more[0], mass + more[1], hz + more[2]
        plates[which] = (mass, hz)
    return figures.row(still, plates)


def _plan(move: Move) -> bool:
    return move.along != 0.0 or any(move.across)


def _figures_of(inst: Instrument, move: Move) -> Instrument:
    """The instrument's own figures after a move, for the strings."""
    b = inst.body
    body = replace(
        b,
        length_mm=b.length_mm * (1.0 + move.along),
        rib_height_upper_mm=b.rib_height_upper_mm + move.ribs_mm,
        rib_height_lower_mm=b.rib_height_lower_mm + move.ribs_mm,
    )
    bridge = replace(inst.bridge, x_mm=inst.bridge.x_mm * (1.0 + move.along))
    return replace(inst, body=body, bridge=bridge)


def _seat_step(figures: Figures, which: PlateName, edge_mm: float) -> tuple[Floats, float, Floats]:
    """What a thicker edge and platform do beside rising: (k,), d ln mass, (tones,)."""
    box = figures.order.reading.box
    seat = _finished(box.plates[which], figures.order.solved.t_nodes[_nodes(figures, which)])
    still = _log_slopes(figures)[:, _nodes(figures, which)] @ seat * edge_mm
    heard = figures.heard[which]
    free = _finished(heard.free.plate, heard.t_nodes) * edge_mm
    mass = float(heard.free.structure.mass_slope_g() @ free)
    hz = heard.free.structure.hertz_slopes(heard.t_nodes, heard.modes).T @ free / heard.modes.hz
    return still, mass / heard.free.structure.mass_g(heard.t_nodes), hz


def _finished(plate: PlateShell, t_mm: Floats) -> Floats:
    """1 at nodes (n,) where the thickness is the outside height, else 0."""
    height = np.maximum(plate.body.arching.height(plate.inside_xy), 0.3)
    return np.asarray(np.abs(t_mm - height) < 1e-9, dtype=np.float64)


def _setup(figures: Figures, known: Known) -> Iterator[Source]:
    """Strings and their angles: they move the strung cases only."""
    order = figures.order
    box, cases = order.reading.box, order.reading.cases
    inst = box.instrument
    told = all(s.tension_n is not None for s in inst.strings.strings)
    length = 2.0 * _spread(known, "strings.length") / inst.strings.length_mm
    tension = _TOLD if told else float(np.hypot(_STRINGS, length))
    forces = cases.forces.copy()
    strung = [cases.column(c) for c in ("strung", "press part")]
    forces[:, strung] *= 1.0 + _STEP
    pulled = replace(cases, forces=forces, strings=_stronger(cases.strings))
    row = order.change(cases=pulled) / _STEP
    yield _single("string tension", "setup", figures.row(row), tension)
    places = (("bridge", "height"), ("neck", "nut_height"), ("neck", "saddle_height"))
    for part, name in places:
        spread = _spread(known, f"{part}.{name}")
        if not spread or (name == "saddle_height" and inst.bridge.break_angle_deg is not None):
            continue
        old = getattr(inst, part)
        new = replace(old, **{f"{name}_mm": getattr(old, f"{name}_mm") + _STEP_MM})
        strings = string_forces(box, replace(inst, **{part: new}))
        row = order.change(cases=with_strings(box, cases, strings)) / _STEP_MM
        yield _single(f"{part} {name}", "setup", figures.row(row), spread)


def _stronger(strings: StringForces) -> StringForces:
    def more(foot: Wrench) -> Wrench:
        return replace(foot, force=foot.force * (1.0 + _STEP))

    return replace(
        strings, bass_foot=more(strings.bass_foot), treble_foot=more(strings.treble_foot)
    )


def _nodes(figures: Figures, which: PlateName) -> slice:
    box = figures.order.reading.box
    first = box.first_node(which)
    return slice(first, first + len(box.plates[which].nodes))


def _log_slopes(figures: Figures) -> Floats:
    """d ln J / d t_node (k, n)."""
    solved = figures.order.solved
    assert solved.slopes is not None
    rows = np.array([solved.slopes[n] for n in figures.order.names])
    out: Floats = rows / figures.order.values[:, None]
    return out


def _thickness(figures: Figures, caliper_mm: float, tool_mm: float) -> Iterator[Source]:
    """Caliper: an error common to a plate (its zero); tool and caliper: one for each patch."""
    slopes = _log_slopes(figures)
    box = figures.order.reading.box
    local = float(np.hypot(caliper_mm, tool_mm))
    for which in PLATES:
        some, heard = _nodes(figures, which), figures.heard[which]
        plate, free = box.plates[which], heard.free
        carved = 1.0 - _finished(plate, figures.order.solved.t_nodes[some])
        here = slopes[:, some] * carved
        cut = 1.0 - _finished(free.plate, heard.t_nodes)
        gram = free.structure.mass_slope_g() * cut / free.structure.mass_g(heard.t_nodes)
        tone = free.structure.hertz_slopes(heard.t_nodes, heard.modes).T * cut
        tone /= heard.modes.hz[:, None]
        whole = figures.row(here.sum(axis=1), {which: (float(gram.sum()), tone.sum(axis=1))})
        yield _single(f"{which} caliper", "thickness", whole, caliper_mm)
        cells, place = np.unique(_cells(plate), return_inverse=True)
        free_place = np.searchsorted(cells, _cells(free.plate)).clip(0, len(cells) - 1)
        rows = []
        for c in range(len(cells)):
            there = free_place == c
            moved = (float(gram[there].sum()), tone[:, there].sum(axis=1))
            rows.append(figures.row(here[:, place == c].sum(axis=1), {which: moved}))
        cov = np.eye(len(cells)) * local**2
        names = tuple(f"{which} patch {c}" for c in range(len(cells)))
        yield Source(f"{which} tool", "thickness", names, np.array(rows), cov)


def _cells(plate: PlateShell) -> "np.typing.NDArray[np.int64]":
    i, j = np.floor(plate.inside_xy / _PATCH_MM).astype(np.int64).T
    return np.asarray(1000 * i + j)
