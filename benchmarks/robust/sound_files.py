"""Sound files to be damaged: the examples, one of each kind, and one that uses every table."""

from functools import cache
from pathlib import Path

import numpy as np

from graduale.base.findings import Refused
from graduale.files.instrument import parse_instrument
from graduale.geometry.arching import arching_of
from graduale.geometry.outline import outline_of
from graduale.jobs.new import compose

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def instruments() -> tuple[bytes, ...]:
    """Instrument files as they are on disk."""
    out = [p.read_bytes() for p in sorted(EXAMPLES.glob("*/instrument.toml"))]
    out += [compose(k, {}, "new.toml")[1].encode() for k in ("violin", "viola", "narrow-fiddle")]
    return (*out, every_table().encode(), in_inches().encode())


def in_inches() -> str:
    """A violin written in inches, some values with their doubt."""
    return (
        'format = 1\nkind = "violin"\nunits = "inch"\n[body]\nlength = 14\n'
        'lower_width = { value = 8.1, spread = 0.04, source = "own", how = "measured" }\n'
        'waist_width = "4 3/8 ± 1/16 in"\n[top.arch]\ncrown = 0.61\nedge = "4 mm"\n'
        '[strings]\nlength = "328 mm"\n[guide_holes]\nbit = "1/4 in"\n'
    ).replace("± 1/16", "± 0.06")


@cache
def every_table() -> str:
    """A violin with its outline traced, arches measured, boards, strings, holes as points."""
    plain = parse_instrument('format = 1\nkind = "violin"\n', "plain.toml").instrument
    outline = outline_of(plain.body)
    arch = arching_of(plain.top.arch, outline)
    ring = outline.xy[::12].round(1).tolist()
    x = np.linspace(8.0, 347.0, 9)
    long = np.column_stack([x, arch.height(np.column_stack([x, 0 * x]))]).round(2).tolist()
    gx, gy = np.meshgrid(np.arange(20.0, 350.0, 30.0), np.arange(-90.0, 91.0, 20.0))
    spots = np.column_stack([gx.ravel(), gy.ravel()])
    spots = spots[outline.edge_distance(spots) > 9.0]
    heights = np.column_stack([spots, arch.height(spots)]).round(2).tolist()
    slot = [
        [140 + 5 * k, s * (38 + 2 * (k % 3)) + w] for s in (1,) for w in (-3, 3) for k in range(6)
    ]
    hole = slot[:6] + slot[6:][::-1]
    other = [[a, -b] for a, b in hole]
    return f"""format = 1
kind = "violin"
name = "Every table, invented"
margin = 0.1

[body]
outline_points = {ring}

[top.arch]
long_arch = {long}

[back.arch]
heights = {heights}

[top.inside]
least = 2.2

[top.wood]
species = "european_spruce"
density = {{ value = 420, spread = 10, how = "measured", source = "own scale" }}
e_along = "11.5 GPa"

[top.wood.board]
mass = "410 g"
length = 380
width = 125
thickness = 20
end_tap = 7400

[back.wood]
species = "sycamore_maple"
ring_angle = "5 deg"

[back.wood.moduli]
EL = 10500

[soundholes]
points = [{hole}, {other}]

[bridge]
break_angle = 157.5

[[strings.string]]
note = "G3"
material = "gut"
gauge = 1.25

[[strings.string]]
note = "D4"
tension = "48 N"

[[strings.string]]
frequency = 440
mass_per_length = 0.58

[[strings.string]]
note = "E5"
material = "steel"
gauge = 0.26

[workshop]
paper = "Letter"
printed_scale_x = 99.6

[guide_holes]
method = "collar"
bit_shape = "flat"
"""


@cache
def readings() -> tuple[bytes, ...]:
    """Readings with commas, with semicolons and decimal commas, with tabs."""
    own = (EXAMPLES / "narrow-fiddle" / "readings.csv").read_bytes()
    rows = own.decode().splitlines()
    table = [r for r in rows if not r.startswith("#")]
    semicolons = "\n".join(r.replace(",", ";").replace(".", ",") for r in table) + "\n"
    tabs = "\n".join(r.replace(",", "\t") for r in table[:12]) + "\n"
    return own, semicolons.encode(), tabs.encode()


def check_sound() -> None:
    """Errors: Refused when one of them is not sound as it stands."""
    for raw in instruments():
        try:
            parse_instrument(raw.decode(), "sound.toml")
        except Refused as refused:
            raise AssertionError(str(refused)) from refused
