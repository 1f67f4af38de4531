"""The computation of `decide`: instrument and reference in, one decided record out. No files, no
text."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from graduale.base.arrays import Floats, GridMap
from graduale.base.crew import ALONE, Crew
from graduale.base.progress import Progress, part
from graduale.box import meshing
from graduale.box.build import Box, build_box
from graduale.box.cases import cases_of
from graduale.box.drying import Dried, drying
from graduale.box.plate import PlateBody
from graduale.box.readouts import Reading, Solved, reading_of, solve
from graduale.box.verdicts import K_DEF, Judged, judge, limits
from graduale.geometry.grid import plate_grid
from graduale.jobs.apart import (
    GRID_MM,
    Bodies,
    Fine,
    Handled,
    PlateState,
    bodies_of,
    wood_kind,
    worked,
)
from graduale.jobs.doubting import doubt_of, surer
from graduale.jobs.reference import PLATES, Reference
from graduale.jobs.setup_report import SetupReport, setup_report
from graduale.plan.tools import WoodKind
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.buckling import buckling_factor
from graduale.thickness.choose import START_MM, Choice, Problem, Zones, choose, mended
from graduale.thickness.doubt import Doubt
from graduale.thickness.field import FAMILIES, ZONES, Field, Layout
from graduale.thickness.floor import LoneFloor, joint_reduction, lone_floor, thinned
from graduale.thickness.margins import AtMargin, at_margins

_MENDS = 5
_TIGHT = 1.06  # reserve below which a verdict is said to limit
_HELPS = 0.05  # relative fall of the demand for a millimetre more


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
    handled: Handled | None
    setup: SetupReport
    dried: tuple[Dried, ...]
    doubt: Doubt
    margins: tuple[AtMargin, ...]

    @property
    def box(self) -> Box:
        """The fine box."""
        return self.reading.box

    @property
    def failing(self) -> tuple[Judged, ...]:
        """Verdicts that do not hold, the worst first."""
        return tuple(j for j in self.judged if not j.passes)


def decide(
    instrument: Instrument, known: Reference, progress: Progress, helpers: Crew = ALONE
) -> Decided:
    """Decides both plates. Errors: Refused by geometry, wood, strings; Cancelled."""
    own = bodies_of(instrument)
    first = {w: np.full(4, START_MM) for w in PLATES}
    fine = Fine(helpers, own.instrument, first)
    fine.ask(first)
    doubt = doubt_of(own.instrument, known, part(progress, 0.0, 0.02), helpers)
    known = surer(known, doubt)
    progress(0.02, "mesh")
    coarse = _problem(own, first, known, meshing.DECIDING_MM)
    fine.limits = coarse.limits
    choice = choose(coarse, fine, part(progress, 0.05, 0.6))
    fine.forget()  # boxes and factors are large; the map is solved anew on its own box
    progress(0.62, "settle")
    work = {w: helpers.ask(worked, instrument, choice.zones, w) for w in PLATES}
    settled, zones, solved = _settled(own, choice, known)
    if zones is not choice.zones:
        work = {w: helpers.ask(worked, instrument, zones, w) for w in PLATES}
    reading, fields = settled.reading, own.fields(zones)
    judged = judge(reading, solved, known.band, instrument.margin)
    progress(0.7, "floor")
    joint = _joint(coarse, fields, solved, known)
    strung = solved.u[:, reading.cases.column("strung")]
    t_facet = reading.box.structure.facet_thickness(solved.t_nodes)
    guard = buckling_factor(reading.box.shell, t_facet, strung, solved.held) / (1.0 + K_DEF)
    report, dried = setup_report(reading, solved), drying(reading, solved)
    bare, plates, handled = limits(reading, known.band, 0.0), {}, None
    for i, which in enumerate(PLATES):
        progress(0.78 + 0.1 * i, "tones")
        lone = lone_floor(reading, solved, bare, which)
        done = work[which].result(lambda: progress(0.78, "tones"))
        handled = done.handled or handled
        plates[which] = _plate(own, fields, lone, joint, done.states, judged, which)
    found = replace(choice, zones=zones, solved=solved)
    wider = at_margins(settled, found, instrument.margin)
    progress(1.0, "solve")
    shown = guard, joint, handled, report, dried, doubt, wider
    return Decided(instrument, known, plates, found, reading, judged, *shown)


def _problem(own: Bodies, nominal: Zones, known: Reference, size_mm: float) -> Problem:
    box = build_box(own.instrument, own.bodies, own.fields(nominal), size_mm)
    reading = reading_of(box, cases_of(box))
    return Problem(reading, own.layouts, limits(reading, known.band, own.instrument.margin))


def _settled(own: Bodies, choice: Choice, known: Reference) -> tuple[Problem, Zones, Solved]:
    """The fine box with its middle surface at the chosen map; zones raised until all that can
    hold does."""
    zones, attempt = choice.zones, 0
    while True:
        settled = _problem(own, zones, known, meshing.settled_mm(own.instrument))
        box = settled.reading.box
        solved = solve(settled.reading, box.thickness(own.fields(zones)), slopes=True)
        within = {k: v for k, v in settled.limits.items() if k not in choice.unreachable}
        if attempt == _MENDS or all(solved.values[k] <= v for k, v in within.items()):
            return settled, zones, solved
        first = {w: box.first_node(w) for w in PLATES}
        family = FAMILIES[choice.family]
        zones = mended(family, zones, settled.bases(), first, solved, within)
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


def _plate(
    own: Bodies,
    fields: Mapping[PlateName, Field],
    lone: LoneFloor,
    joint_mm: float,
    states: tuple[PlateState, ...],
    judged: tuple[Judged, ...],
    which: PlateName,
) -> DecidedPlate:
    body, layout = own.bodies[which], own.layouts[which]
    field = fields[body.which]
    grid = plate_grid(body.outline, GRID_MM)
    points = grid.points
    basis = layout.basis(points)
    platform = np.zeros(grid.inside.shape, dtype=bool)
    platform[grid.inside] = basis.seat
    target = field(points)
    joint = np.minimum(thinned(fields, joint_mm)[body.which](points), target)
    lone_mm = np.where(basis.seat, target, np.minimum(lone.at(points), target))
    return DecidedPlate(
        body,
        layout,
        field,
        states,
        platform,
        grid.map_of(lone_mm),
        grid.map_of(joint),
        lone,
        grid.map_of(_reserve(body.which, lone, judged, points)),
        wood_kind(body.choice.species),
    )


def _reserve(
    which: PlateName, lone: LoneFloor, judged: tuple[Judged, ...], points: Floats
) -> Floats:
    """Reserve of the local verdicts under a press, between the spots."""
    found = {j.key: j.reserve for j in judged}
    values = np.array([found.get(f"{which}: {s.key}", np.nan) for s in lone.spots])
    good = np.isfinite(values)
    spots = tuple(s for s, g in zip(lone.spots, good, strict=True) if g)
    return LoneFloor(spots, values[good], ()).at(points)
