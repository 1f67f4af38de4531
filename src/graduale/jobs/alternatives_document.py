"""Alternatives -> alternatives.json: figures, and what each costs against the decision."""

from collections.abc import Mapping, Sequence
from math import floor
from typing import Any

from graduale.base.digest import digest, short
from graduale.jobs.alternatives_list import Given
from graduale.jobs.document import (
    as_bytes,
    band_document,
    decision_digest,
    instrument_digest,
    rounded,
)
from graduale.jobs.reference import PLATES
from graduale.words.catalogue import say
from graduale.words.numbers import MINUS, Units

FORMAT = 1
Document = dict[str, Any]


def costs(row: Mapping[str, Any], first: Mapping[str, Any]) -> Document:
    """The row with what it costs or saves against the decision, `redecided` likewise."""
    out = dict(row)
    if out["clash"] is None:
        out["costs"] = _costs(row, first)
    if row["redecided"] is not None:
        anew = dict(row["redecided"])
        out["redecided"] = anew | {"costs": _costs(anew, first)}
    return out


def _costs(row: Mapping[str, Any], first: Mapping[str, Any]) -> Document:
    grams = {w: row["mass_g"][w] - first["mass_g"][w] for w in PLATES}
    sag, was = (r["sag_mm"]["bass"]["at_once"] for r in (row, first))
    return {
        "mass_g": {w: rounded(grams[w], 2) for w in PLATES}
        | {"both": rounded(sum(grams.values()), 2)},
        "sag_mm": rounded(sag - was, 4),
        "sag_times": rounded(sag / was, 3) if was else None,
        "least_reserve": rounded(least_reserve(row) - least_reserve(first)),
        "tension_n": rounded(
            row["strings"]["tension_total_n"] - first["strings"]["tension_total_n"], 1
        ),
    }


def least_reserve(row: Mapping[str, Any]) -> float:
    """The smallest of all reserves of a row."""
    return min(float(v) for v in row["reserves"].values() if v is not None)


def reserve_words(value: float | None) -> str:
    """A reserve with two digits, one that fails never as 1.00; a dash for none, 9.99 at most."""
    if value is None:
        return "–"
    return f"{shown_reserve(value):.2f}"


def shown_reserve(value: float) -> float:
    """Two digits; below 1 rounded down."""
    return floor(100.0 * value) / 100.0 if value < 1.0 else min(value, 9.99)


def document(given: Given, family: str, rows: Sequence[Document], quick: bool) -> Document:
    """The whole answer. Names and sentences are added by `alternatives_text`."""
    inst = given.instrument
    band = band_document(given.known)
    told = [row | {"name": name_of(row)} for row in rows]
    body: Document = {
        "format": FORMAT,
        "decision_digest": decision_digest(inst, band),
        "instrument": inst.name,
        "instrument_digest": instrument_digest(inst),
        "kind": inst.kind,
        "left_handed": inst.left_handed,
        "margin": inst.margin,
        "confidence": inst.confidence,
        "family": family,
        "mesh": "deciding, corrected by the fine one" if quick else "fine",
        "main_tone": {w: told[0]["main_tone"][w]["name"] for w in PLATES},
        "alternatives": [row | {"sentence": sentence(row, told[0])} for row in told],
    }
    return {"digest": short(digest("alternatives", as_bytes(body)))} | body


def name_of(row: Mapping[str, Any], units: Units = "mm") -> str:
    """A row's name, as in the table."""
    values = row["values"]
    if row["key"] == "wanted":
        wishes = [
            say(f"alternatives.wish.{k.partition(' ')[2]}", plate=k.partition(" ")[0], value=v)
            for k, v in sorted(values.items(), reverse=True)
        ]
        return ", ".join(wishes)
    return say(f"alternatives.name.{row['key']}", units, **values)


def sentence(row: Mapping[str, Any], first: Mapping[str, Any], units: Units = "mm") -> str:
    """What an alternative costs, in one plain sentence."""
    name = name_of(row, units)
    name = name[0].upper() + name[1:]
    if row["clash"] is not None:
        return say("alternatives.clash", name=name, why=row["clash"])
    parts = [] if row["key"] == first["key"] else [_grams(row), _sag(row), *_pull(row)]
    told = f"{name}: {', '.join(p for p in parts if p)}" if parts else f"{name}: "
    told = f"{told}; {_verdict(row)}" if parts else told + _verdict(row)
    limit = row["strings"]["greatest_share_of_limit"]
    if row["group"] == "strings" and limit is not None:
        told += "; " + say("alternatives.breaks", share=limit)
    if row["redecided"] is not None:
        told += "; " + _anew(row["redecided"])
    return told + "."


def _grams(row: Mapping[str, Any]) -> str:
    grams = row["costs"]["mass_g"]["both"]
    if abs(grams) < 0.05:
        return ""
    if grams > 0.0:
        return say("alternatives.heavier", grams=grams)
    return say("alternatives.lighter", grams=-grams)


def _sag(row: Mapping[str, Any]) -> str:
    times = row["costs"]["sag_times"]
    if times is None:
        return ""
    if abs(times - 1.0) < 0.005:
        return say("alternatives.sag_same")
    return say("alternatives.sag", times=times)


def _pull(row: Mapping[str, Any]) -> list[str]:
    if row["group"] != "strings":
        return []
    more = row["costs"]["tension_n"]
    total = row["strings"]["tension_total_n"]
    if more > 0.0:
        return [say("alternatives.pull_more", force=more, total=total)]
    return [say("alternatives.pull_less", force=-more, total=total)]


def _verdict(row: Mapping[str, Any]) -> str:
    guard = row["reserves"]["buckling"]
    if row["safe"]:
        holds = say(
            "alternatives.holds", reserve=shown_reserve(least_reserve(row)), where=_where(row)
        )
        return holds if row["referenced"] else say("alternatives.unproven", told=holds)
    more = len(row["failing"]) - 1 + (1 if guard < 1.0 and row["failing"] else 0)
    where, least = _where(row), shown_reserve(least_reserve(row))
    told = say("alternatives.fails", where=where, reserve=least)
    if row["fails_by_margin_only"]:
        told = say("alternatives.fails_margin", where=where, reserve=least)
    if more > 0:
        told = say("alternatives.more", told=told, count=f"{more:d}")
    return told


def _where(row: Mapping[str, Any]) -> str:
    worst = row["tightest"]
    if row["reserves"]["buckling"] < worst["reserve"]:
        return say("alternatives.buckling")
    return say(f"verdict.{worst['kind']}") + ": " + str(worst["where"])


def _anew(row: Mapping[str, Any]) -> str:
    grams = f"{row['costs']['mass_g']['both']:+.1f} g".replace("-", MINUS)
    times = row["costs"]["sag_times"] or 0.0
    if row["safe"]:
        return say("alternatives.anew", grams=grams, times=times)
    return say("alternatives.anew_unsafe", grams=grams, times=times)
