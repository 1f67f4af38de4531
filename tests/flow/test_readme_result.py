"""The result that README shows is the one that the demo gives."""

import re
from pathlib import Path

import pytest

from tests.flow.typed import ROOT

_ROW = re.compile(r"^(top|back) +((?:[0-9.]+ +)+[0-9.]+) g$", flags=re.M)


def _rows(text: str) -> dict[str, list[float]]:
    return {name: [float(v) for v in values.split()] for name, values in _ROW.findall(text)}


@pytest.mark.parametrize("which", ["top", "back"])
def test_readme_shows_what_the_demo_gives(which: str, decided_folder: Path) -> None:
    told = _rows((ROOT / "README.md").read_text(encoding="utf-8"))[which]
    found = _rows((decided_folder / "summary.txt").read_text(encoding="utf-8"))[which]
    # a last digit may differ between machines; 0.1 mm, 1 % of the mass
    assert told[:-1] == pytest.approx(found[:-1], abs=0.101)
    assert told[-1] == pytest.approx(found[-1], rel=0.01)


def test_the_rows_are_found_in_a_summary() -> None:
    text = "top      2.4   2.0   29.5 g\nthe top weighs: 32 g\nback     3.5   2.0   41.7 g"
    assert _rows(text) == {"top": [2.4, 2.0, 29.5], "back": [3.5, 2.0, 41.7]}
