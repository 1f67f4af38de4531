"""What was typed for `wood`, as numbers; one sentence for each figure that cannot be."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from graduale.base.findings import Finding, Refused, refuse
from graduale.files.quantity import HERTZ, LENGTH, MASS, Unreadable, read_quantity
from graduale.readings.current import State
from graduale.readings.evidence import Tap
from graduale.records.instrument import PlateName
from graduale.words.catalogue import say

TONES, WEIGHT, BOARD = "--tones", "--mass", "--board"
LEAST_HZ, MOST_HZ, MOST_TONES = 15.0, 3000.0, 12
LEAST_G, MOST_G = 1.0, 5000.0
LEAST_MM, MOST_MM = 1.0, 2000.0
SAME = 0.004  # tones closer than this are one tone heard twice


@dataclass(frozen=True)
class Typed:
    """Tones and weight as text, and where the thickness is known from: one of a readings file, the
    folder of a decision, or length x width x thickness of a flat board."""

    plate: PlateName
    tones: tuple[str, ...]
    mass: str | None = None
    readings: Path | None = None
    decision: Path | None = None
    board: tuple[str, ...] | None = None
    state: State | None = None


def taps_of(tokens: Sequence[str]) -> tuple[Tap, ...]:
    """'168', 'X=168', '168,341': tones in the order typed. Errors: Refused, with a sentence for
    every one that cannot be."""
    parts = [p.strip() for token in tokens for p in token.split(",") if p.strip()]
    wrong: list[Finding] = []
    taps: list[Tap] = []
    for part in parts:
        name, _, number = part.rpartition("=")
        try:
            hz = number_of(number, HERTZ, TONES)
        except Refused as refused:
            wrong += refused.findings
            continue
        fault = _impossible(hz, taps)
        if fault:
            wrong.append(Finding("error", "bad-tone", TONES, fault))
        taps.append(Tap(hz, name.strip() or None))
    if not wrong and not 1 <= len(taps) <= MOST_TONES:
        sentence = say("wood.tones_count", count=len(taps), most=MOST_TONES)
        wrong.append(Finding("error", "tones-count", TONES, sentence))
    if wrong:
        raise Refused(wrong)
    return tuple(taps)


def _impossible(hz: float, before: Sequence[Tap]) -> str:
    """Why a tone cannot be; empty when it can."""
    if not LEAST_HZ <= hz <= MOST_HZ:
        return say("wood.tone_range", hz=f"{hz:g}", least=LEAST_HZ, most=MOST_HZ)
    for tap in before:
        if abs(np.log(tap.hz / hz)) < SAME:
            return say("wood.tone_twice", hz=f"{hz:g}", other=f"{tap.hz:g}")
    return ""


def mass_of(text: str | None) -> float | None:
    """Grams. Errors: Refused."""
    if text is None:
        return None
    grams = number_of(text, MASS, WEIGHT)
    if not LEAST_G <= grams <= MOST_G:
        sentence = say("wood.mass_range", given=f"{grams:g}", least=LEAST_G, most=MOST_G)
        raise refuse("impossible-mass", WEIGHT, sentence)
    return grams


def board_size(texts: Sequence[str]) -> tuple[float, float, float]:
    """Length along the grain, width, thickness, mm. Errors: Refused."""
    length, width, thickness = (number_of(text, LENGTH, BOARD) for text in texts)
    possible = all(LEAST_MM <= v <= MOST_MM for v in (length, width, thickness))
    if not possible or thickness > 0.25 * min(length, width):
        raise refuse("impossible-board", BOARD, say("wood.board_range"))
    return length, width, thickness


def number_of(text: str, dimension: str, where: str) -> float:
    """A number with or without its unit. Errors: Refused."""
    try:
        return read_quantity(text.strip(), dimension, 1.0).value
    except Unreadable as fault:
        raise refuse("bad-number", where, f"{fault}.") from None
