"""One screen of text from a judgement's document."""

import textwrap
from collections.abc import Mapping
from typing import Any

from graduale.jobs import reasons
from graduale.words.catalogue import say

_WIDTH = 100
_PLATES = ("top", "back")
_MOST_FINDINGS = 4
_STATES = {
    "before_holes": "before its soundholes, without bar",
    "holes_cut": "soundholes cut, without bar",
    "finished": "with all that is glued to it",
}
Doc = Mapping[str, Any]


def text_of(document: Doc) -> str:
    """Below-floor readings first, then what fails, 'may I stop' by plate, verdicts, doubt."""
    lines = [f"{document['instrument']}   judged as carved, {document['digest']}", ""]
    for which in _PLATES:
        for spot in document["plates"][which]["thin_spots"]:
            lines += _wrapped(spot_sentence(which, spot))
    lines += _wrapped(_headline(document))
    for sentence in reasons.failures(document):
        lines += _wrapped(sentence)
    for sentence in _assumed(document):
        lines += _wrapped(sentence)
    lines.append("")
    for which in _PLATES:
        for sentence in _stop(document, which):
            lines += _wrapped(sentence)
    lines += ["", *_verdicts(document), "", *_plates(document), ""]
    for sentence in _next(document):
        lines += _wrapped(sentence)
    lines += _wrapped(reasons.rests(document))
    lines += _wrapped(say("decide.estimate"))
    lines += _wrapped(
        "The verdicts are those of the closed body: soundholes, bar and post as in the file."
    )
    return "\n".join([*lines, *_findings(document)])


def _wrapped(sentence: str) -> list[str]:
    return textwrap.wrap(sentence, _WIDTH, subsequent_indent="  ")


def spot_sentence(which: str, spot: Doc) -> str:
    """One thin spot: what was read, against what, and what to do."""
    why = []
    if spot["below_least"]:
        why.append(f"below your least of {spot['least_mm']:.1f}")
    if spot["below_floor"]:
        why.append(f"below the floor of {spot['floor_mm']:.1f}")
    if spot["below_neighbours"]:
        why.append(f"neighbours say {spot['neighbours_mm']:.1f}")
    far, near = spot["verdict"], spot["verdict_half_reach"]
    reach = spot["reach_at_most_mm"]
    return (
        f"THIN: {which}, x {spot['x_mm']:.0f}, y {spot['y_mm']:+.0f} ({spot['where']}): "
        f"{spot['mm']:.1f} mm, {', '.join(why)}. A press of 50 N stresses the wood there "
        f"{far['ratio']:.2f} times as much as in the average violin (allowed {far['limit']:.2f}) "
        f"if it is so thin for {reach:.0f} mm around, as far as the readings allow; "
        f"{near['ratio']:.2f} if for {0.5 * reach:.0f}. {spot['do'].capitalize()}."
    )


def _headline(document: Doc) -> str:
    margin, failing = document["margin"], document["failing"]
    if document["safe"]:
        return f"HOLDS: every verdict that counts, with {margin:.0%} in hand."
    within = all(f["reserve"] * (1.0 + margin) >= 1.0 for f in failing)
    if not document["guard"]["passes"] or not within:
        return "DOES NOT HOLD as it is."
    rest = f"within the reference band, but without your {margin:.0%} in hand"
    spots = [s for w in _PLATES for s in document["plates"][w]["thin_spots"]]
    if any("patch" in s["do"] for s in spots):
        rest = rest if failing else "every other verdict holds"
        return f"NOT SHOWN TO HOLD: see the thin spot; {rest}."
    return f"HOLDS, BUT ONLY {rest}."


def _assumed(document: Doc) -> list[str]:
    out = []
    for which in document["assumed_plates"]:
        out.append(
            f"The {which} is not measured. ASSUMED: the average reference {which}, scaled by body "
            "length. Its own verdicts and the lengthwise one are shown and do not count; measure "
            "it."
        )
    for which in _PLATES:
        if document["plates"][which]["known"] == "decided":
            out.append(f"The {which} is not measured; it is taken as decided.")
    return out


def _stop(document: Doc, which: str) -> list[str]:
    """May I stop? and what may still come off."""
    plate = document["plates"][which]
    answer = plate["may_stop"]
    if answer == "not measured":
        return []
    if answer == "no more":
        said = f"{which}: may I stop? Take nothing more off: {_why_not(document, which)}."
        return [said, *_to_go(plate, which)]
    return [_room(plate["room"], which), *_to_go(plate, which)]


def _room(room: Doc, which: str) -> str:
    end = (
        "then all of it is at your own least"
        if room["limited_by"] == "least"
        else f"then it is at its limit: {room['where']}"
    )
    if room["evenly_mm"] < 0.05:
        return f"{which}: may I stop? Yes, stop here: nothing more may come off ({end})."
    return (
        f"{which}: may I stop? Yes. {room['evenly_mm']:.2f} mm more may come off evenly "
        f"({room['grams']:.0f} g), {end}."
    )


def _to_go(plate: Doc, which: str) -> list[str]:
    """What is over a decided map, if there is one."""
    if "to_go" not in plate:
        return []
    going = plate["to_go"]
    zones = ", ".join(f"{z['zone']} {z['mean_mm']:+.1f}" for z in going["zones"])
    return [
        f"{which}: over the decided map, in the order of the work: {zones} mm; "
        f"{going['grams']:.0f} g to come off."
    ]


def _why_not(document: Doc, which: str) -> str:
    for one in document["failing"]:
        if one["plate"] in (which, None):
            return f"{one['kind']} fails, {one['where']}"
    if not document["guard"]["passes"]:
        return "it would buckle"
    return "its thin spot wants a patch first"


def _verdicts(document: Doc) -> list[str]:
    rows = [
        f"{'verdict':<12}{'plate':<7}{'ratio':>6}  {'band':<12}{'limit':>6}{'reserve':>9}  where"
    ]
    for which in _PLATES:
        for kind, v in document["plates"][which]["verdicts"].items():
            if v is None:
                rows.append(f"{kind:<12}{which:<7}{'no reference for this body':>20}")
                continue
            band = f"{v['band'][0]:.2f}-{v['band'][1]:.2f}"
            rows.append(
                f"{kind:<12}{which:<7}{v['ratio']:>6.2f}  {band:<12}{v['limit']:>6.2f}"
                f"{v['reserve']:>9.2f}  {v['where']}{_mark(document, which, v)}"
            )
    guard = document["guard"]
    rows.append(
        f"guard: buckling at {guard['buckling_with_creep']:.1f} times the load with creep "
        f"(at least {guard['floor']:.0f})"
    )
    return rows


def _mark(document: Doc, which: str, verdict: Doc) -> str:
    if verdict["reserve"] >= 1.0:
        return ""
    counts = any(f["key"] == verdict["key"] for f in document["failing"])
    return "  FAILS" if counts else "  (not counted)"


def _plates(document: Doc) -> list[str]:
    """Mass and tones at the state of the work; the map's doubt."""
    rows = []
    for which in _PLATES:
        plate = document["plates"][which]
        heard = "  ".join(f"{t['hz']:.0f} {t['name']}" for t in plate["tap_tones"][:5])
        rows.append(
            f"{which:<5} {plate['mass_g']:.1f} g {_STATES[plate['state']]}; tap tones, Hz: {heard}"
        )
    sag = document["setup"]["sag_mm"]["bass"]
    rows.append(
        f"strung: the bass foot sinks {sag['at_once']:.2f} mm at once, {sag['after_years']:.2f} "
        "after years"
    )
    return rows


def _next(document: Doc) -> list[str]:
    out = []
    for which in _PLATES:
        plate = document["plates"][which]
        if "measure_next" not in plate:
            continue
        places = "; ".join(f"x {p['x_mm']:.0f}, y {p['y_mm']:+.0f}" for p in plate["measure_next"])
        out.append(
            f"{which}: {len(plate['readings'])} readings; between them the map is known to about "
            f"{plate['usual_doubt_mm']:.2f} mm (one standard deviation). Measure next at {places}."
        )
        if plate["more_thin_readings"]:
            out.append(
                f"{which}: {plate['more_thin_readings']} more thin spots are not shown; the plate "
                "as a whole is thin."
            )
    return out


def _findings(document: Doc) -> list[str]:
    found = document["findings"]
    rows = []
    for f in found[:_MOST_FINDINGS]:
        rows += _wrapped(f"{f['where']}: {f['sentence']}")
    if len(found) > _MOST_FINDINGS:
        rows.append(f"and {len(found) - _MOST_FINDINGS} more remarks, see --json")
    return rows
