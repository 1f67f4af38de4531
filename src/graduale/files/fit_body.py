"""Contradictions in outline, arching, inside and boards, by plain arithmetic."""

from collections.abc import Iterator
from itertools import pairwise

from graduale.base.findings import Finding
from graduale.files.view import View
from graduale.records.instrument import PlateName

_ORDER = ("lower", "lower_corner", "waist", "upper_corner", "upper")
PLATES: tuple[PlateName, PlateName] = ("top", "back")
MOST_LEAST_MM = 5.0  # a plate thicker than 6 mm is never decided [own]


def body_rules(v: View) -> Iterator[Finding]:
    """Widths and places of the outline."""
    b = v.instrument.body
    if b.outline_points:
        yield from _traced_rules(v)
        return
    waist = v.value("body.waist_width", b.waist_width_mm)
    bouts = {"upper": b.upper_width_mm, "lower": b.lower_width_mm}
    bout = min(bouts, key=lambda k: bouts[k])
    corners = {"upper": b.upper_corner_width_mm, "lower": b.lower_corner_width_mm}
    if b.waist_width_mm >= bouts[bout]:
        narrow = v.value(f"body.{bout}_width", bouts[bout])
        sentence = f"{waist} is not narrower than {narrow}; correct one of them."
        yield v.error("waist-too-wide", "body.waist_width", sentence)
        return
    for name, tip in corners.items():
        key = f"body.{name}_corner_width"
        if tip <= b.waist_width_mm:
            sentence = f"{v.value(key, tip)} is not wider than {waist}; corners stand out."
            yield v.error("corner-in-waist", key, sentence)
    yield from _order(v)
    if max(b.lower_width_mm, b.upper_width_mm) > b.length_mm:
        yield v.error(
            "body-too-wide",
            "body.length",
            f"{v.value('body.length', b.length_mm)} is "
            "less than the body's width; correct one of them.",
        )


def _order(v: View) -> Iterator[Finding]:
    b = v.instrument.body
    places = [(f"body.{n}_at", getattr(b, f"{n}_at_mm")) for n in _ORDER]
    for (low, x_low), (high, x_high) in pairwise([*places, ("body.length", b.length_mm)]):
        if x_low >= x_high:
            yield v.error(
                "places-out-of-order",
                low,
                f"{v.value(low, x_low)} is not below "
                f"{v.value(high, x_high)}; places count from the lower edge up.",
            )


def _traced_rules(v: View) -> Iterator[Finding]:
    points = v.instrument.body.outline_points
    start = min(p[0] for p in points)
    high, low = max(p[1] for p in points), min(p[1] for p in points)
    if abs(start) > 1.0:
        yield v.error(
            "outline-start",
            "body.outline_points",
            f"the lowest point has x = {start:g}; "
            "x counts from the lower edge, so take that off every x.",
        )
    if min(high, -low) < 0.2 * (high - low):
        yield v.error(
            "outline-half",
            "body.outline_points",
            f"y runs from {low:g} to {high:g}; write both sides, with y = 0 on the middle line.",
        )


def arch_rules(v: View, which: PlateName) -> Iterator[Finding]:
    """Heights of one plate against each other and against the body."""
    arch, at = v.instrument.plate(which).arch, f"{which}.arch"
    edge = v.value(f"{at}.edge", arch.edge_mm)
    if arch.crown_mm <= arch.edge_mm:
        crown = v.value(f"{at}.crown", arch.crown_mm)
        yield v.error(
            "crown-below-edge",
            f"{at}.crown",
            f"{crown} is not above {edge}; heights count from the gluing plane, edge included.",
        )
    if arch.channel_mm > arch.edge_mm:
        channel = v.value(f"{at}.channel", arch.channel_mm)
        yield v.error(
            "channel-above-edge",
            f"{at}.channel",
            f"{channel} is above {edge}; write "
            "the height of the channel's bottom, at most the edge's.",
        )
    half = 0.5 * v.instrument.body.waist_width_mm
    if arch.channel_at_mm >= 0.6 * half:
        yield v.error(
            "channel-too-far-in",
            f"{at}.channel_at",
            v.value(f"{at}.channel_at", arch.channel_at_mm)
            + f" leaves no arch in a half waist of {half:g} mm; "
            "write its distance from the edge.",
        )
    yield from _points_rules(v, which)


def _points_rules(v: View, which: PlateName) -> Iterator[Finding]:
    arch, at = v.instrument.plate(which).arch, f"{which}.arch"
    length, half = v.instrument.body.length_mm, 0.5 * v.instrument.body.lower_width_mm
    yield from _line_rules(v, f"{at}.long_arch", arch.long_arch, (0.0, length), "x")
    for i, cross in enumerate(arch.cross_arches, 1):
        key = f"{at}.cross_arches[{i}]"
        if not 0.0 < cross.x_mm < length:
            yield v.error(
                "arch-off-body",
                f"{key}.x",
                f"{cross.x_mm:g} mm lies off the body of "
                f"{length:g} mm; x counts from the lower edge.",
            )
        yield from _line_rules(v, f"{key}.points", cross.points, (-half, half), "y")
    low = [p for p in arch.heights if p[2] <= 0.0]
    if low:
        yield v.error(
            "height-not-positive",
            f"{at}.heights",
            f"{len(low)} heights are zero or "
            f"negative, the first {list(low[0])}; heights count from the gluing "
            "plane.",
        )


def _line_rules(
    v: View, key: str, line: tuple[tuple[float, float], ...], room: tuple[float, float], axis: str
) -> Iterator[Finding]:
    if not line:
        return
    places = [p[0] for p in line]
    if any(b <= a for a, b in pairwise(places)):
        yield v.error(
            "arch-not-rising",
            key,
            f"its {axis} values do not rise from point to point; "
            "write the points in order, each place once.",
        )
    if min(places) < room[0] - 1.0 or max(places) > room[1] + 1.0:
        yield v.error(
            "arch-off-body",
            key,
            f"its {axis} runs from {min(places):g} to "
            f"{max(places):g} mm, off the body ({room[0]:g} to {room[1]:g}); correct the "
            "points or the body.",
        )
    if min(p[1] for p in line) <= 0.0:
        yield v.error(
            "height-not-positive",
            key,
            "holds a height of zero or less; heights count from the gluing plane, edge included.",
        )


def inside_rules(v: View, which: PlateName) -> Iterator[Finding]:
    """Least thicknesses against the outside, the platform against the body and what it carries."""
    i, at = v.instrument, f"{which}.inside"
    arch, inside = i.plate(which).arch, i.plate(which).inside
    for key, least, room, there in (
        (f"{at}.least", inside.least_mm, arch.crown_mm, "the arch is high there"),
        (f"{at}.least_channel", inside.least_channel_mm, arch.channel_mm, "the channel is high"),
    ):
        if least > room:
            yield v.error(
                "thicker-than-arch",
                key,
                f"{v.value(key, least)} is more than the "
                f"{room:g} mm that {there}; thickness cannot exceed the outside "
                "height.",
            )
        elif least > MOST_LEAST_MM:
            yield v.error(
                "least-too-thick",
                key,
                f"{v.value(key, least)} leaves nothing to decide between it and the thickest plate "
                f"considered here; write {MOST_LEAST_MM:g} mm at the most.",
            )
    platform = v.value(f"{at}.platform", inside.platform_mm)
    if inside.platform_mm >= 0.4 * i.body.waist_width_mm:
        yield v.error(
            "platform-too-wide",
            f"{at}.platform",
            f"{platform} leaves no inside in a "
            f"waist of {i.body.waist_width_mm:g} mm; write the flat's width from the "
            "edge.",
        )
    seat = i.body.overhang_mm + i.body.rib_thickness_mm
    lining = seat + i.blocks.lining_width_mm
    if lining > inside.platform_mm + 0.05:
        yield v.warning(
            "lining-off-platform",
            f"{at}.platform",
            f"overhang, rib and lining reach "
            f"{lining:.1f} mm in, past {platform}; widen the platform or thin the "
            "lining.",
        )
    block = seat + i.blocks.end_depth_mm
    if block > inside.platform_end_mm + 0.1:
        yield v.warning(
            "block-off-platform",
            f"{at}.platform_end",
            f"overhang, rib and end block "
            f"reach {block:.1f} mm in, past the flat of {inside.platform_end_mm:g} mm; "
            "widen it or shorten the block.",
        )


def board_rules(v: View, which: PlateName) -> Iterator[Finding]:
    """The maker's board against itself and against the plate to be cut from it."""
    i, at = v.instrument, f"{which}.wood.board"
    wood = i.plate(which).wood
    board, crown = wood.board, i.plate(which).arch.crown_mm
    if board.thickness_mm is not None and board.thickness_mm < crown:
        yield v.error(
            "board-too-thin",
            f"{at}.thickness",
            f"the board of {board.thickness_mm:g} mm "
            f"is thinner than the arch ({crown:g} mm, edge included); correct one of "
            "them.",
        )
    sizes = (board.mass_g, board.length_mm, board.width_mm, board.thickness_mm)
    mass, length, width, thickness = (s or 0.0 for s in sizes)
    if all(s is not None for s in sizes):
        density = 1e6 * mass / (length * width * thickness)
        if not 150.0 <= density <= 1400.0:
            yield v.error(
                "board-density",
                f"{at}.mass",
                f"mass and size give {density:.0f} kg/m3, "
                "which no tonewood has; check grams, and whether the size is that of one "
                "board or of both halves.",
            )
    elif any(s is not None for s in sizes):
        yield v.warning(
            "board-incomplete",
            at,
            "the density needs mass, length, width and "
            "thickness together; measure the rest, or the table is taken.",
        )
    taps = board.end_tap_hz or board.along_tap_hz
    if (taps and board.length_mm is None) or (board.cross_tap_hz and board.width_mm is None):
        sentence = (
            "a tap needs the board's length, a tap across its width; measure it or leave it out."
        )
        yield v.error("tap-without-size", at, sentence)
    if wood.e_along_mpa is not None and "EL" in wood.moduli_mpa:
        yield v.warning(
            "modulus-twice",
            f"{which}.wood.e_along",
            "e_along and moduli.EL are both given; keep one of them.",
        )
