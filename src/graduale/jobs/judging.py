"""The computation of `judge`: instrument, readings and reference in, one judged record out."""

from collections.abc import Mapping
from dataclasses import dataclass

from graduale.base.findings import Finding
from graduale.base.progress import Progress
from graduale.box import meshing
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.plate import PlateBody, ThicknessAt, without_openings
from graduale.box.readouts import Reading, reading_of, solve
from graduale.box.tones import Tone, free_plate
from graduale.box.tones import tones as tap_tones
from graduale.box.verdicts import BUCKLING_FLOOR, K_DEF, Judged, judge, limits
from graduale.jobs.judge_known import DecidedMaps, Known, KnownPlate, Read, known_plate
from graduale.jobs.judge_room import Room, Sides, room_of
from graduale.jobs.judge_spots import SpotVerdict, thin_verdicts
from graduale.jobs.reference import PLATES, Reference
from graduale.jobs.setup_report import SetupReport, setup_report
from graduale.readings.current import Current, State
from graduale.readings.map import PlateMap
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.buckling import buckling_factor
from graduale.thickness.field import Layout

TONES = 8


@dataclass(frozen=True, eq=False)
class PlateNow:
    """One plate as it is: how it is known, its rule, mass, tones, thin spots, what may come
    off.

    readings and map are those of a measured plate, else None; target: the decided rule, if any.
    """

    body: PlateBody
    layout: Layout
    known: Known
    readings: Current | None
    map: PlateMap | None
    rule: ThicknessAt
    target: ThicknessAt | None
    state: State
    mass_g: float
    tones: tuple[Tone, ...]
    thin: tuple[SpotVerdict, ...]
    more_thin: int
    room: Room


@dataclass(frozen=True, eq=False)
class Judgement:
    """Everything that `judge` found out. room_both: what may come off both plates at once."""

    instrument: Instrument
    reference: Reference
    margin: float
    plates: Mapping[PlateName, PlateNow]
    reading: Reading
    judged: tuple[Judged, ...]
    buckling: float  # with creep
    room_both: Room
    setup: SetupReport
    findings: tuple[Finding, ...]

    @property
    def assumed(self) -> tuple[PlateName, ...]:
        """Plates that nobody measured or decided."""
        return tuple(w for w in PLATES if self.plates[w].known == "assumed")

    def gates(self, one: Judged) -> bool:
        """Whether a verdict counts: not that of an assumed plate, nor of a body with one."""
        return one.plate not in self.assumed if one.plate is not None else not self.assumed

    @property
    def failing(self) -> tuple[Judged, ...]:
        """Verdicts that count and do not hold, the worst first."""
        return tuple(j for j in self.judged if not j.passes and self.gates(j))

    @property
    def patches(self) -> tuple[SpotVerdict, ...]:
        """Thin spots that may not hold, even without a margin."""
        return tuple(v for w in PLATES for v in self.plates[w].thin if not v.holds)

    @property
    def passes(self) -> bool:
        """Every verdict that counts, the guard and every thin spot hold."""
        return not self.failing and not self.patches and self.buckling >= BUCKLING_FLOOR


@dataclass(frozen=True)
class Sizes:
    """Edge lengths of both meshes, mm."""

    fine_mm: float
    coarse_mm: float = meshing.DECIDING_MM


def judge_readings(
    given: Read,
    known: Reference,
    progress: Progress,
    *,
    margin: float,
    decided: Mapping[PlateName, DecidedMaps] | None = None,
    sizes: Sizes | None = None,
) -> Judgement:
    """Judges both plates. `decided`: maps of an earlier decision.

    Errors: Refused by wood, strings; Cancelled.
    """
    instrument, layouts, bodies = given.instrument, given.layouts, given.bodies
    size = sizes or Sizes(meshing.settled_mm(instrument))
    progress(0.02, "solve")
    found = {w: known_plate(given, w, known, decided) for w in PLATES}
    rules = {w: found[w].rule for w in PLATES}
    progress(0.1, "mesh")
    fine = _reading(instrument, bodies, rules, size.fine_mm)
    t_nodes = fine.box.thickness(rules)
    progress(0.25, "solve")
    solved = solve(fine, t_nodes, slopes=False)
    judged = judge(fine, solved, known.band, margin)
    thin = thin_verdicts(fine, found, layouts, known, margin)
    progress(0.5, "floor")
    coarse = _reading(instrument, bodies, rules, size.coarse_mm)
    sides = Sides(fine, solved, coarse, layouts, rules, limits(fine, known.band, margin))
    rough = solve(coarse, coarse.box.thickness(rules), slopes=False).values
    plates = {}
    for i, which in enumerate(PLATES):
        progress(0.6 + 0.15 * i, "tones")
        plates[which] = _plate(
            instrument,
            found[which],
            layouts[which],
            thin[which],
            sides,
            rough,
            size.fine_mm,
        )
    both = room_of(sides, PLATES, rough)
    progress(0.95, "solve")
    strung = solved.u[:, fine.cases.column("strung")]
    facet = fine.box.structure.facet_thickness(t_nodes)
    guard = buckling_factor(fine.box.shell, facet, strung, solved.held) / (1.0 + K_DEF)
    return Judgement(
        instrument,
        known,
        margin,
        plates,
        fine,
        judged,
        guard,
        both,
        setup_report(fine, solved),
        given.findings,
    )


def _reading(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    rules: Mapping[PlateName, ThicknessAt],
    size_mm: float,
) -> Reading:
    box = build_box(instrument, bodies, rules, size_mm)
    return reading_of(box, cases_of(box))


def _plate(
    instrument: Instrument,
    found: KnownPlate,
    layout: Layout,
    thin: tuple[tuple[SpotVerdict, ...], int],
    sides: Sides,
    rough: Mapping[str, float],
    fine_mm: float,
) -> PlateNow:
    body = layout.body
    state = (
        found.readings.state if found.readings is not None and body.which == "top" else "finished"
    )
    used = without_openings(body) if state == "before_holes" else body
    free = free_plate(instrument, used, found.rule, fine_mm, bar=state == "finished")
    t = free.thickness(found.rule)
    heard = tap_tones(free, found.rule, TONES)
    room = room_of(sides, (body.which,), rough)
    return PlateNow(
        body,
        layout,
        found.known,
        found.readings,
        found.map,
        found.rule,
        found.target,
        state,
        free.structure.mass_g(t),
        heard,
        *thin,
        room,
    )
