"""Numbers and sentences as a maker reads them; the inch is 25.4 mm exactly (agreement of 1959)."""

from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from graduale.base import units
from graduale.words import numbers
from graduale.words.catalogue import has, say


def test_a_length_keeps_its_fineness_in_inches() -> None:
    assert numbers.length(2.54) == "2.5 mm"
    assert numbers.length(2.54, digits=2) == "2.54 mm"
    assert numbers.length(2.54, "inch") == "0.100 in"


def test_minus_is_a_minus_and_zero_has_none() -> None:
    assert numbers.number(-1.25, 1) == "−1.2"
    assert numbers.number(-0.04, 1) == "0.0"


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_not_finite_is_never_shown(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        numbers.number(value, 1)


def test_an_estimate_shows_its_ninety_percent_interval() -> None:
    """1.645 standard deviations on either side hold 90 % of a normal distribution (any table)."""
    assert numbers.estimate(341, 15 / 1.6449, "Hz") == "341 ± 15 Hz"
    assert numbers.estimate(2.5, 0.2 / 1.6449, "mm") == "2.50 ± 0.20 mm"
    assert numbers.estimate(62.04, 0.0, "g") == "62.0 g"
    assert NormalDist().inv_cdf(0.95) == pytest.approx(1.6449, abs=1e-4)


def test_units_stand_as_the_trade_writes_them() -> None:
    assert numbers.quantity(20.2, "°") == "20°"
    assert numbers.quantity(9, "%") == "9 %"


def test_say_obeys_the_units_asked_for() -> None:
    assert has("cli.cancelled")
    assert not has("cli.nothing-of-the-kind")
    assert say("cli.not_key_value", text="a=") == (
        "'a=' is not of the form name=value, e.g. body.length=355."
    )
    with pytest.raises(KeyError):
        say("cli.nothing-of-the-kind")
    with pytest.raises(KeyError):
        say("cli.not_key_value")


@given(st.floats(-1e6, 1e6))
def test_conversions_come_back(value: float) -> None:
    same = pytest.approx(value, rel=1e-12, abs=1e-12)
    assert units.mm_from_inch(units.inch_from_mm(value)) == same
    assert units.kg_m3_from_t_mm3(units.t_mm3_from_kg_m3(value)) == pytest.approx(value)
    assert units.g_from_t(units.t_from_g(value)) == pytest.approx(value)


def test_water_weighs_a_gram_a_cubic_centimetre() -> None:
    """1000 kg/m3; a cubic centimetre is 1000 mm3 (by definition of the units)."""
    assert units.g_from_t(units.t_mm3_from_kg_m3(1000) * 1000) == pytest.approx(1.0)
    assert units.kgf_from_n(9.80665) == pytest.approx(1.0)
