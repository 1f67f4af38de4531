"""What the taps leave to remark on, and which one more measurement would help most."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.findings import Finding
from graduale.readings.evidence import MASS_SPREAD, Evidence
from graduale.readings.identify import Identified
from graduale.readings.tapped import NUMBERS
from graduale.words.catalogue import say

UNLIKE = 2.5  # deviations of the wood before the taps
POOR = 2.0  # misfit in deviations
ASKED = ("density", "EL", "ER", "GLR")  # what the taps are for
_REACH = 1.6  # times the highest tap: further up nobody hears single modes [own]
_USUAL_HZ = 400.0


def remarks(found: Identified, evidence: Evidence, where: str) -> tuple[Finding, ...]:
    """Taps that no mode explains, modes that were not heard between, wood unlike its kind, a poor
    fit; `where` heads the sentences."""
    return (
        *_unknown_names(found, evidence, where),
        *_unexplained(found, evidence, where),
        *_unheard(found, evidence, where),
        *_otherwise(found, evidence, where),
        *_unlike(found, where),
        *_poor(found, where),
    )


def _unknown_names(found: Identified, evidence: Evidence, where: str) -> list[Finding]:
    have = tuple(dict.fromkeys(m.name for m in found.modes))
    wrong = [t.name for t in evidence.taps if t.name is not None and t.name not in have]
    modes = ", ".join(have[:8])
    return [
        Finding("warning", "unknown-mode", where, say("wood.name_unknown", name=n, modes=modes))
        for n in wrong
    ]


def _unexplained(found: Identified, evidence: Evidence, where: str) -> list[Finding]:
    out = []
    for tap, mode in zip(evidence.taps, found.mode_of.tolist(), strict=True):
        if mode >= 0:
            continue
        near = min(found.modes, key=lambda m: abs(np.log(m.hz / tap.hz)))
        sentence = say("wood.unexplained", hz=tap.hz, near=near.hz, name=near.name)
        out.append(Finding("warning", "tone-unexplained", where, sentence))
    return out


def _unheard(found: Identified, evidence: Evidence, where: str) -> list[Finding]:
    hz = [t.hz for t in evidence.taps]
    silent = [m for m in found.modes if m.tap < 0 and min(hz) < m.hz < max(hz)]
    if not silent:
        return []
    which = ", ".join(f"{m.name} {m.hz:.0f}" for m in silent)
    return [Finding("note", "mode-not-heard", where, say("wood.unheard", modes=which))]


def _otherwise(found: Identified, evidence: Evidence, where: str) -> list[Finding]:
    """Where the taps could nearly as well be other modes, and what wood that would be."""
    if not found.rivals:
        return []
    rival = found.rivals[0]
    other = [
        f"{tap.hz:g} {rival.names[theirs] if theirs >= 0 else '-'}"
        for tap, ours, theirs in zip(evidence.taps, found.mode_of, rival.mode_of, strict=True)
        if ours != theirs
    ]
    at = {n: f"{np.exp(rival.mean[NUMBERS.index(n)]):.0f}" for n in ("EL", "ER", "GLR")}
    wood = ", ".join(f"{n} {v}" for n, v in at.items())
    odds = f"{rival.odds:.0f}"
    sentence = say("wood.otherwise", taps=", ".join(other), wood=wood, odds=odds)
    return [Finding("warning", "read-otherwise", where, sentence)]


def _unlike(found: Identified, where: str) -> list[Finding]:
    """Numbers that the taps put far off the kind of wood: rather a slip than a rare board."""
    out = []
    off = (found.mean - found.before) / np.sqrt(np.diag(found.before_covariance))
    for name, deviations in zip(NUMBERS, off.tolist(), strict=True):
        if abs(deviations) > UNLIKE:
            sentence = say("wood.unlike", what=name, deviations=f"{abs(deviations):.1f}")
            out.append(Finding("warning", "unlike-its-kind", where, sentence))
    return out


def _poor(found: Identified, where: str) -> list[Finding]:
    if found.misfit <= POOR:
        return []
    sentence = say("wood.poor", misfit=f"{found.misfit:.1f}")
    return [Finding("warning", "poor-fit", where, sentence)]


@dataclass(frozen=True, eq=False)
class Helps:
    """One more measurement, and the spread (relative) of each number once it is made."""

    kind: Literal["tone", "weight", "thickness"]
    mode: int  # of a tone, else -1
    spread: dict[str, float]
    gain: float  # sum of the logarithms of spreads that it takes away, over ASKED


def helps_most(found: Identified, evidence: Evidence) -> tuple[Helps, ...]:
    """Further measurements, the most helpful first: modes that were not heard, the weight, and the
    thickness known twice as well."""
    top = _REACH * max([t.hz for t in evidence.taps], default=_USUAL_HZ)
    out = []
    for k, mode in enumerate(found.modes):
        if mode.tap < 0 and mode.hz < top:
            deviation = float(np.hypot(evidence.model_spread, evidence.hertz_spread / mode.hz))
            out.append(_with(found, "tone", k, found.slopes[k], deviation))
    if evidence.mass_g is None:
        out.append(_with(found, "weight", -1, found.mass_slopes, MASS_SPREAD))
    thickness = (np.array(NUMBERS) == "thickness").astype(np.float64)
    deviation = evidence.thickness_spread / np.sqrt(3.0)  # halves a spread that stands alone
    out.append(_with(found, "thickness", -1, thickness, deviation))
    return tuple(sorted(out, key=lambda h: -h.gain))


def _with(
    found: Identified,
    kind: Literal["tone", "weight", "thickness"],
    mode: int,
    row: Floats,
    deviation: float,
) -> Helps:
    """The posterior once a number with slopes `row` (9,) is measured to `deviation`."""
    seen = found.covariance @ row
    after = found.covariance - np.outer(seen, seen) / (deviation**2 + float(row @ seen))
    spread = dict(zip(NUMBERS, np.sqrt(np.diag(after)).tolist(), strict=True))
    gain = sum(float(np.log(found.spread[n] / spread[n])) for n in ASKED)
    return Helps(kind, mode, spread, gain)
