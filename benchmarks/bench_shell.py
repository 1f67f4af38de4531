"""What a plate and a box cost, beside a general-purpose peer in the same run.

Peer: NGSolve with a 3-D solid of the same carved plate (cubic prisms), first eight free modes. It
answers the same question by another model; errors of both are in docs/verification.md.
"""

from functools import cache
from pathlib import Path

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.meshing import settled_mm
from graduale.box.plate import plate_bodies
from graduale.box.readouts import Reading, reading_of, solve
from graduale.box.tones import FreePlate, free_plate
from graduale.files.instrument import load_instrument
from graduale.thickness.field import Field, layout_of
from tests.outside.referee.plates import VIOLIN

EXAMPLE = Path(__file__).parents[1] / "examples" / "narrow-fiddle" / "instrument.toml"
MODES = 8


@cache
def _narrow() -> tuple[Reading, dict[str, Field], FreePlate]:
    instrument = load_instrument(EXAMPLE).instrument
    bodies = plate_bodies(instrument)
    fields = {w: layout_of(instrument, bodies[w]).at(np.full(4, 2.8)) for w in bodies}
    box = build_box(instrument, bodies, fields, settled_mm(instrument))
    top = free_plate(instrument, bodies["top"], fields["top"], 5.0)
    return reading_of(box, cases_of(box)), fields, top


def bench_peer_solid_free_modes(benchmark: BenchmarkFixture) -> None:
    solid = VIOLIN.solid(10.0, 6.0)
    benchmark.pedantic(solid.free_modes, args=(MODES,), rounds=3)


def bench_shell_free_modes_of_the_same_plate_cold(benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(lambda: VIOLIN.shell(5.0).free_modes(MODES), rounds=5, warmup_rounds=1)


def bench_shell_free_modes_new_map_warm(benchmark: BenchmarkFixture) -> None:
    _, fields, top = _narrow()
    top.modes(fields["top"])
    benchmark(top.modes, fields["top"])


def bench_box_new_map_all_verdicts(benchmark: BenchmarkFixture) -> None:
    reading, fields, _ = _narrow()
    t_nodes = reading.box.thickness(fields)  # type: ignore[arg-type]
    benchmark.pedantic(lambda: solve(reading, t_nodes, slopes=False), rounds=5, warmup_rounds=1)


def bench_box_new_map_all_verdicts_with_slopes(benchmark: BenchmarkFixture) -> None:
    reading, fields, _ = _narrow()
    t_nodes = reading.box.thickness(fields)  # type: ignore[arg-type]
    benchmark.pedantic(lambda: solve(reading, t_nodes, slopes=True), rounds=5, warmup_rounds=1)
