"""What the maker must know beside the hole list, as findings."""

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.findings import Finding
from graduale.plan.bits import bit_of
from graduale.plan.layout import Blank, Marks
from graduale.plan.nearest import Outside
from graduale.plan.records import GuideHole
from graduale.records.instrument import Drill, PlateName


def plan_notes(
    plate: PlateName,
    outside: Outside,
    drill: Drill,
    holes: Sequence[GuideHole],
    marks: Marks,
    blank: Sequence[Blank],
) -> tuple[Finding, ...]:
    """All notes of one plan, the gravest first."""
    where = f"{plate}: guide holes"
    out = [*_none(where, holes), *_channel(where, outside, drill, holes)]
    out += [*_collar(where, drill), *_steep(where, drill, holes)]
    out += [*_blank(where, blank), *_sparse(where, marks), *_measure(where, drill)]
    return tuple(out)


def _none(where: str, holes: Sequence[GuideHole]) -> list[Finding]:
    if holes:
        return []
    sentence = "no guide hole finds room; take a smaller bit, or thin by caliper alone"
    return [Finding("warning", "holes-none", where, sentence)]


def _measure(where: str, drill: Drill) -> list[Finding]:
    scrape = drill.outside_scrape_mm
    still = f"; {scrape:g} mm still to be scraped outside is already kept back" if scrape else ""
    sentence = (
        "before drilling re-measure the arch as carved and compute the settings anew where it "
        f"differs by more than 0.2 mm{still}"
    )
    bit = bit_of(drill)
    to = (
        f"every setting is to the {bit.depth_to} of the bit"
        + (f", which stands {bit.proud_mm:.2f} mm before its shoulder" if bit.proud_mm else "")
        + "; drill the scrap block first and correct the stop"
    )
    return [
        Finding("note", "holes-remeasure", where, sentence),
        Finding("note", "holes-depth-to", where, to),
    ]


def _collar(where: str, drill: Drill) -> list[Finding]:
    if drill.method != "collar":
        return []
    out = [
        Finding(
            "warning",
            "collar-needs-height",
            where,
            "with a collar the outside height counts in full: use it only at holes where the "
            "height was measured to 0.2 mm and the inside face is planed true, otherwise take "
            "the rest",
        )
    ]
    if drill.hold == "tilted":
        sentence = "a collar sits flat, so the plate is held level; 'tilted' is taken as 'level'"
        out.append(Finding("note", "collar-level", where, sentence))
    return out


def _steep(where: str, drill: Drill, holes: Sequence[GuideHole]) -> list[Finding]:
    limit = drill.max_level_slope_deg
    steep = [h for h in holes if h.slope_deg > limit and h.hold == "tilted"]
    if drill.hold == "tilted" and drill.method == "rest":
        sentence = (
            "all holes are for a plate tilted square to the bit, where the stop is what is left; "
            "held level the same stop leaves less, so print the level settings if unsure"
        )
        return [Finding("warning", "holes-all-tilted", where, sentence)]
    if not steep:
        return []
    sentence = (
        f"{len(steep)} holes lie on slopes above {limit:g}°: tilt the plate there until it stands "
        "square to the bit; their settings are not for a plate held level "
        f"({_list(h.id for h in steep)})"
    )
    return [Finding("warning", "holes-tilted", where, sentence)]


def _channel(
    where: str, outside: Outside, drill: Drill, holes: Sequence[GuideHole]
) -> list[Finding]:
    """Holes where the rest's tip is rounder than the outside is hollow."""
    if drill.method != "rest" or not holes or drill.rest_radius_mm <= 0:
        return []
    xy = np.array([(h.x_mm, h.y_mm) for h in holes])
    hollow = greatest_curvature(outside, xy) * drill.rest_radius_mm > 1.0
    names = [h.id for h, bad in zip(holes, hollow, strict=True) if bad]
    if not names:
        return []
    sentence = (
        f"the rest's tip of radius {drill.rest_radius_mm:g} mm is rounder than the hollow under "
        f"{_list(names)} and bears on two sides; the settings allow for it, a smaller tip is surer"
    )
    return [Finding("warning", "rest-too-round", where, sentence)]


def greatest_curvature(outside: Outside, xy: Floats) -> Floats:
    """Greatest principal curvature (n,) of the outside at xy (n, 2), 1/mm, hollow positive."""
    p, q = np.asarray(outside.gradient(xy)).T
    r, s, t = np.asarray(outside.hessian(xy)).T
    w = 1.0 + p * p + q * q
    gauss = (r * t - s * s) / w**2
    mean = ((1.0 + q * q) * r - 2.0 * p * q * s + (1.0 + p * p) * t) / (2.0 * w**1.5)
    return np.asarray(mean + np.sqrt(np.maximum(mean * mean - gauss, 0.0)))


def _blank(where: str, blank: Sequence[Blank]) -> list[Finding]:
    if not blank:
        return []
    counts = Counter(b.reason for b in blank)
    parts = ", ".join(f"{n} × {reason}" for reason, n in sorted(counts.items()))
    sentence = f"{len(blank)} places are left blank ({parts}); gouge there by caliper"
    return [Finding("note", "holes-blank", where, sentence)]


def _sparse(where: str, marks: Marks) -> list[Finding]:
    if not marks.sparse:
        return []
    places = _list(f"x = {x:.0f} {side}" for x, side, _ in marks.sparse)
    sentence = (
        f"fewer than three holes across a half at {places}: the bit leaves no more room between "
        "the zones; a smaller bit would"
    )
    return [Finding("note", "holes-sparse", where, sentence)]


def _list(names: Iterable[str], most: int = 12) -> str:
    words = list(names)
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more
