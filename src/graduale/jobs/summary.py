"""One screen of text from a decision's document."""

import textwrap
from collections.abc import Mapping
from typing import Any

from graduale.jobs import reasons
from graduale.jobs.doubt_text import doubt_lines
from graduale.prints.figures import figure, short_unit
from graduale.records.instrument import Instrument
from graduale.words.catalogue import say
from graduale.words.numbers import Units

_WIDTH = 118
_PLATES = ("top", "back")
_PLACES = ("centre", "upper bout", "lower bout", "bass flank", "treble flank", "channel", "edge")


def summary(document: Mapping[str, Any], instrument: Instrument, out: str, sheets: str) -> str:
    """The screen: verdict first, then numbers, then reasons, then what to do next."""
    units = instrument.workshop.units
    lines = [f"{document['instrument']}   decision {document['digest']}", ""]
    if document["safe"]:
        lines += _wrapped(say("decide.safe", margin=document["margin"]))
    else:
        lines += _wrapped(say("decide.not_safe"))
        for sentence in reasons.failures(document, units):
            lines += _wrapped(sentence)
    for caution in reasons.model_cautions(document, instrument):
        lines += _wrapped(caution)
    for doubt in document["doubtful"]:
        lines += _wrapped(say("decide.doubtful", what=doubt))
    lines += ["", *_thickness(document, units), "", *_tones(document), "", *_verdicts(document)]
    lines += ["", *_setup(document, units), ""]
    for sentence in doubt_lines(document, units):
        lines += _wrapped(sentence)
    told = [*reasons.drying(document), *reasons.limits(document, instrument)]
    if not (instrument.bar.present and instrument.post.present):
        told.append(say("decide.no_reference"))
    told += [*reasons.comparisons(document, units), reasons.rests(document)]
    told.append(say("decide.margins", margin=document["margin"], costs=_costs(document)))
    told.append(say("decide.estimate"))
    told += reasons.assumed(instrument)
    for sentence in told:
        lines += _wrapped(sentence)
    follow = (
        say("decide.next", out=out, sheets=sheets)
        if document["safe"]
        else say("decide.next_unsafe")
    )
    return "\n".join([*lines, "", *_wrapped(follow)])


def _wrapped(sentence: str) -> list[str]:
    return textwrap.wrap(
        sentence, _WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False
    )


def _costs(document: Mapping[str, Any]) -> str:
    """'0 % -2.1 g, 10 % +0.0 g, ...': mass of both plates against the decided ones."""
    rows = []
    for row in document["margins"]:
        more = row["more_g"]["top"] + row["more_g"]["back"]
        missed = "" if row["met"] else f" ({say('decide.margin_missed')})"
        rows.append(f"{100.0 * row['margin']:.0f} % {more:+.1f} g{missed}")
    return ", ".join(rows)


def _thickness(document: Mapping[str, Any], units: Units) -> list[str]:
    head = (
        f"{f'thickness, {short_unit(units)}':<16}"
        + "".join(f"{p:>13}" for p in _PLACES)
        + f"{'mass':>9}"
    )
    rows = [head]
    for which in _PLATES:
        plate = document["plates"][which]
        values = "".join(f"{figure(plate['summary_mm'][p], units):>13}" for p in _PLACES)
        rows.append(f"{which:<16}{values}{plate['mass_g']:>7.1f} g")
    states = document["plates"]["top"].get("states", {})
    if "before_holes" in states:
        parts = [
            f"{label} {states[name]['mass_g']:.1f} g"
            for name, label in (
                ("before_holes", "before the soundholes"),
                ("holes_cut", "holes cut"),
                ("with_bar", "with its bar"),
            )
            if name in states
        ]
        rows.append("the top weighs: " + ", ".join(parts))
    return rows


def _tones(document: Mapping[str, Any]) -> list[str]:
    rows = ["tap tones of the free plates, Hz (name by shape, else node lines along,across)"]
    for which in _PLATES:
        heard = document["plates"][which]["tap_tones"]
        rows.append(f"  {which:<6}" + "  ".join(f"{t['hz']:.0f} {t['name']}" for t in heard))
    return rows


def _verdicts(document: Mapping[str, Any]) -> list[str]:
    rows = [
        f"{'verdict':<12}{'plate':<7}{'ratio':>6}  {'band':<12}{'limit':>6}{'reserve':>9}  where"
    ]
    for which in _PLATES:
        for kind in reasons.KINDS:
            v = document["plates"][which]["verdicts"][kind]
            if v is None:
                rows.append(f"{kind:<12}{which:<7}{'no reference for this body':>20}")
                continue
            band = f"{v['band'][0]:.2f}-{v['band'][1]:.2f}"
            mark = "" if v["reserve"] >= 1.0 else "  FAILS"
            rows.append(
                f"{kind:<12}{which:<7}{v['ratio']:>6.2f}  {band:<12}{v['limit']:>6.2f}"
                f"{v['reserve']:>9.2f}  {v['where']}{mark}"
            )
    guard = document["guard"]
    rows.append(
        f"guard: buckling at {guard['buckling_with_creep']:.1f} times the load with creep "
        f"(at least {guard['floor']:.0f})"
    )
    return rows


def _setup(document: Mapping[str, Any], units: Units) -> list[str]:
    def mm2(value: float, sign: str = "") -> str:
        text = figure(value, units, 2)
        return sign + text if sign and not text.startswith("-") else text

    unit = short_unit(units)
    s = document["setup"]
    bass, treble = s["sag_mm"]["bass"], s["sag_mm"]["treble"]
    low, high = bass["after_years_range"]
    terms = s["projection_terms_mm"]
    return [
        f"strings {s['tension_total_n']:.0f} N, press on the bridge {s['press_total_n']:.0f} N "
        f"(bass foot {s['foot_shares'][0]:.0%}), post {s['post_n']:.0f} N",
        f"sag: bass foot {mm2(bass['at_once'])} {unit} at once (press {mm2(bass['press_part'])}, "
        f"strings {mm2(bass['string_part'], '+')}), {mm2(bass['after_years'])} after years "
        f"({mm2(low)} to {mm2(high)}); treble foot {mm2(treble['at_once'])}",
        f"end blocks turn by {s['end_rotation_deg']:.2f} degrees; the neck's projection drops by "
        f"{mm2(s['projection_drop_mm'])} {unit} "
        f"(rotation {mm2(terms['rotation_times_lever'], '+')}, "
        f"rib sag {mm2(terms['rib_sag'], '+')})",
    ]
