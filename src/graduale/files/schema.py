"""The instrument file as pydantic models: its keys, their units, their limits.

Every number is read into a `Given` in the program's own unit (mm, degrees, g, Hz, N, MPa, kg/m3,
g/m). Limits are wide: they catch slips of unit and of the decimal point, not odd instruments.
"""

import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, PlainValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from graduale.files.quantity import (
    ANGLE,
    DENSITY,
    FORCE,
    HERTZ,
    LENGTH,
    LINE,
    MASS,
    MODULUS,
    PERCENT,
    PLAIN,
    Given,
    Unreadable,
    finite,
    read_quantity,
    shown,
)

FORMAT = 1
INCH = 25.4
Num = Given | None
Points = tuple[tuple[float, ...], ...]


def problem(sentence: str) -> PydanticCustomError:
    """One error whose text is already the whole sentence."""
    return PydanticCustomError("sentence", "{sentence}", {"sentence": sentence})


def _scale(info: ValidationInfo) -> float:
    context: dict[str, Any] = info.context or {}
    return float(context.get("scale", 1.0))


def number(dimension: str, low: float, high: float) -> PlainValidator:
    """Reads one quantity and holds it between `low` and `high` (own unit, both allowed)."""

    def read(raw: Any, info: ValidationInfo) -> Given:
        scale = _scale(info) if dimension == LENGTH else 1.0
        try:
            given = read_quantity(raw, dimension, scale)
        except Unreadable as sentence:
            raise problem(str(sentence)) from None
        _check_range(given.value, dimension, low, high, scale)
        return given

    return PlainValidator(read)


def mm(low: float, high: float) -> PlainValidator:
    """A length in mm."""
    return number(LENGTH, low, high)


def _check_range(value: float, dimension: str, low: float, high: float, scale: float) -> None:
    if low <= value <= high:
        return
    unit = {
        LENGTH: " mm",
        ANGLE: "°",
        MASS: " g",
        HERTZ: " Hz",
        FORCE: " N",
        MODULUS: " MPa",
        DENSITY: " kg/m3",
        LINE: " g/m",
        PERCENT: " %",
    }.get(dimension, "")
    if value <= 0.0 <= low:
        what = "zero" if value == 0.0 else f"negative ({value:g}{unit})"
        raise problem(
            f"is {what}; write a number from {low:g} to {high:g}{unit}, or leave the key out"
        )
    side = "smaller" if value < low else "larger"
    hint = ""
    if dimension == LENGTH and scale == 1.0 and low <= value * INCH <= high:
        hint = f'; is this in inches? then write units = "inch" at the top, or "{value:g} in"'
    elif dimension == LENGTH and scale == INCH and low <= value / INCH <= high:
        hint = f'; is this in millimetres? then write units = "mm", or "{value / INCH:g} mm"'
    raise problem(
        f"is {value:g}{unit}, {side} than any this program works with ({low:g} to "
        f"{high:g}{unit}){hint or '; correct the number or its unit'}"
    )


def point_list(columns: int, least: int, what: str) -> PlainValidator:
    """A list of points of `columns` lengths each, at least `least` of them."""

    def read(raw: Any, info: ValidationInfo) -> Points:
        if not isinstance(raw, list):
            raise problem(f"must be a list of points; write [[{what}], [{what}], ...]")
        if len(raw) < least:
            raise problem(f"holds {len(raw)} points; at least {least} are needed, each [{what}]")
        if len(raw) > 20000:
            raise problem(f"holds {len(raw)} points; write every tenth, 20000 at the most")
        return tuple(_point(row, columns, i, what, _scale(info)) for i, row in enumerate(raw, 1))

    return PlainValidator(read)


def _point(row: Any, columns: int, at: int, what: str, scale: float) -> tuple[float, ...]:
    if not isinstance(row, list) or len(row) != columns:
        raise problem(f"point {at} is {shown(row)}; write [{what}]")
    try:
        values = tuple(read_quantity(v, LENGTH, scale).value for v in row)
    except Unreadable as sentence:
        raise problem(f"point {at}: {sentence}") from None
    if any(abs(v) > 5000.0 for v in values):
        raise problem(f"point {at} is {shown(row)}, farther than 5 m; correct the number")
    return values


def _text(raw: Any, info: ValidationInfo) -> str:
    if not isinstance(raw, str) or not raw.strip():
        raise problem(f"{shown(raw)} is no text; write it in quotation marks")
    if len(raw) > 120 or any(not c.isprintable() for c in raw):
        raise problem("is longer than 120 letters or holds line breaks; write one short line")
    return raw.strip()


def _flag(raw: Any) -> bool:
    if not isinstance(raw, bool):
        raise problem(f"{shown(raw)} is neither true nor false; write true or false, without marks")
    return raw


Text = Annotated[str | None, PlainValidator(_text)]
Flag = Annotated[bool | None, PlainValidator(_flag)]


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


def hole_polygons(raw: Any, scale: float) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Polygons [[[x, y], ...], ...] of soundholes in mm. Raises Unreadable."""
    if not isinstance(raw, list) or not 1 <= len(raw) <= 8:
        raise Unreadable("must be a list of polygons, each a list of at least 6 points [x, y]")
    return tuple(_polygon(ring, i, scale) for i, ring in enumerate(raw, 1))


def _polygon(ring: Any, at: int, scale: float) -> tuple[tuple[float, float], ...]:
    if not isinstance(ring, list) or not 6 <= len(ring) <= 5000:
        raise Unreadable(f"polygon {at} needs 6 to 5000 points, each [x, y]")
    out: list[tuple[float, float]] = []
    for row in ring:
        if not isinstance(row, list) or len(row) != 2:
            raise Unreadable(f"polygon {at} holds {shown(row)}; write each point as [x, y]")
        x, y = (read_quantity(v, LENGTH, scale).value for v in row)
        out.append((finite(x), finite(y)))
    if math.isclose(_area(out), 0.0, abs_tol=1.0):
        raise Unreadable(f"polygon {at} encloses no area; write its points in order around it")
    return tuple(out)


def _area(ring: list[tuple[float, float]]) -> float:
    turned = ring[1:] + ring[:1]
    return 0.5 * sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, turned, strict=True))
