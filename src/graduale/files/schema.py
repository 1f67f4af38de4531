"""The instrument file as pydantic models: its keys, their units, their limits.

Every number is read into a `Given` in the program's own unit (mm, degrees, g, Hz, N, MPa, kg/m3,
g/m).
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict

from graduale.files.fields import Flag, Num, Points, Text, mm, number, point_list
from graduale.files.quantity import (
    ANGLE,
    DENSITY,
    FORCE,
    HERTZ,
    LINE,
    MASS,
    MODULUS,
    PERCENT,
    PLAIN,
    Given,
)


class Part(BaseModel):
    """A table of the file: no unknown keys, nothing converted silently."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class BodyTable(Part):
    """[body]"""

    length: Annotated[Num, mm(60, 1500)] = None
    upper_width: Annotated[Num, mm(20, 700)] = None
    waist_width: Annotated[Num, mm(15, 600)] = None
    lower_width: Annotated[Num, mm(20, 800)] = None
    upper_at: Annotated[Num, mm(20, 1500)] = None
    waist_at: Annotated[Num, mm(20, 1500)] = None
    lower_at: Annotated[Num, mm(5, 1500)] = None
    upper_corner_at: Annotated[Num, mm(20, 1500)] = None
    lower_corner_at: Annotated[Num, mm(20, 1500)] = None
    upper_corner_width: Annotated[Num, mm(15, 700)] = None
    lower_corner_width: Annotated[Num, mm(15, 800)] = None
    rib_height: Annotated[Num, mm(5, 250)] = None
    rib_height_upper: Annotated[Num, mm(5, 250)] = None
    rib_height_lower: Annotated[Num, mm(5, 250)] = None
    rib_thickness: Annotated[Num, mm(0.4, 6)] = None
    overhang: Annotated[Num, mm(0, 8)] = None
    stop: Annotated[Num, mm(30, 1000)] = None
    outline_points: Annotated[Points | None, point_list(2, 12, "x, y")] = None


class CrossArchTable(Part):
    """[[top.arch.cross_arches]]"""

    x: Annotated[Given, mm(0, 1500)]
    points: Annotated[Points, point_list(2, 3, "y, height")]


class ArchTable(Part):
    """[top.arch]"""

    crown: Annotated[Num, mm(2, 80)] = None
    edge: Annotated[Num, mm(0.8, 12)] = None
    channel: Annotated[Num, mm(0.8, 12)] = None
    channel_at: Annotated[Num, mm(2, 60)] = None
    long_arch: Annotated[Points | None, point_list(2, 5, "x, height")] = None
    cross_arches: list[CrossArchTable] | None = None
    heights: Annotated[Points | None, point_list(3, 20, "x, y, height")] = None


class InsideTable(Part):
    """[top.inside]"""

    platform: Annotated[Num, mm(1, 30)] = None
    platform_end: Annotated[Num, mm(1, 80)] = None
    least: Annotated[Num, mm(0.8, 10)] = None
    least_channel: Annotated[Num, mm(0.8, 10)] = None


class BoardTable(Part):
    """[top.wood.board]"""

    mass: Annotated[Num, number(MASS, 1, 20000)] = None
    length: Annotated[Num, mm(30, 2000)] = None
    width: Annotated[Num, mm(10, 1000)] = None
    thickness: Annotated[Num, mm(1, 120)] = None
    end_tap: Annotated[Num, number(HERTZ, 200, 60000)] = None
    along_tap: Annotated[Num, number(HERTZ, 5, 20000)] = None
    cross_tap: Annotated[Num, number(HERTZ, 5, 20000)] = None
    moisture: Annotated[Num, number(PERCENT, 1, 25)] = None


class ModuliTable(Part):
    """[top.wood.moduli]"""

    EL: Annotated[Num, number(MODULUS, 100, 60000)] = None
    ER: Annotated[Num, number(MODULUS, 10, 20000)] = None
    ET: Annotated[Num, number(MODULUS, 10, 20000)] = None
    GLR: Annotated[Num, number(MODULUS, 10, 20000)] = None
    GLT: Annotated[Num, number(MODULUS, 10, 20000)] = None
    GRT: Annotated[Num, number(MODULUS, 1, 20000)] = None


class PoissonTable(Part):
    """[top.wood.poisson]"""

    LR: Annotated[Num, number(PLAIN, -1, 3)] = None
    LT: Annotated[Num, number(PLAIN, -1, 3)] = None
    RT: Annotated[Num, number(PLAIN, -1, 3)] = None


class WoodTable(Part):
    """[top.wood]"""

    species: Text = None
    density: Annotated[Num, number(DENSITY, 100, 1400)] = None
    e_along: Annotated[Num, number(MODULUS, 100, 60000)] = None
    e_across: Annotated[Num, number(MODULUS, 10, 20000)] = None
    ring_angle: Annotated[Num, number(ANGLE, -90, 90)] = None
    runout: Annotated[Num, number(ANGLE, -30, 30)] = None
    one_piece: Flag = None
    moduli: ModuliTable | None = None
    poisson: PoissonTable | None = None
    board: BoardTable | None = None


class PlateTable(Part):
    """[top] and [back]"""

    arch: ArchTable | None = None
    inside: InsideTable | None = None
    wood: WoodTable | None = None


class RibsTable(Part):
    """[ribs]"""

    wood: WoodTable | None = None


class StringTable(Part):
    """[[strings.string]], bass first"""

    note: Text = None
    frequency: Annotated[Num, number(HERTZ, 20, 2500)] = None
    material: Text = None
    gauge: Annotated[Num, mm(0.1, 6)] = None
    mass_per_length: Annotated[Num, number(LINE, 0.05, 60)] = None
    tension: Annotated[Num, number(FORCE, 1, 400)] = None


class StringsTable(Part):
    """[strings]"""

    pitch: Annotated[Num, number(HERTZ, 300, 520)] = None
    length: Annotated[Num, mm(60, 1500)] = None
    string: list[StringTable] | None = None


class BridgeTable(Part):
    """[bridge]"""

    x: Annotated[Num, mm(20, 1200)] = None
    height: Annotated[Num, mm(3, 120)] = None
    crown_radius: Annotated[Num, mm(8, 2000)] = None
    string_spread: Annotated[Num, mm(3, 120)] = None
    bass_foot_y: Annotated[Num, mm(1, 80)] = None
    treble_foot_y: Annotated[Num, mm(-80, -1)] = None
    foot_length: Annotated[Num, mm(2, 40)] = None
    foot_width: Annotated[Num, mm(1, 20)] = None
    break_angle: Annotated[Num, number(ANGLE, 120, 179.5)] = None


class NeckTable(Part):
    """[neck]"""

    overstand: Annotated[Num, mm(0, 40)] = None
    nut_height: Annotated[Num, mm(-120, 120)] = None
    nut_spread: Annotated[Num, mm(2, 80)] = None
    saddle_height: Annotated[Num, mm(0, 60)] = None


class SoundholesTable(Part):
    """[soundholes]"""

    present: Flag = None
    length: Annotated[Num, mm(10, 250)] = None
    upper_eye: Annotated[Num, mm(1, 30)] = None
    lower_eye: Annotated[Num, mm(1, 40)] = None
    upper_eye_gap: Annotated[Num, mm(4, 250)] = None
    lower_eye_edge: Annotated[Num, mm(2, 80)] = None
    width: Annotated[Num, mm(1, 30)] = None
    notch_x: Annotated[Num, mm(20, 1200)] = None
    points: Any = None


class BarTable(Part):
    """[bar]"""

    present: Flag = None
    length: Annotated[Num, mm(20, 1200)] = None
    width: Annotated[Num, mm(1, 20)] = None
    height: Annotated[Num, mm(1, 40)] = None
    end_height: Annotated[Num, mm(0.3, 20)] = None
    lower_end_x: Annotated[Num, mm(1, 800)] = None
    lower_y: Annotated[Num, mm(-100, 100)] = None
    upper_y: Annotated[Num, mm(-100, 100)] = None
    species: Text = None


class PostTable(Part):
    """[post]"""

    present: Flag = None
    diameter: Annotated[Num, mm(2, 20)] = None
    x: Annotated[Num, mm(10, 1200)] = None
    y: Annotated[Num, mm(-100, 100)] = None
    species: Text = None


class BlocksTable(Part):
    """[blocks]"""

    end_depth: Annotated[Num, mm(2, 80)] = None
    end_width: Annotated[Num, mm(5, 200)] = None
    corner_depth: Annotated[Num, mm(0, 80)] = None
    lining_width: Annotated[Num, mm(0, 10)] = None
    lining_height: Annotated[Num, mm(0, 30)] = None
    block_species: Text = None
    lining_species: Text = None


class DrillTable(Part):
    """[guide_holes]"""

    method: Literal["rest", "collar"] | None = None
    hold: Literal["level", "tilted"] | None = None
    bit_shape: Literal["point118", "flat", "ball", "brad"] | None = None
    bit: Annotated[Num, mm(1, 20)] = None
    spur: Annotated[Num, mm(0, 10)] = None
    rest_radius: Annotated[Num, mm(0.5, 60)] = None
    step: Annotated[Num, mm(0.01, 1)] = None
    spacing_along: Annotated[Num, mm(4, 80)] = None
    spacing_across: Annotated[Num, mm(4, 80)] = None
    max_level_slope: Annotated[Num, number(ANGLE, 1, 45)] = None
    outside_scrape: Annotated[Num, mm(0, 3)] = None


class WorkshopTable(Part):
    """[workshop], and the whole of workshop.toml beside its guide_holes"""

    paper: Literal["A4", "Letter"] | None = None
    sheet_units: Literal["mm", "inch"] | None = None
    printed_scale_x: Annotated[Num, mm(90, 110)] = None
    printed_scale_y: Annotated[Num, mm(90, 110)] = None
    caliper_spread: Annotated[Num, mm(0.005, 1)] = None


class WorkshopFile(WorkshopTable):
    """workshop.toml"""

    format: Literal[1]
    units: Literal["mm", "inch"] = "mm"
    guide_holes: DrillTable | None = None


class InstrumentFile(Part):
    """The whole instrument file."""

    format: Literal[1]
    kind: str
    name: Text = None
    units: Literal["mm", "inch"] = "mm"
    left_handed: Flag = None
    margin: Annotated[Num, number(PLAIN, 0, 2)] = None
    confidence: Annotated[Num, number(PLAIN, 0.5, 0.99)] = None
    body: BodyTable | None = None
    top: PlateTable | None = None
    back: PlateTable | None = None
    ribs: RibsTable | None = None
    strings: StringsTable | None = None
    bridge: BridgeTable | None = None
    neck: NeckTable | None = None
    soundholes: SoundholesTable | None = None
    bar: BarTable | None = None
    post: PostTable | None = None
    blocks: BlocksTable | None = None
    guide_holes: DrillTable | None = None
    workshop: WorkshopTable | None = None
