"""One screen of text from what the taps say about the wood."""

import textwrap
from collections.abc import Mapping
from typing import Any

from graduale.words.catalogue import say

_WIDTH = 100
_MOST_FINDINGS = 5
_LABELS = {"density": "density", "nu_LR": "ratio nu_LR", "thickness": "thickness ×"}
Doc = Mapping[str, Any]


def text_of(told: Doc, out: str | None) -> str:
    """Wood before and after, which tap is which mode, remarks, what would help most, what next."""
    lines = [say("wood.head", **{k: told[k] for k in ("instrument", "plate", "species")})]
    lines += _wrapped(_what(told))
    lines += ["", *_wood(told), "", *_taps(told), ""]
    lines += _wrapped(say("wood.fit", misfit=f"{told['misfit']:.1f}"))
    for one in told["findings"][:_MOST_FINDINGS]:
        lines += _wrapped(f"{one['where']}: {one['sentence']}")
    lines += _wrapped(_help(told))
    lines += _wrapped(say("wood.follow"))
    last = say("wood.use") if out is None else say("wood.written", out=out, plate=told["plate"])
    return "\n".join([*lines, *_wrapped(last)])


def _what(told: Doc) -> str:
    """What was tapped."""
    if told["thickness_from"] == "board":
        return say("wood.of_board")
    if told["state"] == "before_holes":
        return say("wood.of_before")
    return say("wood.of_cut") if told["state"] == "holes_cut" else say("wood.of_finished")


def _wrapped(sentence: str) -> list[str]:
    return textwrap.wrap(sentence, _WIDTH, subsequent_indent="  ")


def _wood(told: Doc) -> list[str]:
    rows = [say("wood.columns")]
    for name, one in told["wood"].items():
        unit = one["unit"]
        before, after = _number(one["before"], unit), _number(one["after"], unit)
        spreads = f"± {100 * one['spread_before']:>3.0f} %", f"± {100 * one['spread']:>4.1f} %"
        label = _LABELS.get(name, name)
        rows.append(f"{label:<13}{before:>9} {spreads[0]:<8}{after:>9} {spreads[1]:<9}{unit}")
    return rows


def _number(value: float, unit: str) -> str:
    return f"{value:.3f}" if not unit else f"{value:.0f}"


def _taps(told: Doc) -> list[str]:
    rows = [say("wood.tap_columns")]
    for tap in told["taps"]:
        if tap["mode"] is None:
            rows.append(f"{tap['hz']:>8.1f}  {say('wood.no_mode')}")
            continue
        rows.append(
            f"{tap['hz']:>8.1f}  {tap['number']:>2}  {tap['mode']:<7}{tap['computed_hz']:>9.1f}"
            f"{100 * tap['gap']:>+8.1f} %{tap['overlap']:>9.2f}"
        )
    mass = told["mass_g"]
    if mass["weighed"] is not None:
        rows.append(say("wood.weighed", weighed=mass["weighed"], computed=mass["computed"]))
    return rows


def _help(told: Doc) -> str:
    best = told["would_help"][0]
    spread = {n: f"{100 * v:.1f} %" for n, v in best["spread"].items()}
    then = ", ".join(f"{n} ± {v}" for n, v in spread.items() if n != "density")
    if best["what"] == "tone":
        return say("wood.help_tone", name=best["mode"], hz=best["near_hz"], then=then)
    if best["what"] == "weight":
        return say("wood.help_weight", density=spread["density"])
    return say("wood.help_thickness", then=then)
