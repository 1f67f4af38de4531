"""One number as a maker writes it."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graduale.files.quantity import (
    ANGLE,
    DENSITY,
    FORCE,
    LENGTH,
    MODULUS,
    PLAIN,
    UNITS,
    Unreadable,
    read_quantity,
)
from graduale.records.notes import frequency_of


@pytest.mark.parametrize(
    ("raw", "dimension", "value"),
    [
        (60, LENGTH, 60.0),
        ("60", LENGTH, 60.0),
        ("60 mm", LENGTH, 60.0),
        ("60mm", LENGTH, 60.0),
        ("6,0 cm", LENGTH, 60.0),
        (".6 cm", LENGTH, 6.0),
        ("2.36 in", LENGTH, 59.944),
        ('2 3/8"', LENGTH, 60.325),
        ("3/8 in", LENGTH, 9.525),
        ("12 GPa", MODULUS, 12000.0),
        ("0.43 g/cm3", DENSITY, 430.0),
        ("158°", ANGLE, 158.0),
        ("8 kgf", FORCE, 78.4532),
        ("0.1", PLAIN, 0.1),
    ],
)
def test_a_number_with_or_without_unit(raw: object, dimension: str, value: float) -> None:
    """The inch is 25.4 mm by the agreement of 1959; the kilogram-force 9.80665 N (SI Brochure)."""
    assert read_quantity(raw, dimension, 1.0).value == pytest.approx(value, rel=1e-12)


def test_a_file_in_inches_scales_only_what_has_no_unit() -> None:
    assert read_quantity(2, LENGTH, 25.4).value == pytest.approx(50.8)
    assert read_quantity("50 mm", LENGTH, 25.4).value == pytest.approx(50.0)


def test_surely_within_becomes_one_standard_deviation() -> None:
    """JCGM 100:2008, 4.3.7: half width a, standard uncertainty a/√3."""
    for raw in ({"value": 60, "plus_minus": 1}, "60 ± 1 mm", {"value": "60 ± 1"}):
        assert read_quantity(raw, LENGTH, 1.0).spread == pytest.approx(1.0 / math.sqrt(3.0))
    told = read_quantity(
        {"value": 60, "spread": "0.1 in", "how": "photo", "source": "p. 3"}, LENGTH, 1.0
    )
    assert (told.spread, told.how, told.source) == (pytest.approx(2.54), "photo", "p. 3")


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (math.nan, "nan is no number"),
        (math.inf, "inf is no number"),
        ("nan", "is no length"),
        (10**400, "inf is no number"),
        (True, "is no length"),
        ([60], "is no length"),
        ("sixty", "is no length"),
        ("60 ells", "use mm, cm"),
        ("60 Hz", "use mm, cm"),
        ("1/0 in", "divides by zero"),
        ("60 61", "two numbers"),
        ({"spread": 1}, "has no value"),
        ({"value": 60, "spread": -1}, "below zero"),
        ({"value": 60, "spread": 1, "plus_minus": 1}, "keep one"),
        ({"value": 60, "how": "guessed"}, "measured, published"),
        ({"value": 60, "how": "derived"}, "measured, published"),
        ({"value": 60, "sprad": 1}, "'sprad' is not known"),
        ({"value": 60, "source": 3}, "quotation marks"),
        ("9" * 500, "is no length"),
    ],
)
def test_what_is_no_number_says_so(raw: object, says: str) -> None:
    with pytest.raises(Unreadable, match=says):
        read_quantity(raw, LENGTH, 1.0)


_KEYS = st.sampled_from(["value", "spread", "plus_minus", "how", "source", "x"])
_TOML = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(_TOML, st.sampled_from(sorted(UNITS)))
def test_anything_is_read_or_refused_in_a_sentence(raw: object, dimension: str) -> None:
    try:
        value = read_quantity(raw, dimension, 1.0).value
    except Unreadable:
        return
    assert math.isfinite(value)


@pytest.mark.parametrize(
    ("note", "pitch", "hz"),
    [
        ("G3", 440.0, 195.9977),
        ("d4", 440.0, 293.6648),
        ("E5", 440.0, 659.2551),
        ("G3", 415.0, 184.8615),
        ("D4", 415.0, 276.9793),
        ("E5", 415.0, 621.7974),
        ("C4", 440.0, 261.6256),
        ("Bb3", 440.0, 233.0819),
        ("A#3", 440.0, 233.0819),
    ],
)
def test_notes_in_equal_temperament(note: str, pitch: float, hz: float) -> None:
    """Twelve equal semitones from A4 (ISO 16: 440 Hz); figures as in any table of pitches."""
    assert frequency_of(note, pitch) == pytest.approx(hz, abs=1e-4)


@pytest.mark.parametrize("note", ["", "H3", "G", "G#b3", "33", "G3x"])
def test_no_note(note: str) -> None:
    assert frequency_of(note, 440.0) is None
