"""The plate or board that was tapped: from readings, from a decision, or a flat rectangle."""

from dataclasses import dataclass, replace
from pathlib import Path

from graduale.base.findings import refuse
from graduale.box.meshing import settled_mm
from graduale.box.plate import KG_M3, ThicknessAt, plate_bodies, without_openings
from graduale.box.tones import free_plate
from graduale.files.readings import load_readings
from graduale.jobs.document import instrument_digest, map_from
from graduale.jobs.earlier import read_earlier
from graduale.jobs.judge_known import OnGrid, read
from graduale.jobs.wood_input import WEIGHT, Typed, board_size
from graduale.readings.current import State
from graduale.readings.map import map_of
from graduale.readings.tapped import Tapped, tapped_board, tapped_plate
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Layout, layout_of
from graduale.wood.material import DENSITY_RANGE, wood_of
from graduale.wood.prior import as_told
from graduale.words.catalogue import say

CARVED_MM = 0.1  # how near a plate as a whole comes to the map it was carved to [own]


@dataclass(frozen=True, eq=False)
class OnBench:
    """What was tapped; `known_from`: 'readings', 'decision' or 'board'; spread_mm: of its thickness
    as a whole, one deviation."""

    tapped: Tapped
    state: State
    known_from: str
    spread_mm: float


def on_bench(instrument: Instrument, typed: Typed) -> OnBench:
    """The plate at its thickness map, free, as far as the work is.

    Errors: Refused by readings, decision, wood or geometry.
    """
    caliper = instrument.workshop.caliper_spread_mm
    if sum(s is not None for s in (typed.readings, typed.decision, typed.board)) != 1:
        raise refuse("thickness-source", "", say("wood.one_source"))
    if typed.board is not None:
        choice, where = instrument.plate(typed.plate).wood, f"{typed.plate}.wood"
        wood = as_told(wood_of(choice, where), choice, instrument.known, where)
        board = tapped_board(board_size(typed.board), wood, choice)
        return OnBench(board, "finished", "board", caliper)
    layout = _layout(instrument, typed.plate)
    if typed.readings is not None:
        rule, state = _read(instrument, typed, typed.readings)
        state = typed.state or state
        return OnBench(_carved(instrument, layout, rule, state), state, "readings", caliper)
    assert typed.decision is not None
    state = typed.state or "finished"
    rule = _decided(instrument, layout, typed.decision, state)
    return OnBench(_carved(instrument, layout, rule, state), state, "decision", CARVED_MM)


def _layout(instrument: Instrument, which: PlateName) -> Layout:
    body = plate_bodies(instrument)[which]
    wood = as_told(body.wood, body.choice, instrument.known, f"{which}.wood")
    return layout_of(instrument, replace(body, wood=wood))


def _carved(instrument: Instrument, layout: Layout, rule: ThicknessAt, state: State) -> Tapped:
    body = without_openings(layout.body) if state == "before_holes" else layout.body
    bar = state == "finished"
    return tapped_plate(free_plate(instrument, body, rule, settled_mm(instrument), bar=bar), rule)


def _read(instrument: Instrument, typed: Typed, path: Path) -> tuple[ThicknessAt, State]:
    """The map of the readings and the state that their stage tells (the back is always whole)."""
    found = read(instrument, load_readings(path), path.name)
    now = found.now[typed.plate]
    if now is None:
        raise refuse("no-readings", path.name, say("wood.not_measured", plate=typed.plate))
    rule = map_of(now, found.layouts[typed.plate], instrument.workshop.caliper_spread_mm)
    return rule, now.state if typed.plate == "top" else "finished"


def _decided(instrument: Instrument, layout: Layout, folder: Path, state: State) -> ThicknessAt:
    """The decided map; before the soundholes the one that is left until then."""
    document = read_earlier(folder).document
    if document["instrument_digest"] != instrument_digest(instrument):
        raise refuse("other-decision", str(folder), say("wood.other_decision"))
    plate = document["plates"][layout.body.which]
    early = plate.get("states", {}).get("before_holes") if state == "before_holes" else None
    return OnGrid(layout, map_from((early or plate)["thickness"]))


def check_weight(tapped: Tapped, mass_g: float | None) -> None:
    """Errors: Refused when the plate's size and this weight give a density that no wood has."""
    if mass_g is None:
        return
    own = tapped.mass_of_wood_g(tapped.structure, tapped.t_nodes)
    glued = tapped.structure.mass_g(tapped.t_nodes) - own
    volume_mm3 = own * 1e-6 / (tapped.wood.density_kg_m3 * KG_M3)
    density = (mass_g - glued) * 1e-6 / (volume_mm3 * KG_M3)
    low, high = DENSITY_RANGE
    if not low <= density <= high:
        usual = own + glued
        sentence = say("wood.no_such_density", grams=mass_g, density=f"{density:.0f}", usual=usual)
        raise refuse("impossible-density", WEIGHT, sentence)
