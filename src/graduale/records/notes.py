"""Names of notes to frequency in equal temperament."""

import re

_STEPS = {"C": -9, "D": -7, "E": -5, "F": -4, "G": -2, "A": 0, "B": 2}
_NOTE = re.compile(r"^([A-Ga-g])(#|b|♯|♭)?(-?\d)$")


def frequency_of(note: str, pitch_a_hz: float) -> float | None:
    """Frequency (Hz) of a note written like 'G3', 'c#4' or 'Bb2'; None when it is no such note.

    Equal temperament from A4 = `pitch_a_hz` (ISO 16 fixes A4 = 440 Hz); octave numbers of
    scientific pitch notation, middle C = C4.
    """
    found = _NOTE.match(note.strip())
    if found is None:
        return None
    letter, sign, octave = found.groups()
    step = _STEPS[letter.upper()] + {"#": 1, "♯": 1, "b": -1, "♭": -1, None: 0}[sign]
    return float(pitch_a_hz * 2.0 ** (step / 12.0 + int(octave) - 4))
