"""The doubt of a decision in a maker's words."""

from collections.abc import Mapping
from typing import Any

from graduale.prints.worth import Bars
from graduale.thickness.measures import LEFT_MM
from graduale.words.catalogue import say
from graduale.words.numbers import Units

_PLATES = ("top", "back")
_FIRST = 3
_SHOWN = 8
_LEAST_G = 0.05


def doubt_lines(document: Mapping[str, Any], units: Units) -> list[str]:
    """A few sentences: intervals, the confidence and what it costs, what to measure first."""
    doubt = document["doubt"]
    mass, zones = doubt["mass_g"], doubt["zones_mm"]
    tones = [
        high / (0.5 * (low + high)) - 1.0 for w in _PLATES for low, high in doubt["tones_hz"][w]
    ]
    head = say(
        "doubt.mass",
        top_low=mass["top"][0],
        top_high=mass["top"][1],
        back_low=mass["back"][0],
        back_high=mass["back"][1],
        tones=max(tones),
    )
    middles = [
        say("doubt.zones", units, plate=w, low=zones[w]["centre"][0], high=zones[w]["centre"][1])
        for w in _PLATES
    ]
    sure = say("doubt.sure", confidence=doubt["confidence"])
    costs = doubt["costs_g"] >= _LEAST_G
    cost = say("doubt.costs", cost=doubt["costs_g"]) if costs else say("doubt.costs_nothing")
    found = doubt["measure"][:_FIRST]
    told = "; ".join(f"{measure_words(m, units)} ({effect_words(m)})" for m in found)
    first = say("doubt.first", what=told) if found else say("doubt.nothing")
    return [f"{sure} {cost}", f"{head} {', '.join(middles)}.", first]


def measure_words(measure: Mapping[str, Any], units: Units) -> str:
    """What to do."""
    key, plate = measure["key"], measure["plate"] or "body"
    return say(f"measure.{key}", units, plate=plate, to=LEFT_MM.get(key, 0.0))


def effect_words(measure: Mapping[str, Any]) -> str:
    """What it does: wood let go, or the doubt that shrinks most."""
    shares = {k: float(measure[f"{k}_less"]) for k in ("governs", "zones", "mass")}
    most = max(shares, key=lambda k: shares[k])
    told = say("doubt.halves", share=shares[most], of=say(f"doubt.of_{most}"))
    if measure["let_go_g"] >= _LEAST_G:
        return f"{say('doubt.lets', grams=measure['let_go_g'])}, {told}"
    return told


def worth_rows(document: Mapping[str, Any], units: Units) -> list[Bars]:
    """Rows of the picture."""
    out = []
    for m in document["doubt"]["measure"][:_SHOWN]:
        lets = m["let_go_g"] >= _LEAST_G
        told = say("doubt.lets", grams=m["let_go_g"]) if lets else say("doubt.little")
        shares = (float(m["governs_less"]), float(m["zones_less"]), float(m["mass_less"]))
        out.append(Bars(measure_words(m, units), shares, told))
    return out
