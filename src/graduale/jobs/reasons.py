"""In plain words: what limits each plate, what would cure it, how the answer compares with usual
numbers."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from graduale.jobs.check_report import WORTH_MEASURING
from graduale.jobs.document import map_from
from graduale.jobs.doubt_text import doubt_lines
from graduale.prints.data import Words
from graduale.records.instrument import Instrument
from graduale.thickness.field import ZONES
from graduale.words.catalogue import say
from graduale.words.numbers import Units

_PLATES = ("top", "back")
KINDS = ("across", "local", "lengthwise")
_ZONE_WORDS = {"upper": "upper bout", "lower": "lower bout"}
# Left under guide holes in the back, back, top before its soundholes: common practice, no source.
_USUAL: dict[Units, tuple[str, str, str]] = {
    "mm": ("4", "3", "5"),
    "inch": ("0.16 in", "0.12 in", "0.2 in"),
}
# How much too low lengthwise of a narrow body is read against a full-size one: gaps of the shell of
# 5 mm to the whole box as solids, -2.8 and +8.0 % (benchmarks/referee/box.md).
LENGTHWISE_LOW = 0.10
NARROW_MM = 150.0  # a lower bout below this is called narrow


def cure(key: str, document: Mapping[str, Any], units: Units = "mm") -> str:
    """What would let a verdict pass or a plate go thinner."""
    drop = float(document["setup"]["projection_drop_mm"])
    if key == "lengthwise":
        return say("cure.lengthwise", units, drop=drop)
    if key == "sag share":
        return say("cure.sag")
    if key.startswith("across"):
        return say("cure.across_back" if key.endswith("back") else "cure.across")
    for part in ("foot", "post", "hole"):
        if part in key:
            return say(f"cure.{part}")
    return say("cure.press")


def tightest(document: Mapping[str, Any], which: str) -> Mapping[str, Any] | None:
    """The verdict with the least reserve on a plate."""
    found = [v for v in document["plates"][which]["verdicts"].values() if v is not None]
    return min(found, key=lambda v: float(v["reserve"]), default=None)


def limits(document: Mapping[str, Any], instrument: Instrument) -> list[str]:
    """What sets each zone of each plate: a verdict with its cure, or the least thickness of the
    file."""
    out = []
    units = instrument.workshop.units
    for which in _PLATES:
        plate = document["plates"][which]
        by_key: dict[str, list[str]] = {}
        for zone in ZONES:
            one = plate["limited_by"][zone]
            if one is not None:
                by_key.setdefault(one["key"], []).append(zone)
        for key, zones in by_key.items():
            one = plate["limited_by"][zones[0]]
            out.append(
                say(
                    "decide.limits",
                    plate=which,
                    zones=_zone_words(zones),
                    where=one["where"],
                    reserve=one["reserve"],
                    cure=cure(key, document, units),
                )
            )
        out += _beyond(document, which, units)
        limited = {
            _ZONE_WORDS.get(z, z) for z, one in plate["limited_by"].items() if one is not None
        }
        least = [z.removeprefix(f"{which} ") for z in document["on_least"] if z.startswith(which)]
        least = [z for z in least if z not in limited]
        if least:
            mm = instrument.plate("top" if which == "top" else "back").inside.least_mm
            out.append(_on_least(which, mm, least, units))
    return out


def _on_least(which: str, mm: float, zones: list[str], units: Units) -> str:
    return say("decide.on_least", units, plate=which, least=mm, zones=", ".join(zones))


def _beyond(document: Mapping[str, Any], which: str, units: Units) -> list[str]:
    """Says it when a middle is thicker than the thick violin's: nobody has proven that it helps."""
    ours = float(document["plates"][which]["zones_mm"]["centre"])
    thick = float(document["reference"]["thick"]["zones_mm"][which][0])
    if ours <= thick:
        return []
    return [say("decide.beyond", units, plate=which, ours=ours, thick=thick)]


def model_cautions(document: Mapping[str, Any], instrument: Instrument) -> list[str]:
    """What the comparison with solids has shown our own figures to miss, where it matters here."""
    reserves = [
        float(v["reserve"])
        for w in _PLATES
        if (v := document["plates"][w]["verdicts"]["lengthwise"]) is not None
    ]
    narrow = instrument.body.lower_width_mm < NARROW_MM
    if not narrow or min(reserves, default=2.0) >= 1.0 + LENGTHWISE_LOW:
        return []
    return [say("decide.lengthwise_low", gap=LENGTHWISE_LOW)]


def _zone_words(zones: list[str]) -> str:
    return ", ".join(_ZONE_WORDS.get(z, z) for z in zones)


def failures(document: Mapping[str, Any], units: Units = "mm") -> list[str]:
    """What fails, the worst first, each with its cure; the same failing read-out is named once."""
    out = []
    for one in document["failing"][:4]:
        out.append(
            say(
                "decide.fails",
                kind=say(f"verdict.{one['kind']}"),
                plate=one["plate"] or "body",
                where=one["where"],
                ratio=one["ratio"],
                limit=one["limit"],
                cure=cure(one["key"], document, units),
            )
        )
    guard = document["guard"]
    if not guard["passes"]:
        out.append(
            say("decide.guard_fails", factor=guard["buckling_with_creep"], floor=guard["floor"])
        )
    return out


def rests(document: Mapping[str, Any]) -> str:
    """What the reference band is."""
    band = document["reference"]
    names = {
        n: f"top {m['mass_g']['top']:.0f} g, back {m['mass_g']['back']:.0f} g"
        for n, m in band.items()
    }
    average, thin, thick = (names[n] for n in ("average", "thin", "thick"))
    return say("decide.rests", average=average, thin=thin, thick=thick)


def drying(document: Mapping[str, Any]) -> list[str]:
    """What drying does, and at which moisture to close the box."""
    found = document["drying"]
    steps = {(d["plate"], d["percent"]): d for d in found["steps"]}
    least = min(d["percent"] for d in steps.values())
    top, back = steps["top", least], steps["back", least]
    pull = say(
        "decide.drying",
        percent=f"{least:g} %",
        top=top["across_mpa"],
        top_strength=top["strength_mpa"],
        back=back["across_mpa"],
        back_strength=back["strength_mpa"],
    )
    close = f"{found['close_at_most_percent']:.1f} %"
    return [pull, say("decide.drying_close", close=close, driest=f"{found['driest_percent']:g} %")]


def comparisons(document: Mapping[str, Any], units: Units = "mm") -> list[str]:
    """Usual numbers beside ours, with the reason for any gap."""
    common = _USUAL[units]
    out = []
    back = document["plates"]["back"]
    left = np.array([h["leaves_mm"] for h in document["guide_holes"] if h["plate"] == "back"])
    if len(left):
        low, high, usual = float(left.min()), float(left.max()), float(np.median(left))
        out.append(
            say("decide.compare_holes", units, common=common[0], low=low, high=high, usual=usual)
        )
    one = back["limited_by"]["centre"] or tightest(document, "back")
    places = back["summary_mm"]
    bouts = 0.5 * (places["upper bout"] + places["lower bout"])
    reason = ""
    if one is not None:
        thicker = places["centre"] > bouts + 0.3
        reason = say(
            f"decide.{'reason_thicker' if thicker else 'reason_plain'}", where=one["where"]
        )
    out.append(
        say(
            "decide.compare_back",
            units,
            common=common[1],
            centre=places["centre"],
            bouts=bouts,
            reason=reason,
        )
    )
    states = document["plates"]["top"].get("states", {})
    if "before_holes" in states:
        grid = map_from(states["before_holes"]["thickness"])
        middle = np.abs(grid.y_mm) < 12.0
        x = grid.x_mm / grid.x_mm.max()
        most = np.nanmax(grid.values[np.ix_((x > 0.35) & (x < 0.7), middle)])
        bout = np.nanmedian(
            grid.values[np.ix_(((x > 0.15) & (x < 0.3)) | (x > 0.78) & (x < 0.9), middle)]
        )
        out.append(
            say(
                "decide.compare_top",
                units,
                common=common[2],
                middle=float(most),
                side=float(bout),
            )
        )
    return out


def _why_not_usual(instrument: Instrument) -> list[str]:
    """Why computed numbers differ from usual ones."""
    out = [say("decide.compare_holes_why")]
    if instrument.soundholes.present:
        out.append(say("decide.compare_top_why"))
    if instrument.body.lower_width_mm < NARROW_MM:
        out.append(say("decide.reason_bouts"))
    return out


def assumed(instrument: Instrument) -> list[str]:
    """How much is assumed, and what to measure first; empty when nothing is."""
    guessed = {k for k, p in instrument.known.items() if p.how == "assumed"}
    if not guessed:
        return []
    first = [k for k in WORTH_MEASURING if k in guessed][:5]
    return [say("decide.assumed", count=len(guessed), first=", ".join(first))]


def sections(document: Mapping[str, Any], instrument: Instrument) -> list[Words]:
    """The page of reasons and cautions."""
    units = instrument.workshop.units
    unreferenced = not (instrument.bar.present and instrument.post.present)
    why = [
        *failures(document, units),
        *model_cautions(document, instrument),
        *limits(document, instrument),
    ]
    if unreferenced:
        why.append(say("decide.no_reference"))
    source = document["reference"]["average"]["source"]
    rest = [
        *(say("decide.doubtful", what=d) for d in document["doubtful"]),
        *drying(document),
        rests(document),
        say("decide.rests_source", source=source),
        doubt_lines(document, units)[0],  # intervals and measuring stand on the screen
    ]
    rest += assumed(instrument)
    care = ("tools", "drill", "dust", "strings", "glue", "wood", "estimate")
    return [
        Words("Why the plates are as they are", tuple(why)),
        Words(
            "Beside the usual numbers", (*comparisons(document, units), *_why_not_usual(instrument))
        ),
        Words("What this rests on", tuple(rest)),
        Words(say("caution.heading"), tuple("- " + say(f"caution.{c}") for c in care)),
    ]
