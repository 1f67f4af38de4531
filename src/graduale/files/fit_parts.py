"""Contradictions among bridge, strings, neck, post, bar, drill, workshop, by arithmetic."""

import math
from collections.abc import Iterator

from graduale.base.findings import Finding
from graduale.files.view import View


def bridge_rules(v: View) -> Iterator[Finding]:
    """Bridge against body and feet against each other."""
    i = v.instrument
    bridge, body = i.bridge, i.body
    x, stop = v.value("bridge.x", bridge.x_mm), v.value("body.stop", body.stop_mm)
    off = bridge.x_mm + body.stop_mm - body.length_mm
    if abs(off) > 1.0:
        yield v.error(
            "stop-contradicts",
            "bridge.x",
            f"{x} and {stop} add up to "
            f"{bridge.x_mm + body.stop_mm:g} mm, not to "
            f"{v.value('body.length', body.length_mm)}; leave one of them out.",
        )
    elif not 0.1 * body.length_mm < bridge.x_mm < 0.9 * body.length_mm:
        yield v.error(
            "bridge-off-body",
            "bridge.x",
            f"{x} lies at the end of the body; it counts from the lower edge.",
        )
    gap = bridge.bass_foot_y_mm - bridge.treble_foot_y_mm
    if gap < bridge.foot_length_mm:
        yield v.error(
            "feet-overlap",
            "bridge.foot_length",
            f"the feet are {gap:g} mm apart from "
            f"middle to middle and {v.value('bridge.foot_length', bridge.foot_length_mm)} "
            "long, so they overlap; correct one of them.",
        )
    outer = gap + bridge.foot_length_mm
    if i.soundholes.present and not i.soundholes.points and outer > i.soundholes.upper_eye_gap_mm:
        yield v.warning(
            "bridge-over-holes",
            "bridge.bass_foot_y",
            f"the feet span {outer:g} mm, "
            f"the upper eyes are {i.soundholes.upper_eye_gap_mm:g} mm apart; check "
            "that no foot stands on a hole.",
        )
    if bridge.string_spread_mm > outer:
        yield v.warning(
            "strings-beyond-feet",
            "bridge.string_spread",
            "the outer strings "
            f"({bridge.string_spread_mm:g} mm) stand beyond the feet ({outer:g} mm); "
            "a foot may lift.",
        )
    if bridge.string_spread_mm >= 2.0 * bridge.crown_radius_mm:
        yield v.error(
            "crown-too-round",
            "bridge.crown_radius",
            "a crown of radius "
            f"{bridge.crown_radius_mm:g} mm is narrower than the strings' "
            f"{bridge.string_spread_mm:g} mm; correct one of them.",
        )


def string_rules(v: View) -> Iterator[Finding]:
    """String length against the stop, break angle against the set-up."""
    i = v.instrument
    length, stop = i.strings.length_mm, i.body.stop_mm
    neck = length - stop
    text = f"{v.value('strings.length', length)} with {v.value('body.stop', stop)}"
    if neck <= 0.0:
        yield v.error(
            "string-too-short",
            "strings.length",
            f"{text} puts the nut on the body; string length runs from nut to bridge.",
        )
    elif not 0.35 <= neck / stop <= 1.1:
        yield v.warning(
            "neck-unusual",
            "strings.length",
            f"{text} leaves {neck:.0f} mm from nut "
            f"to body, {neck / stop:.2f} of the stop (a violin: 0.67); check "
            "both.",
        )
    bend = set_up_break_deg(v)
    if neck > 0.0 and bend is not None:
        given = i.bridge.break_angle_deg
        if given is not None and abs(given - bend) > 4.0:
            yield v.warning(
                "break-angle",
                "bridge.break_angle",
                f"the set-up gives {bend:.1f}°, "
                f"the file {given:g}°; the file's is taken, so check nut, bridge and "
                "saddle.",
            )
        elif given is None and not 145.0 <= bend <= 175.0:
            yield v.warning(
                "break-angle",
                "bridge.height",
                f"the set-up gives a break angle of "
                f"{bend:.1f}° (usual 150 to 170); check bridge, nut and "
                "saddle.",
            )


def set_up_break_deg(v: View) -> float | None:
    """Angle (degrees) of the string at the bridge by the set-up; None if unreal."""
    i = v.instrument
    top = i.top.arch.crown_mm + i.bridge.height_mm
    drop, length = top - i.neck.nut_height_mm, i.strings.length_mm
    if abs(drop) >= length or i.bridge.x_mm <= 0.0:
        return None
    front = math.asin(drop / length)
    behind = math.atan((top - i.neck.saddle_height_mm) / i.bridge.x_mm)
    return 180.0 - math.degrees(front + behind)


def post_rules(v: View) -> Iterator[Finding]:
    """The post against the treble foot and the body."""
    i = v.instrument
    post, bridge = i.post, i.bridge
    if not post.present:
        return
    aside = abs(post.y_mm - bridge.treble_foot_y_mm)
    reach = 0.5 * (post.diameter_mm + bridge.foot_length_mm)
    if post.y_mm > 0.0:
        yield v.warning(
            "post-on-bass-side",
            "post.y",
            f"{v.value('post.y', post.y_mm)} lies on the bass side; y is negative to the treble.",
        )
    elif aside > reach:
        yield v.warning(
            "post-beside-foot",
            "post.y",
            f"the post stands {aside:.1f} mm beside the "
            f"treble foot's middle ({bridge.treble_foot_y_mm:g} mm) and does not reach "
            "under it; check y.",
        )
    behind = bridge.x_mm - post.x_mm
    together = 0.5 * (post.diameter_mm + bridge.foot_width_mm)
    if aside <= reach and abs(behind) < together:
        yield v.warning(
            "post-under-foot",
            "post.x",
            f"the post stands {behind:.1f} mm behind the "
            "bridge, so post and foot overlap; usual is just behind the foot.",
        )
    elif behind < 0.0:
        yield v.warning(
            "post-before-bridge",
            "post.x",
            f"{v.value('post.x', post.x_mm)} lies "
            "between bridge and neck; usual is below the bridge.",
        )
    if abs(post.y_mm) + 0.5 * post.diameter_mm > 0.5 * i.body.lower_width_mm:
        yield v.error(
            "post-off-body",
            "post.y",
            f"{v.value('post.y', post.y_mm)} lies off the body; y counts from the middle line.",
        )


def bar_rules(v: View) -> Iterator[Finding]:
    """The bar against the body, the bass foot and the end blocks."""
    i = v.instrument
    bar, body, bridge = i.bar, i.body, i.bridge
    if not bar.present:
        return
    upper_end = bar.lower_end_x_mm + bar.length_mm
    if upper_end > body.length_mm or bar.lower_end_x_mm <= 0.0:
        yield v.error(
            "bar-off-body",
            "bar.length",
            f"the bar runs from {bar.lower_end_x_mm:g} to "
            f"{upper_end:g} mm on a body of {body.length_mm:g} mm; shorten it.",
        )
        return
    flat = i.top.inside.platform_end_mm
    if bar.lower_end_x_mm < flat or upper_end > body.length_mm - flat:
        yield v.warning(
            "bar-on-block",
            "bar.length",
            "the bar runs on to the flat of an end block; shorten or shift it.",
        )
    if bar.end_height_mm > bar.height_mm:
        yield v.error(
            "bar-ends-high",
            "bar.end_height",
            f"{bar.end_height_mm:g} mm at the ends is "
            f"more than {bar.height_mm:g} mm in the middle; correct one of them.",
        )
    y = bar_y_at(v, bridge.x_mm)
    inner = bridge.bass_foot_y_mm - 0.5 * bridge.foot_length_mm
    outer = bridge.bass_foot_y_mm + 0.5 * bridge.foot_length_mm
    if y is not None and not inner - 0.5 * bar.width_mm < y < outer + 0.5 * bar.width_mm:
        yield v.warning(
            "bar-beside-foot",
            "bar.lower_y",
            f"at the bridge the bar lies at y = "
            f"{y:.1f} mm, not under the bass foot ({inner:.1f} to {outer:.1f}); check "
            "lower_y and upper_y.",
        )


def bar_y_at(v: View, x_mm: float) -> float | None:
    """y (mm) of the bar's middle line at x; None beyond its ends."""
    bar = v.instrument.bar
    share = (x_mm - bar.lower_end_x_mm) / bar.length_mm
    if not 0.0 <= share <= 1.0:
        return None
    return bar.lower_y_mm + share * (bar.upper_y_mm - bar.lower_y_mm)


def workshop_rules(v: View) -> Iterator[Finding]:
    """Drill and printer."""
    drill, shop = v.instrument.drill, v.instrument.workshop
    if drill.bit_mm >= min(drill.spacing_along_mm, drill.spacing_across_mm):
        yield v.error(
            "holes-touch",
            "guide_holes.bit",
            f"{v.value('guide_holes.bit', drill.bit_mm)} "
            "is no less than the spacing of the holes; widen the spacing.",
        )
    if drill.bit_shape == "brad" and drill.spur_mm == 0.0:
        yield v.warning(
            "brad-without-spur",
            "guide_holes.spur",
            "a brad point reaches lower by its own length; measure spur.",
        )
    for key, ratio in (("x", shop.printer_x), ("y", shop.printer_y)):
        if abs(ratio - 1.0) > 0.03:
            yield v.warning(
                "printer-far-off",
                f"workshop.printed_scale_{key}",
                "the printed scale is "
                f"{100 * ratio:g} mm instead of 100; print at 100 per cent, 'actual "
                "size', and measure again.",
            )
