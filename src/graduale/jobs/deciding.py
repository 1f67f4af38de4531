"""The computation of `decide`: instrument and reference in, one decided record out. No files, no
text."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, GridMap
from graduale.base.progress import Progress, part
from graduale.box import meshing
from graduale.box.build import Box, build_box
from graduale.box.cases import cases_of
from graduale.box.drying import Dried, drying
from graduale.box.plate import PlateBody, ThicknessAt, plate_bodies, without_openings
from graduale.box.readouts import Reading, Solved, reading_of, solve
from graduale.box.tones import Tone, free_plate
from graduale.box.tones import tones as tap_tones
from graduale.box.verdicts import K_DEF, Judged, judge, limits
from graduale.geometry.grid import plate_grid
from graduale.jobs.doubting import doubt_of, surer
from graduale.jobs.reference import PLATES, Reference
from graduale.jobs.setup_report import SetupReport, setup_report
from graduale.plan.tools import WoodKind, tools
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.buckling import buckling_factor
from graduale.thickness.choose import Choice, Problem, Zones, choose, mended
from graduale.thickness.doubt import Doubt
from graduale.thickness.field import FAMILIES, ZONES, Field, Layout, layout_of
from graduale.thickness.floor import LoneFloor, joint_reduction, lone_floor, thinned
from graduale.thickness.leave import Leave, leave_before_holes
from graduale.wood.species import species

GRID_MM = 2.0
_MENDS = 5
_TIGHT = 1.06  # reserve below which a verdict is said to limit
_HELPS = 0.05  # relative fall of the demand for a millimetre more
TONES = 8


@dataclass(frozen=True, eq=False)
class PlateState:
    """A plate at one state of the work: its map on the 2 mm grid, mass g, tap tones."""

    name: str
    thickness: GridMap
    mass_g: float
    tones: tuple[Tone, ...]


@dataclass(frozen=True, eq=False)
class DecidedPlate:
    """One plate as decided: rule, states in the order of the work (the last is the finished
    one)."""

    body: PlateBody
    layout: Layout
    field: Field
    states: tuple[PlateState, ...]
    platform: "np.typing.NDArray[np.bool_]"  # on the grid: finished gluing surface
    floor_lone: GridMap
    floor_joint: GridMap
    lone: LoneFloor
    reserve: GridMap
    wood_kind: WoodKind

    @property
    def finished(self) -> PlateState:
        """The last state."""
        return self.states[-1]

    def state(self, name: str) -> PlateState:
        """A state by name."""
        return next(s for s in self.states if s.name == name)


@dataclass(frozen=True, eq=False)
class Decided:
    """Everything that `decide` found out."""

    instrument: Instrument
    reference: Reference
    plates: Mapping[PlateName, DecidedPlate]
    choice: Choice
    reading: Reading
    judged: tuple[Judged, ...]
    buckling: float  # with creep
    joint_mm: float
    leave: Leave | None
    setup: SetupReport
    dried: tuple[Dried, ...]
    doubt: Doubt

    @property
    def box(self) -> Box:
        """The fine box."""
        return self.reading.box

    @property
    def failing(self) -> tuple[Judged, ...]:
        """Verdicts that do not hold, the worst first."""
        return tuple(j for j in self.judged if not j.passes)


def wood_kind(key: str) -> WoodKind:
    """How a species drills and planes: like spruce or like maple."""
    return "spruce" if species(key).softwood else "maple"


def decide(instrument: Instrument, known: Reference, progress: Progress) -> Decided:
    """Decides both plates. Errors: Refused by geometry, wood, strings; Cancelled."""
    doubt = doubt_of(instrument, known, part(progress, 0.0, 0.02))
    known = surer(known, doubt)
    bodies = plate_bodies(instrument)
    layouts = {w: layout_of(instrument, bodies[w]) for w in PLATES}
    start = {w: layouts[w].at(np.full(4, 3.0)) for w in PLATES}
    progress(0.02, "mesh")
    coarse, fine = (
        _problem(instrument, bodies, layouts, start, known, size)
        for size in (meshing.DECIDING_MM, meshing.settled_mm(instrument))
    )
    choice = choose(coarse, fine, part(progress, 0.05, 0.6))
    progress(0.62, "settle")
    family, trials, unreachable = choice.family, choice.trials, choice.unreachable
    zones, at_least = choice.zones, choice.at_least
    del fine, choice  # boxes and factors are large; the map is solved anew on its own box
    settled, zones, solved = _settled(
        instrument, bodies, layouts, family, zones, unreachable, known
    )
    reading, fields = settled.reading, {w: layouts[w].at(zones[w]) for w in PLATES}
    judged = judge(reading, solved, known.band, instrument.margin)
    progress(0.7, "floor")
    joint = _joint(coarse, fields, solved, known)
    leave = _leave(instrument, bodies, layouts, fields)
    plates = {}
    for i, which in enumerate(PLATES):
        progress(0.78 + 0.1 * i, "tones")
        lone = lone_floor(reading, solved, limits(reading, known.band, 0.0), which)
        plates[which] = _plate(
            instrument, bodies[which], layouts[which], fields, lone, joint, leave, judged
        )
    progress(0.98, "solve")
    strung = solved.u[:, reading.cases.column("strung")]
    t_facet = reading.box.structure.facet_thickness(solved.t_nodes)
    guard = buckling_factor(reading.box.shell, t_facet, strung, solved.held) / (1.0 + K_DEF)
    found = Choice(family, zones, trials, solved, unreachable, at_least)
    report, dried = setup_report(reading, solved), drying(reading, solved)
    progress(1.0, "solve")
    return Decided(
        instrument, known, plates, found, reading, judged, guard, joint, leave, report, dried, doubt
    )


def _problem(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
    nominal: Mapping[PlateName, ThicknessAt],
    known: Reference,
    size_mm: float,
) -> Problem:
    box = build_box(instrument, bodies, nominal, size_mm)
    reading = reading_of(box, cases_of(box))
    return Problem(reading, layouts, limits(reading, known.band, instrument.margin))


def _settled(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
    family: str,
    zones: Zones,
    unreachable: tuple[str, ...],
    known: Reference,
) -> tuple[Problem, Zones, Solved]:
    """The fine box with its middle surface at the chosen map; zones raised until all that can
    hold does."""
    attempt = 0
    while True:
        fields = {w: layouts[w].at(zones[w]) for w in PLATES}
        settled = _problem(
            instrument, bodies, layouts, fields, known, meshing.settled_mm(instrument)
        )
        box = settled.reading.box
        solved = solve(settled.reading, box.thickness(fields), slopes=True)
        within = {k: v for k, v in settled.limits.items() if k not in unreachable}
        if attempt == _MENDS or all(solved.values[k] <= v for k, v in within.items()):
            return settled, zones, solved
        first = {w: box.first_node(w) for w in PLATES}
        zones = mended(FAMILIES[family], zones, settled.bases(), first, solved, within)
        del settled, solved, box  # before the next ones are built
        attempt += 1


def zone_limits(made: "Decided") -> dict[PlateName, dict[str, Judged | None]]:
    """For each zone the tight verdict that its thickness helps most; None where none is tight."""
    solved, box = made.choice.solved, made.box
    assert solved is not None
    assert solved.slopes is not None
    slopes = solved.slopes
    tight = [j for j in made.judged if j.reserve < _TIGHT]
    out: dict[PlateName, dict[str, Judged | None]] = {}
    for w in PLATES:
        basis = made.plates[w].layout.basis(box.plates[w].inside_xy)
        rows = basis.slopes(made.choice.zones[w])
        start = box.first_node(w)
        gains = {
            j.key: -(slopes[j.key][start : start + len(rows)] @ rows) / j.demand for j in tight
        }
        out[w] = {}
        for i, zone in enumerate(ZONES):
            helped = [j for j in tight if gains[j.key][i] > _HELPS]
            out[w][zone] = max(helped, key=lambda j: float(gains[j.key][i]), default=None)
    return out


def _joint(
    coarse: Problem, fields: Mapping[PlateName, Field], fine: Solved, known: Reference
) -> float:
    rough = solve(coarse.reading, coarse.reading.box.thickness(fields), slopes=False).values
    bare = limits(coarse.reading, known.band, 0.0)
    ratio = {k: fine.values[k] / rough[k] for k in bare if k in fine.values and rough[k] > 0.0}
    return joint_reduction(coarse.reading, fields, bare, ratio)


def _leave(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
    fields: Mapping[PlateName, Field],
) -> Leave | None:
    if not bodies["top"].openings:
        return None
    order = tools(wood_kind(instrument.top.wood.species))
    allowance = [t for t in order if t.before_soundholes][-1].allowance_mm
    return leave_before_holes(
        instrument,
        bodies["top"],
        layouts["top"],
        fields["top"],
        allowance,
        meshing.settled_mm(instrument),
    )


def _plate(
    instrument: Instrument,
    body: PlateBody,
    layout: Layout,
    fields: Mapping[PlateName, Field],
    lone: LoneFloor,
    joint_mm: float,
    leave: Leave | None,
    judged: tuple[Judged, ...],
) -> DecidedPlate:
    field = fields[body.which]
    x, y, inside = plate_grid(body.outline, GRID_MM)
    points = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)[inside]

    def grid(values: Floats) -> GridMap:
        out = np.full(inside.shape, np.nan)
        out[inside] = values
        return GridMap(x, y, out)

    basis = layout.basis(points)
    platform = np.zeros(inside.shape, dtype=bool)
    platform[inside] = basis.seat
    target = field(points)
    joint = np.minimum(thinned(fields, joint_mm)[body.which](points), target)
    lone_mm = np.where(basis.seat, target, np.minimum(lone.at(points), target))
    states = _states(instrument, body, field, leave, grid, points)
    return DecidedPlate(
        body,
        layout,
        field,
        states,
        platform,
        grid(lone_mm),
        grid(joint),
        lone,
        grid(_reserve(body.which, lone, judged, points)),
        wood_kind(body.choice.species),
    )


def _states(
    instrument: Instrument,
    body: PlateBody,
    field: Field,
    leave: Leave | None,
    grid: Callable[[Floats], GridMap],
    points: Floats,
) -> tuple[PlateState, ...]:
    steps: list[tuple[str, PlateBody, ThicknessAt, bool]] = []
    if leave is not None and body.which == "top":
        steps.append(("before_holes", without_openings(body), leave.field, False))
        steps.append(("holes_cut", body, leave.field, False))
    last = "with_bar" if body.which == "top" and instrument.bar.present else "finished"
    steps.append((last, body, field, True))
    out = []
    for name, used, rule, bar in steps:
        free = free_plate(instrument, used, rule, meshing.settled_mm(instrument), bar=bar)
        heard = tap_tones(free, rule, TONES)
        out.append(PlateState(name, grid(rule(points)), free.mass_g(rule), heard))
    return tuple(out)


def _reserve(
    which: PlateName, lone: LoneFloor, judged: tuple[Judged, ...], points: Floats
) -> Floats:
    """Reserve of the local verdicts under a press, between the spots."""
    found = {j.key: j.reserve for j in judged}
    values = np.array([found.get(f"{which}: {s.key}", np.nan) for s in lone.spots])
    good = np.isfinite(values)
    spots = tuple(s for s, g in zip(lone.spots, good, strict=True) if g)
    return LoneFloor(spots, values[good], ()).at(points)
