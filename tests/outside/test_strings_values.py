"""Strings: tension, limits, and what the bridge feet bear."""

import math
from dataclasses import replace

import pytest

from graduale.base.findings import Refused
from graduale.records.instrument import Body, Bridge, Neck, String, Strings
from graduale.records.notes import frequency_of
from graduale.strings import tension
from graduale.strings.feet import foot_share
from graduale.strings.setup import setup_of
from tests.verification import Verified

GUT = [("E5", 0.62, 72.069, 64.112), ("A4", 0.75, 46.977, 41.791)]
GUT += [("D4", 1.03, 39.467, 35.110), ("G3", 1.25, 25.893, 23.034)]


@pytest.mark.parametrize(
    ("note", "at_440", "at_415"),
    [
        ("G3", 195.9977, 184.8615),
        ("D4", 293.6648, 276.9793),
        ("A4", 440.0, 415.0),
        ("E5", 659.2551, 621.7974),
    ],
)
def test_pitches(note: str, at_440: float, at_415: float) -> None:
    """Equal temperament on ISO 16 and on 415 Hz (computed apart)."""
    assert frequency_of(note, 440.0) == pytest.approx(at_440, abs=1e-4)
    assert frequency_of(note, 415.0) == pytest.approx(at_415, abs=1e-4)


def test_notes_with_signs_and_without_sense() -> None:
    """C#4 and Bb3 are a semitone from C4 and B3; 277.1826 and 233.0819 Hz (equal temperament)."""
    assert frequency_of("C#4", 440.0) == pytest.approx(277.1826, abs=1e-4)
    assert frequency_of("Bb3", 440.0) == pytest.approx(233.0819, abs=1e-4)
    assert frequency_of("H9x", 440.0) is None


@pytest.mark.parametrize(("note", "gauge", "n_440", "n_415"), GUT)
def test_gut_tensions(
    verified: Verified, note: str, gauge: float, n_440: float, n_415: float
) -> None:
    """T = mu (2 L f)^2, L 325 mm, gut of 1300 kg/m3 (computed apart)."""
    for pitch, printed in ((440.0, n_440), (415.0, n_415)):
        string = String(note, frequency_of(note, pitch) or 0.0, "gut", gauge, None)
        verified(
            f"gut {note}, gauge {gauge}, 325 mm, A = {pitch:g} Hz",
            tension.tension_n(string, 325.0),
            printed,
            source="T = μ (2 L f)²",
            status="C",
            abs=1e-3,
            unit="N",
        )


def test_steel_e_string() -> None:
    """Steel E .26 mm: 76.531 N at 440, 68.082 at 415, 1441.5 MPa (computed apart)."""
    string = String("E5", frequency_of("E5", 440.0) or 0.0, "steel", 0.26, None)
    assert tension.tension_n(string, 325.0) == pytest.approx(76.531, abs=1e-3)
    assert tension.stress_mpa(string, 325.0) == pytest.approx(1441.5, abs=0.1)
    low = replace(string, frequency_hz=frequency_of("E5", 415.0) or 0.0)
    assert tension.tension_n(low, 325.0) == pytest.approx(68.082, abs=1e-3)


def test_rule_of_the_string_makers(verified: Verified) -> None:
    """F L d = 49 sqrt(k) (Hz, m, mm, kgf) equals a density of 1300 exactly (published)."""
    string = String("A4", 440.0, "gut", 0.75, None)
    kgf = tension.tension_n(string, 325.0) / 9.80665
    verified(
        "F L d over the root of the pull in kgf",
        440.0 * 0.325 * 0.75 / math.sqrt(kgf),
        49.0,
        source="rule of the string makers, F L d = 49 √k",
        status="P",
        rel=1e-3,
    )


def test_gut_breaks_where_the_books_say(verified: Verified) -> None:
    """f L = 260 Hz m is 351 MPa at 1300 kg/m3; breaks between 240 and 280 (published)."""
    at_limit = String("E5", 800.0, "gut", 0.6, None)
    verified(
        "stress in a gut string at f L = 260 Hz m, the mean at which gut breaks",
        tension.stress_mpa(at_limit, 325.0) or 0.0,
        351.0,
        source="breaking limits of gut, f L 240-280 Hz m",
        status="P",
        abs=0.6,
        unit="MPa",
    )
    row = tension.materials()["gut"]
    assert row.low_mpa == pytest.approx(4 * 1300 * 240**2 * 1e-6, abs=0.1)
    assert row.high_mpa == pytest.approx(4 * 1300 * 280**2 * 1e-6, abs=0.1)


@pytest.mark.parametrize(
    ("frequency", "found"),
    [
        (659.0, ()),
        (770.0, (("warning", "string-near-limit"),)),
        (900.0, (("warning", "string-breaks"),)),
    ],
)
def test_limit_findings(frequency: float, found: tuple[tuple[str, str], ...]) -> None:
    """f L of 214, 250 and 292 Hz m against gut's 240 to 280 (published)."""
    strings = Strings(440.0, 325.0, (String("E5", frequency, "gut", 0.62, None),))
    assert tuple((f.level, f.key) for f in tension.limit_findings(strings)) == found


def test_packet_figure_and_given_mass_win() -> None:
    wound = String("G3", 196.0, "wound", None, 2.6)
    assert tension.tension_n(wound, 325.0) == pytest.approx(2.6e-3 * (0.65 * 196.0) ** 2)
    assert tension.tension_n(replace(wound, tension_n=44.0), 325.0) == 44.0
    with pytest.raises(Refused) as caught:
        tension.tension_n(String("G3", 196.0, "wound", 0.8, None), 325.0)
    assert caught.value.findings[0].key == "string-mass"


@pytest.mark.parametrize("string", [("moonlight", 0.6), ("gut", -1.0), ("gut", float("nan"))])
def test_impossible_strings_are_refused(string: tuple[str, float]) -> None:
    with pytest.raises(Refused):
        tension.tension_n(String("A4", 440.0, string[0], string[1], None), 325.0)


@pytest.mark.parametrize(("number", "share"), [(0, 0.0), (1, 1 / 3), (2, 2 / 3), (3, 1.0)])
def test_feet_shares_of_hart(verified: Verified, number: int, share: float) -> None:
    """Hart, The Violin (1884): four strings from foot to foot, the first all on the treble foot,
    the second two thirds, the third one third, the fourth none (published)."""
    y = -15.0 + 10.0 * number
    verified(
        f"share of string {number + 1} on the bass foot",
        foot_share(y, 15.0, -15.0),
        share,
        source="Hart, The Violin, 1884",
        status="P",
        abs=1e-9,
    )


def test_bridge_force_of_hart(verified: Verified) -> None:
    """Hart 1884: at a bend of 25.68 degrees a string presses with 4/9 of its tension."""
    bend = math.radians(25.68) / 2
    height = 130.0 * math.tan(bend)
    body = Body(300, 100, 60, 110, 240, 170, 60, 190, 120, 90, 100, 30, 30, 1, 2.5, 170)
    bridge = Bridge(130.0, height, 40.0, 0.0, 15.0, -15.0, 8.0, 3.0, None)
    string = String("A4", 440.0, "gut", 0.75, None)
    strings = Strings(440.0, math.hypot(130.0, height), (string,))
    forces = setup_of(strings, bridge, Neck(0, 12.0, 16, 12.0), body, 12.0)
    assert forces.break_angle_deg == pytest.approx(180.0 - 25.68)
    assert forces.tail_ratio == 1.0
    verified(
        "press over tension at a bend of 25.68°",
        forces.press_total_n / forces.tension_total_n,
        4 / 9,
        source="Hart, The Violin, 1884",
        status="P",
        rel=5e-4,
    )


@pytest.mark.parametrize(
    ("tension_n", "angle", "low", "high"), [(200, 158, 75, 80), (220, 157, 85, 91)]
)
def test_press_of_a_violin(tension_n: float, angle: float, low: float, high: float) -> None:
    """200 to 220 N at 157 to 158 degrees press 76 to 88 N: 2 T sin(half the bend), within 3 %."""
    body = Body(355, 168, 112, 206, 290, 197, 73, 223, 143, 155, 185, 30, 30, 1.1, 2.5, 195)
    bridge = Bridge(160.0, 33.0, 41.5, 33.5, 15.0, -15.0, 11.0, 4.0, float(angle))
    one = String("A4", 440.0, "wound", None, None, tension_n / 4)
    forces = setup_of(Strings(440.0, 328.0, (one,) * 4), bridge, Neck(6, 22, 16.5, 8), body, 15.5)
    assert low <= forces.press_total_n <= high
    check = 2 * tension_n * math.sin(math.radians(180 - angle) / 2)
    assert forces.press_total_n == pytest.approx(check, rel=0.03)
