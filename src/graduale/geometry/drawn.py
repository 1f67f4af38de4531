"""The drawn outline: a fair curve from a few widths and lengths, with or without corners.

One half is drawn from the lower edge to the upper edge on the bass side and mirrored. Each bout is
a curve of least curvature variation (`fair`). Proportions of the corner (the cut of its tip, how
far the bouts flare toward it) are common practice, no source.
"""

from itertools import pairwise

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.geometry.curves import drop_repeats
from graduale.geometry.fair import Way, fair_curve
from graduale.records.instrument import Body

CUT_SHARE = 0.034  # cut of a corner tip / lower width
CUT_LEAST_MM, CUT_MOST_MM = 2.5, 7.0
DIP_SHARE = 0.010  # how far a bout may draw in before the corner / lower width
BLUNT_DEG = 50.0  # an edge that turns by less at the corner has no corner
HOLLOW_SHARE = 0.05  # rise of the waist curve half way to a corner / its rise at the corner
PROUD_LEAST_MM = 1.5  # a corner that stands out less is no corner
MEND = "check body lengths and widths (x from the lower edge), or give the outline as points"


def drawn_half(body: Body) -> tuple[Floats, tuple[tuple[float, float], ...]]:
    """The bass half from (0, 0) to (length, 0): points (k, 2), and the corner tips in order.

    Errors: Refused when no fair curve meets the dimensions.
    """
    _check_order(body)
    plain = _plain_half(body)
    if plain is not None and not _stands_out(body, plain):
        return plain, ()
    cornered = _cornered_half(body)
    if cornered is None and plain is not None:
        return plain, ()
    if cornered is None:
        raise refuse("outline-no-curve", "body", f"no fair curve reaches the corners; {MEND}")
    return cornered


def _check_order(body: Body) -> None:
    places = [0.0, body.lower_at_mm, body.waist_at_mm, body.upper_at_mm, body.length_mm]
    widths = [body.lower_width_mm, body.waist_width_mm, body.upper_width_mm]
    if not all(np.isfinite(places + widths)) or min(widths) <= 0.0:
        raise refuse("outline-widths", "body", f"widths must be positive numbers; {MEND}")
    if not all(b > a for a, b in pairwise(places)):
        raise refuse(
            "outline-order",
            "body",
            "lower bout, waist and upper bout must follow each other between the two "
            f"edges; {MEND}",
        )


def _curve(ways: list[Way], what: str) -> Floats:
    try:
        return fair_curve(tuple(ways))
    except (ValueError, np.linalg.LinAlgError) as error:
        sentence = f"no fair curve can be drawn for the {what}; {MEND}"
        raise refuse("outline-no-curve", "body", sentence) from error


def _plain_half(body: Body) -> Floats | None:
    """The half outline of a body without corners, None when no such curve is found."""
    places = [body.lower_at_mm, body.waist_at_mm, body.upper_at_mm]
    widths = [body.lower_width_mm, body.waist_width_mm, body.upper_width_mm]
    around = [0.0, *widths, 0.0]
    ways = [Way(0.0, 0.0, 90.0)]
    for i in range(3):
        left, here, right = around[i : i + 3]
        extreme = (here > left and here > right) or (here < left and here < right)
        ways.append(Way(places[i], widths[i] / 2.0, 0.0 if extreme else None))
    ways.append(Way(body.length_mm, 0.0, -90.0))
    try:
        half = fair_curve(tuple(ways))
    except (ValueError, np.linalg.LinAlgError):
        return None
    inside = half[1:-1]
    fine = np.all(inside[:, 1] > 0.0) and half[:, 0].min() >= -0.1
    return half if fine and half[:, 0].max() <= body.length_mm + 0.1 else None


def _stands_out(body: Body, plain: Floats) -> bool:
    """Whether a corner stands out of the plain curve."""
    for x, width in (
        (body.lower_corner_at_mm, body.lower_corner_width_mm),
        (body.upper_corner_at_mm, body.upper_corner_width_mm),
    ):
        order = np.argsort(plain[:, 0])
        if width / 2.0 > float(np.interp(x, plain[order, 0], plain[order, 1])) + PROUD_LEAST_MM:
            return True
    return False


def _unit(angle_deg: float) -> Floats:
    angle = np.radians(angle_deg)
    return np.array([np.cos(angle), np.sin(angle)])


def _cut_ends(
    tip: Floats, arrive_deg: float, leave_deg: float, cut: float
) -> tuple[Floats, Floats]:
    """Both ends of the cut face of a corner whose edges arrive and leave in these directions."""
    outward = _unit(arrive_deg) - _unit(leave_deg)
    outward = outward / np.hypot(*outward)
    along = np.array([outward[1], -outward[0]])
    if along @ (_unit(arrive_deg) + _unit(leave_deg)) < 0.0:
        along = -along
    return tip - 0.5 * cut * along, tip + 0.5 * cut * along


def _cornered_half(body: Body) -> tuple[Floats, tuple[tuple[float, float], ...]] | None:
    """The half outline with its corner tips, None when a bout cannot reach its corner fairly."""
    lower = np.array([body.lower_corner_at_mm, body.lower_corner_width_mm / 2.0])
    upper = np.array([body.upper_corner_at_mm, body.upper_corner_width_mm / 2.0])
    order = [body.lower_at_mm, lower[0], body.waist_at_mm, upper[0], body.upper_at_mm]
    if not all(b > a for a, b in pairwise(order)):
        raise refuse(
            "outline-corners",
            "body",
            f"each corner must lie between its bout and the waist; {MEND}",
        )
    if min(lower[1], upper[1]) <= body.waist_width_mm / 2.0:
        return None
    cut = float(np.clip(CUT_SHARE * body.lower_width_mm, CUT_LEAST_MM, CUT_MOST_MM))
    turn_low, turn_up = _waist_turns(body, lower, upper)
    flare_low = _flare(body, lower, False, turn_low, cut)
    flare_up = _flare(body, upper, True, turn_up, cut)
    if flare_low is None or flare_up is None:
        return None
    low_in, low_out = _cut_ends(lower, flare_low, -turn_low, cut)
    up_in, up_out = _cut_ends(upper, turn_up, -flare_up, cut)
    lower_bout = _bout(body, low_in, flare_low, False)
    waist = _waist(body, low_out, up_in, turn_low, turn_up)
    upper_bout = _bout(body, up_out, flare_up, True)
    half = np.vstack([lower_bout, lower, waist, upper, upper_bout])
    tips = ((float(lower[0]), float(lower[1])), (float(upper[0]), float(upper[1])))
    return drop_repeats(half, closed=False), tips


def _bout(body: Body, end: Floats, flare_deg: float, upper: bool) -> Floats:
    """One bout between the middle line and its corner, in the order of the half outline."""
    if not upper:
        widest = Way(body.lower_at_mm, body.lower_width_mm / 2.0, 0.0)
        ways = [Way(0.0, 0.0, 90.0), widest, Way(end[0], end[1], flare_deg)]
        return _curve(ways, "lower bout")
    # drawn from the upper edge as if it were a lower one, then turned round
    widest = Way(body.length_mm - body.upper_at_mm, body.upper_width_mm / 2.0, 0.0)
    ways = [Way(0.0, 0.0, 90.0), widest, Way(body.length_mm - end[0], end[1], flare_deg)]
    mirrored = _curve(ways, "upper bout")[::-1]
    return np.column_stack([body.length_mm - mirrored[:, 0], mirrored[:, 1]])


def _flare(body: Body, tip: Floats, upper: bool, turn_deg: float, cut: float) -> float | None:
    """How far the bout turns outward at its corner (degrees from the body's axis), if it can."""
    for flare in range(34, -30, -4):
        if flare + turn_deg < BLUNT_DEG:
            return None
        arrive, leave = (turn_deg, -flare) if upper else (flare, -turn_deg)
        ends = _cut_ends(tip, float(arrive), float(leave), cut)
        end = ends[1] if upper else ends[0]
        half = _bout(body, end, float(flare), upper)
        beyond = half[:, 0] <= body.upper_at_mm if upper else half[:, 0] >= body.lower_at_mm
        widest = (body.upper_width_mm if upper else body.lower_width_mm) / 2.0
        dips = end[1] - float(half[beyond, 1].min()) > DIP_SHARE * body.lower_width_mm
        bulges = float(half[:, 1].max()) > widest + 0.02
        if not dips and not bulges:
            return float(flare)
    return None


def _waist(body: Body, start: Floats, end: Floats, turn_low: float, turn_up: float) -> Floats:
    ways = [Way(start[0], start[1], -turn_low)]
    ways.append(Way(body.waist_at_mm, body.waist_width_mm / 2.0, 0.0))
    ways.append(Way(end[0], end[1], turn_up))
    return _curve(ways, "waist")


def _waist_turns(body: Body, lower: Floats, upper: Floats) -> tuple[float, float]:
    """Directions of the waist curve at both tips: as hooked as it stays fairly hollow all along."""
    turns = [95.0, 93.0]
    for _ in range(30):
        curve = _waist(body, lower, upper, turns[0], turns[1])
        flat = [_flat(body, curve, tip) for tip in (lower, upper)]
        if not any(flat):
            break
        turns = [t - 3.0 if f else t for t, f in zip(turns, flat, strict=True)]
    return turns[0], turns[1]


def _flat(body: Body, curve: Floats, tip: Floats) -> bool:
    """Whether the waist curve bulges inward, or hardly opens half way from the waist to a tip."""
    half = 0.5 * body.waist_width_mm
    own = curve[(curve[:, 0] - body.waist_at_mm) * (tip[0] - body.waist_at_mm) > 0.0]
    own = own[np.argsort(own[:, 0])]
    between = float(np.interp(0.5 * (body.waist_at_mm + tip[0]), own[:, 0], own[:, 1]))
    opens = between - half >= HOLLOW_SHARE * (tip[1] - half)
    return float(own[:, 1].min()) < half - 0.01 or not opens
