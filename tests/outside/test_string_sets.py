"""Sets of strings: pulls against T = mu (2 L f)^2 worked out apart; other notes; limits."""

from dataclasses import replace

import pytest

from graduale.base.findings import Refused
from graduale.records.instrument import String, Strings
from graduale.records.notes import frequency_of
from graduale.strings.sets import restrung, sets, strains


def _strings(notes: str, pitch: float = 440.0, length_mm: float = 325.0) -> Strings:
    rows = tuple(
        String(n, frequency_of(n, pitch) or 0.0, "wound", None, 1.0) for n in notes.split()
    )
    return Strings(pitch, length_mm, rows)


@pytest.mark.parametrize(
    ("pitch", "pulls"),
    [(440.0, (25.893, 39.467, 46.977, 72.069)), (415.0, (23.034, 35.110, 41.791, 64.112))],
)
def test_gut(pitch: float, pulls: tuple[float, ...]) -> None:
    """Plain gut 1.25, 1.03, 0.75, 0.62 on 325 mm, density 1300 (computed apart, status C)."""
    found = strains(restrung(_strings("G3 D4 A4 E5", pitch), "gut"))
    assert [s.tension_n for s in found] == pytest.approx(pulls, abs=1e-3)


def test_steel_e_string_and_its_limit() -> None:
    """Steel 0.26 on 325 mm: 76.531 N, 1441.5 MPa (computed apart); music wire breaks from about
    2000 MPa (from memory)."""
    e = strains(restrung(_strings("G3 D4 A4 E5"), "steel"))[-1]
    assert e.tension_n == pytest.approx(76.531, abs=1e-3)
    assert e.stress_mpa == pytest.approx(1441.5, abs=0.1)
    assert e.share == pytest.approx(1441.5 / 2000.0, abs=1e-4)


def test_gut_breaks_where_f_times_l_says_so() -> None:
    """Gut breaks at f L of 240 to 280 Hz m (published, quoted): an E of 659.26 Hz on 364 mm has
    240.0, so it stands just at the lower limit."""
    e = strains(restrung(_strings("E5", length_mm=364.05), "gut"))[0]
    assert e.share == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(
    ("kind", "low", "high"), [("gut", 150.0, 190.0), ("synthetic", 200.0, 230.0)]
)
def test_whole_sets_pull_what_the_trade_says(kind: str, low: float, high: float) -> None:
    """From memory: a modern set 200 to 230 N at 440 Hz, gut at 415 Hz 150 to 190 N, on 328 mm."""
    pitch = 415.0 if kind == "gut" else 440.0
    set_ = strains(restrung(_strings("G3 D4 A4 E5", pitch, 328.0), kind))
    assert low < sum(s.tension_n for s in set_) < high


def test_a_note_that_the_set_has_not_pulls_as_the_nearest_does() -> None:
    """F4 stands nearer to D4 (a minor third) than to A4 (a major third): the D's pull."""
    d, f = (strains(restrung(_strings(n), "gut"))[0] for n in ("D4", "F4"))
    assert f.tension_n == pytest.approx(d.tension_n, rel=1e-9)
    assert f.gauge_mm is not None
    assert f.gauge_mm / 1.03 == pytest.approx(2.0 ** (-3.0 / 12.0), rel=1e-6)


def test_a_note_far_from_the_set_is_refused() -> None:
    with pytest.raises(Refused, match="no string within a fifth of C2"):
        restrung(_strings("C2 G2"), "steel")


def test_an_unknown_set_is_refused_with_the_known_ones() -> None:
    with pytest.raises(Refused, match="use one of: gut, steel, synthetic"):
        restrung(_strings("A4"), "silk")


def test_a_packet_tension_gives_way_to_the_set() -> None:
    strings = _strings("A4")
    given = replace(strings, strings=(replace(strings.strings[0], tension_n=500.0),))
    assert strains(restrung(given, "gut"))[0].tension_n == pytest.approx(46.977, abs=1e-3)


def test_every_set_names_its_source() -> None:
    assert all(s.source for s in sets().values())
