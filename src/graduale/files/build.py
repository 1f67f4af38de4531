"""From the filled-in sheet of values to the frozen record of one instrument."""

from graduale.files.defaults import Sheet
from graduale.files.fields import Points
from graduale.files.schema import ArchTable
from graduale.records.instrument import (
    ArchShape,
    Bar,
    Blocks,
    BoardMeasure,
    Body,
    Bridge,
    CrossArch,
    Drill,
    Inside,
    Neck,
    PlateChoice,
    Post,
    Soundholes,
    WoodChoice,
    Workshop,
)

Pairs = tuple[tuple[float, float], ...]


def pairs(points: Points | None) -> Pairs:
    """Points of two columns; none is an empty tuple."""
    return tuple((p[0], p[1]) for p in points or ())


def body_of(s: Sheet, outline: Points | None) -> Body:
    """Main dimensions."""
    n = s.number
    return Body(
        length_mm=n("body.length"),
        upper_width_mm=n("body.upper_width"),
        waist_width_mm=n("body.waist_width"),
        lower_width_mm=n("body.lower_width"),
        upper_at_mm=n("body.upper_at"),
        waist_at_mm=n("body.waist_at"),
        lower_at_mm=n("body.lower_at"),
        upper_corner_at_mm=n("body.upper_corner_at"),
        lower_corner_at_mm=n("body.lower_corner_at"),
        upper_corner_width_mm=n("body.upper_corner_width"),
        lower_corner_width_mm=n("body.lower_corner_width"),
        rib_height_upper_mm=n("body.rib_height_upper"),
        rib_height_lower_mm=n("body.rib_height_lower"),
        rib_thickness_mm=n("body.rib_thickness"),
        overhang_mm=n("body.overhang"),
        stop_mm=n("body.stop"),
        outline_points=pairs(outline),
    )


def plate_of(s: Sheet, which: str, arch: ArchTable | None) -> PlateChoice:
    """One plate's outside, inside rules and wood; `which` is 'top' or 'back'."""
    n = s.number
    crosses = (arch.cross_arches if arch else None) or []
    shape = ArchShape(
        crown_mm=n(f"{which}.arch.crown"),
        edge_mm=n(f"{which}.arch.edge"),
        channel_mm=n(f"{which}.arch.channel"),
        channel_at_mm=n(f"{which}.arch.channel_at"),
        long_arch=pairs(arch.long_arch if arch else None),
        cross_arches=tuple(CrossArch(c.x.value, pairs(c.points)) for c in crosses),
        heights=tuple((p[0], p[1], p[2]) for p in (arch.heights if arch else None) or ()),
    )
    inside = Inside(
        platform_mm=n(f"{which}.inside.platform"),
        platform_end_mm=n(f"{which}.inside.platform_end"),
        least_mm=n(f"{which}.inside.least"),
        least_channel_mm=n(f"{which}.inside.least_channel"),
    )
    return PlateChoice(shape, inside, wood_of(s, f"{which}.wood"))


def wood_of(s: Sheet, at: str) -> WoodChoice:
    """The wood at a dotted place; what the maker did not measure stays None."""
    have = s.numbers.get
    board = BoardMeasure(
        mass_g=have(f"{at}.board.mass"),
        length_mm=have(f"{at}.board.length"),
        width_mm=have(f"{at}.board.width"),
        thickness_mm=have(f"{at}.board.thickness"),
        end_tap_hz=have(f"{at}.board.end_tap"),
        along_tap_hz=have(f"{at}.board.along_tap"),
        cross_tap_hz=have(f"{at}.board.cross_tap"),
        moisture_percent=have(f"{at}.board.moisture"),
    )
    return WoodChoice(
        species=s.text(f"{at}.species"),
        density_kg_m3=have(f"{at}.density"),
        e_along_mpa=have(f"{at}.e_along"),
        e_across_mpa=have(f"{at}.e_across"),
        moduli_mpa=_below(s, f"{at}.moduli."),
        poisson=_below(s, f"{at}.poisson."),
        ring_angle_deg=s.number(f"{at}.ring_angle"),
        runout_deg=s.number(f"{at}.runout"),
        one_piece=s.flag(f"{at}.one_piece"),
        board=board,
    )


def _below(s: Sheet, start: str) -> dict[str, float]:
    return {k.removeprefix(start): v for k, v in s.numbers.items() if k.startswith(start)}


def bridge_of(s: Sheet) -> Bridge:
    """Bridge and its feet."""
    n = s.number
    return Bridge(
        x_mm=n("bridge.x"),
        height_mm=n("bridge.height"),
        crown_radius_mm=n("bridge.crown_radius"),
        string_spread_mm=n("bridge.string_spread"),
        bass_foot_y_mm=n("bridge.bass_foot_y"),
        treble_foot_y_mm=n("bridge.treble_foot_y"),
        foot_length_mm=n("bridge.foot_length"),
        foot_width_mm=n("bridge.foot_width"),
        break_angle_deg=s.numbers.get("bridge.break_angle"),
    )


def neck_of(s: Sheet) -> Neck:
    """Neck and saddle."""
    n = s.number
    return Neck(
        overstand_mm=n("neck.overstand"),
        nut_height_mm=n("neck.nut_height"),
        nut_spread_mm=n("neck.nut_spread"),
        saddle_height_mm=n("neck.saddle_height"),
    )


def soundholes_of(s: Sheet, points: tuple[Pairs, ...]) -> Soundholes:
    """Soundholes by rule, with polygons when given."""
    n = s.number
    return Soundholes(
        present=s.flag("soundholes.present"),
        length_mm=n("soundholes.length"),
        upper_eye_mm=n("soundholes.upper_eye"),
        lower_eye_mm=n("soundholes.lower_eye"),
        upper_eye_gap_mm=n("soundholes.upper_eye_gap"),
        lower_eye_edge_mm=n("soundholes.lower_eye_edge"),
        width_mm=n("soundholes.width"),
        notch_x_mm=n("soundholes.notch_x"),
        points=points,
    )


def bar_of(s: Sheet) -> Bar:
    """Bass bar."""
    n = s.number
    return Bar(
        present=s.flag("bar.present"),
        length_mm=n("bar.length"),
        width_mm=n("bar.width"),
        height_mm=n("bar.height"),
        end_height_mm=n("bar.end_height"),
        lower_end_x_mm=n("bar.lower_end_x"),
        lower_y_mm=n("bar.lower_y"),
        upper_y_mm=n("bar.upper_y"),
        species=s.text("bar.species"),
    )


def post_of(s: Sheet) -> Post:
    """Soundpost."""
    n = s.number
    return Post(
        present=s.flag("post.present"),
        diameter_mm=n("post.diameter"),
        x_mm=n("post.x"),
        y_mm=n("post.y"),
        species=s.text("post.species"),
    )


def blocks_of(s: Sheet) -> Blocks:
    """End blocks, corner blocks, linings."""
    n = s.number
    return Blocks(
        end_depth_mm=n("blocks.end_depth"),
        end_width_mm=n("blocks.end_width"),
        corner_depth_mm=n("blocks.corner_depth"),
        lining_width_mm=n("blocks.lining_width"),
        lining_height_mm=n("blocks.lining_height"),
        block_species=s.text("blocks.block_species"),
        lining_species=s.text("blocks.lining_species"),
    )


def drill_of(s: Sheet) -> Drill:
    """How guide holes are drilled; the words were held against the schema when they were read."""
    n = s.number
    method, hold, bit = (s.text(f"guide_holes.{k}") for k in ("method", "hold", "bit_shape"))
    return Drill(
        method="collar" if method == "collar" else "rest",
        hold="tilted" if hold == "tilted" else "level",
        bit_shape=bit if bit in ("flat", "ball", "brad") else "point118",  # type: ignore[arg-type]
        bit_mm=n("guide_holes.bit"),
        spur_mm=n("guide_holes.spur"),
        rest_radius_mm=n("guide_holes.rest_radius"),
        step_mm=n("guide_holes.step"),
        spacing_along_mm=n("guide_holes.spacing_along"),
        spacing_across_mm=n("guide_holes.spacing_across"),
        max_level_slope_deg=n("guide_holes.max_level_slope"),
        outside_scrape_mm=n("guide_holes.outside_scrape"),
    )


def workshop_of(s: Sheet) -> Workshop:
    """Workshop settings; the printer correction is printed over true length of the 100 mm scale."""
    return Workshop(
        paper="Letter" if s.text("workshop.paper") == "Letter" else "A4",
        units="inch" if s.text("workshop.sheet_units") == "inch" else "mm",
        printer_x=s.number("workshop.printed_scale_x") / 100.0,
        printer_y=s.number("workshop.printed_scale_y") / 100.0,
        caliper_spread_mm=s.number("workshop.caliper_spread"),
    )
