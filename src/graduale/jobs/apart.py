"""Parts of a decision that a helper can do beside the rest: demands of the fine box, states of the
plates.

Each takes the instrument and few numbers and gives plain results. Bodies and the box last drawn are
kept in the process that made them.
"""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import ClassVar

from graduale.base.arrays import Floats, GridMap
from graduale.base.crew import Crew, Promise
from graduale.base.digest import digest
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.meshing import settled_mm
from graduale.box.plate import PlateBody, ThicknessAt, plate_bodies, without_openings
from graduale.box.readouts import Reading, reading_of, solve
from graduale.box.tones import Tone, free_plate
from graduale.box.tones import tones as tap_tones
from graduale.box.working import WorkPress
from graduale.geometry.grid import plate_grid
from graduale.plan.tools import WoodKind, tools
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.choose import Zones
from graduale.thickness.field import Field, Layout, layout_of
from graduale.thickness.leave import Leave, leave_before_holes
from graduale.wood.species import species

GRID_MM = 2.0
TONES = 8
_BODIES = 2
PLATES: tuple[PlateName, PlateName] = ("top", "back")


@dataclass(frozen=True, eq=False)
class Bodies:
    """An instrument, its plates before their thickness, where their zones lie."""

    instrument: Instrument
    bodies: Mapping[PlateName, PlateBody]
    layouts: Mapping[PlateName, Layout]

    def fields(self, zones: Zones) -> dict[PlateName, Field]:
        """The thickness rules at zone values."""
        return {w: self.layouts[w].at(zones[w]) for w in PLATES}


@dataclass(frozen=True, eq=False)
class PlateState:
    """A plate at one state of the work: its map on the 2 mm grid, mass g, tap tones."""

    name: str
    thickness: GridMap
    mass_g: float
    tones: tuple[Tone, ...]


@dataclass(frozen=True, eq=False)
class Handled:
    """The working press on the top by state, and its stress there over that of the finished top
    (s,)."""

    presses: Mapping[str, WorkPress]
    ratios: Mapping[str, Floats]


@dataclass(frozen=True, eq=False)
class Worked:
    """States of a plate in the order of the work; for a top with soundholes also the working
    press."""

    states: tuple[PlateState, ...]
    handled: Handled | None


class _Kept:
    """What this process made last."""

    bodies: ClassVar[OrderedDict[str, Bodies]] = OrderedDict()
    fine: tuple[str, Reading] | None = None


def bodies_of(instrument: Instrument) -> Bodies:
    """Plates and layouts of an instrument; the last are kept, so that meshes are found again.

    Errors: Refused by geometry or wood.
    """
    key = digest(asdict(instrument))
    if key not in _Kept.bodies:
        made = plate_bodies(instrument)
        layouts = {w: layout_of(instrument, made[w]) for w in PLATES}
        _Kept.bodies[key] = Bodies(instrument, made, layouts)
        if len(_Kept.bodies) > _BODIES:
            _Kept.bodies.popitem(last=False)
    return _Kept.bodies[key]


def fine_values(instrument: Instrument, drawn: Zones, zones: Zones) -> Mapping[str, float]:
    """Demands of the fine box, its middle surface drawn at `drawn`, at zone values; the box is
    kept."""
    own = bodies_of(instrument)
    key = digest(asdict(instrument), dict(drawn))
    if _Kept.fine is None or _Kept.fine[0] != key:
        _Kept.fine = None  # before the next one is built
        used = own.instrument
        box = build_box(used, own.bodies, own.fields(drawn), settled_mm(used))
        _Kept.fine = key, reading_of(box, cases_of(box))
    reading = _Kept.fine[1]
    return solve(reading, reading.box.thickness(own.fields(zones)), slopes=False).values


def forget() -> None:
    """Lets the fine box go."""
    _Kept.fine = None


class Fine:
    """The fine box as the choice asks it: drawn once, solved by a helper or here."""

    def __init__(self, helpers: Crew, instrument: Instrument, drawn: Zones) -> None:
        self._helpers, self._instrument, self._drawn = helpers, instrument, drawn
        self._asked: dict[str, Promise[Mapping[str, float]]] = {}
        self.limits: Mapping[str, float] = {}

    def ask(self, zones: Zones) -> Promise[Mapping[str, float]]:
        """Demands at zone values, in the making."""
        key = digest(dict(zones))
        if key not in self._asked:
            self._asked[key] = self._helpers.ask(fine_values, self._instrument, self._drawn, zones)
        return self._asked[key]

    def values(self, zones: Zones) -> Mapping[str, float]:
        """Demands at zone values."""
        return self.ask(zones).result()

    def forget(self) -> None:
        """Lets the box go, wherever it is."""
        forget()
        self._helpers.ask(forget)


def wood_kind(key: str) -> WoodKind:
    """How a species drills and planes: like spruce or like maple."""
    return "spruce" if species(key).softwood else "maple"


def worked(instrument: Instrument, zones: Zones, which: PlateName) -> Worked:
    """States of one plate, its tap tones in each."""
    own = bodies_of(instrument)
    body, field = own.bodies[which], own.layouts[which].at(zones[which])
    leave = _leave(own, field) if which == "top" and body.openings else None
    states = _states(own.instrument, body, field, leave)
    if leave is None:
        return Worked(states, None)
    found = {
        "before_holes": leave.before_holes,
        "holes_cut": leave.holes_cut,
        "with_bar": leave.finished,
    }
    return Worked(states, Handled(found, {name: leave.ratio(p) for name, p in found.items()}))


def _leave(own: Bodies, field: Field) -> Leave:
    order = tools(wood_kind(own.instrument.top.wood.species))
    allowance = [t for t in order if t.before_soundholes][-1].allowance_mm
    size = settled_mm(own.instrument)
    body, layout = own.bodies["top"], own.layouts["top"]
    return leave_before_holes(own.instrument, body, layout, field, allowance, size)


def _states(
    instrument: Instrument, body: PlateBody, field: Field, leave: Leave | None
) -> tuple[PlateState, ...]:
    steps: list[tuple[str, PlateBody, ThicknessAt, bool]] = []
    if leave is not None:
        steps.append(("before_holes", without_openings(body), leave.field, False))
        steps.append(("holes_cut", body, leave.field, False))
    last = "with_bar" if body.which == "top" and instrument.bar.present else "finished"
    steps.append((last, body, field, True))
    grid = plate_grid(body.outline, GRID_MM)
    out = []
    for name, used, rule, bar in steps:
        free = free_plate(instrument, used, rule, settled_mm(instrument), bar=bar)
        heard = tap_tones(free, rule, TONES)
        out.append(PlateState(name, grid.map_of(rule(grid.points)), free.mass_g(rule), heard))
    return tuple(out)
