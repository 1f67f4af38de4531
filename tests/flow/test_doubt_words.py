"""The doubt in words and as bars: what is told follows the figures."""

from typing import Any

import pytest

from graduale.jobs.doubt_text import doubt_lines, effect_words, measure_words, worth_rows
from graduale.prints.pictures import picture_svg
from graduale.prints.sheet import Path, Text, flatten
from graduale.prints.worth import Bars, worth_picture
from graduale.thickness.measures import _LENGTHS
from graduale.words.catalogue import keys


def _measure(**more: Any) -> dict[str, Any]:
    plain = {"key": "weigh", "plate": "top", "mass_less": 0.5, "governs_less": 0.1}
    return plain | {"zones_less": 0.2, "let_go_g": 0.0} | more


def _document(costs_g: float, measures: list[dict[str, Any]]) -> dict[str, Any]:
    zones = {w: {"centre": [2.2, 2.9]} for w in ("top", "back")}
    doubt = {
        "confidence": 0.9,
        "mass_g": {"top": [39.0, 45.0], "back": [60.0, 70.0]},
        "tones_hz": {"top": [[90.0, 110.0]], "back": [[190.0, 210.0]]},
        "zones_mm": zones,
        "costs_g": costs_g,
        "measure": measures,
    }
    return {"doubt": doubt}


def test_the_lines_say_interval_confidence_cost_and_what_to_measure() -> None:
    told = " ".join(doubt_lines(_document(1.2, [_measure()]), "mm"))
    for part in ("90 %", "39.0 g to 45.0 g", "60.0 g to 70.0 g", "within 10 %", "costs 1.2 g"):
        assert part in told
    assert "weigh and measure the board of the top (takes 50 % of the doubt of the mass)" in told
    assert "2.2 mm to 2.9 mm" in told
    assert "0.087 in" in " ".join(doubt_lines(_document(1.2, []), "inch"))


def test_no_cost_and_nothing_to_measure_are_said() -> None:
    told = " ".join(doubt_lines(_document(0.01, []), "mm"))
    assert "costs no wood" in told
    assert "Nothing that can be measured" in told


def test_wood_let_go_comes_first() -> None:
    assert effect_words(_measure(let_go_g=0.4)).startswith("lets 0.4 g go, ")


def test_every_measure_has_words() -> None:
    names = {key for key, _ in _LENGTHS.values()}
    names |= {"weigh", "tap_along", "bend_across", "ring_angle", "runout", "tension"}
    assert names == {k.removeprefix("measure.") for k in keys() if k.startswith("measure.")}
    for name in names:
        assert measure_words(_measure(key=name), "mm")


def test_bars_are_as_long_as_their_shares() -> None:
    """Half of the doubt is half as long as all of it; nothing stands off the picture."""
    rows = [
        Bars("one", (1.0, 0.5, 0.0), "lets no wood go"),
        *worth_rows(_document(0, [_measure()]), "mm"),
    ]
    picture = worth_picture("Doubt", ("a", "b", "c"), rows)
    bars = [i for i in flatten(picture.items) if isinstance(i, Path) and i.fill is not None]
    wide = [max(u for u, _ in b.rings[0]) - min(u for u, _ in b.rings[0]) for b in bars[3:]]
    assert wide[0] == pytest.approx(2.0 * wide[1])
    assert wide[2:] == pytest.approx([0.1 * wide[0], 0.2 * wide[0], 0.5 * wide[0]])
    words = [i for i in flatten(picture.items) if isinstance(i, Text)]
    assert all(0.0 < t.u < picture.width_mm and 0.0 < t.v < picture.height_mm for t in words)
    assert "lets no wood go" in picture_svg(picture, "doubt")


def test_a_picture_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing to draw"):
        worth_picture("Doubt", ("a", "b", "c"), [])
