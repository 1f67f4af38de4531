"""Alternatives as a screen of text and as CSV."""

import csv
import io
import textwrap
from collections.abc import Mapping
from typing import Any

from graduale.jobs.alternatives_document import name_of, reserve_words, sentence
from graduale.jobs.alternatives_solve import RESERVES
from graduale.prints.figures import figure, short_unit
from graduale.records.instrument import Instrument
from graduale.words.catalogue import say
from graduale.words.numbers import Units, number

WIDTH = 100
NAME = 24


def text_of(found: Mapping[str, Any], instrument: Instrument) -> str:
    """Table, then a sentence for each alternative."""
    units = instrument.workshop.units
    rows = found["alternatives"]
    lines = [say("alternatives.title", name=found["instrument"], digest=found["decision_digest"])]
    lines += ["", *_heads(units)]
    for row in rows:
        lines.append(_line(row, name_of(row, units), units))
        if row["redecided"] is not None:
            lines.append(
                _line(
                    row["redecided"] | {"clash": None},
                    "  " + say("alternatives.decided_anew"),
                    units,
                )
            )
    lines.append("")
    for row in rows:
        lines += wrapped(sentence(row, rows[0], units))
    lines += ["", *wrapped(say("alternatives.reading")), *wrapped(say("alternatives.estimate"))]
    return "\n".join(lines)


def _heads(units: Units) -> list[str]:
    over = f"{'':<{NAME}}{'mass, g':^19}{'sag':>6}{'tone, Hz':>11}{'across':>10}{'local':>10}"
    under = f"{'reserve: below 1 fails':<{NAME}}{'top':>6}{'back':>6}{'both':>7}"
    under += f"{short_unit(units):>6}{'top':>5}{'back':>6}"
    names = "".join(f"{n:>5}" for n in ("top", "back", "top", "back", "long", "buck"))
    return [over, under + names]


def _line(row: Mapping[str, Any], name: str, units: Units) -> str:
    name = name if len(name) < NAME else name[: NAME - 2] + "…"
    if row["clash"] is not None:
        return f"{name:<{NAME + 2}}{say('alternatives.no_fit')}"
    mass, both = row["mass_g"], row["costs"]["mass_g"]["both"]
    tones = row["main_tone"]
    told = "0" if abs(both) < 0.05 else ("+" if both > 0 else "") + number(both, 1)
    cells = f"{mass['top']:>6.1f}{mass['back']:>6.1f}{told:>7}"
    sag = figure(row["sag_mm"]["bass"]["at_once"], units, 2)
    cells += f"{sag if units == 'mm' else sag.replace('0.', '.', 1):>6}"
    cells += f"{tones['top']['hz']:>5.0f}{tones['back']['hz']:>6.0f}"
    cells += "".join(f"{reserve_words(row['reserves'][k]):>5}" for k in RESERVES)
    mark = "" if row["safe"] else " " + say("alternatives.not_safe")
    return f"{name:<{NAME}}{cells}{mark}"


def wrapped(told: str) -> list[str]:
    """A sentence on lines of at most 100 columns."""
    return textwrap.wrap(
        told, WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False
    )


def table_csv(found: Mapping[str, Any]) -> str:
    """One line an alternative, figures in mm, g, Hz, N; comma-separated, first line the names."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in found["alternatives"]:
        writer.writerow(_record(row, row, row["name"]))
        if row["redecided"] is not None:
            name = f"{row['name']}, {say('alternatives.decided_anew')}"
            writer.writerow(_record(row, row["redecided"], name))
    return out.getvalue()


COLUMNS = (
    "key", "name", "group", "safe", "top_g", "back_g", "change_g", "sag_bass_mm", "sag_times",
    "top_tone_hz", "back_tone_hz", *(f"reserve_{k.replace(' ', '_')}" for k in RESERVES),
    "tension_n", "press_n", "tightest",
)  # fmt: skip


def _record(row: Mapping[str, Any], of: Mapping[str, Any], name: str) -> list[Any]:
    head = [row["key"], name, row["group"]]
    if row["clash"] is not None:
        return [*head, "no_fit", *[""] * (len(COLUMNS) - 5), row["clash"]]
    cost, tone = of["costs"], of["main_tone"]
    return [
        *head,
        "yes" if of["safe"] else "no",
        of["mass_g"]["top"],
        of["mass_g"]["back"],
        cost["mass_g"]["both"],
        of["sag_mm"]["bass"]["at_once"],
        cost["sag_times"],
        tone["top"]["hz"],
        tone["back"]["hz"],
        *("" if of["reserves"][k] is None else of["reserves"][k] for k in RESERVES),
        of["strings"]["tension_total_n"],
        of["strings"]["press_total_n"],
        of["tightest"]["where"],
    ]
