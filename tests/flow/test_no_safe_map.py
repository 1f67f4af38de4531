"""An instrument that no thickness can make safe: very shallow ribs, heavy strings."""

from pathlib import Path
from typing import Any

import pytest

from tests.flow.conftest import DecideOnce, Run
from tests.flow.reading_sheets import sheet_pages, with_words
from tests.flow.typed import NARROW, there, typed

pytestmark = pytest.mark.slow
HEAVY = {"1.50": "2.0", "1.08": "1.5", "0.80": "1.1", "0.62": "0.7"}


@pytest.fixture(scope="module")
def unsafe(decide_once: DecideOnce, shared_root: Path) -> Run:
    text = NARROW.read_text(encoding="utf-8").replace(
        "value = 22, plus_minus", "value = 10, spread"
    )
    for usual, heavy in HEAVY.items():
        text = text.replace(f"gauge = {usual}", f"gauge = {heavy}")
    path = shared_root / "shallow.toml"
    path.write_text(text, encoding="utf-8")
    return decide_once("shallow", path)


@pytest.fixture(scope="module")
def document(unsafe: Run) -> dict[str, Any]:
    assert unsafe.exit_code == 3, unsafe.stderr
    return unsafe.document


def test_it_says_first_what_fails_where_and_the_cure(unsafe: Run) -> None:
    assert unsafe.exit_code == 3
    lines = unsafe.stdout.splitlines()
    assert lines[2].startswith("NOT SAFE.")
    said = " ".join(" ".join(lines[2:]).split())
    fails = said.index("Fails: lengthwise on the body, whole body, between the end blocks:")
    assert fails < said.index("Cure: higher ribs") < said.index("thickness, mm")
    assert "FAILS" in unsafe.stdout
    assert "decide again" in lines[-1]
    assert "drill the scrap block" not in unsafe.stdout


def test_the_best_map_is_written_and_no_hole(unsafe: Run, document: dict[str, Any]) -> None:
    here = there(unsafe.folder)
    assert "decision.json" in here
    assert not [name for name in here if name.startswith("holes-")]
    assert document["safe"] is False
    assert document["guide_holes"] == []
    assert document["hole_plans"] == {}
    failing = document["failing"][0]
    assert failing["kind"] == "lengthwise"
    assert failing["reserve"] < 1.0
    for which in ("top", "back"):
        assert document["plates"][which]["mass_g"] > 10.0
        assert document["plates"][which]["verdicts"]["lengthwise"]["reserve"] < 1.0


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_sheet_is_marked_and_none_is_a_hole_sheet(unsafe: Run, paper: str) -> None:
    found = sheet_pages(unsafe.folder / f"sheets-{paper}.pdf")
    assert len(found) > 4
    assert len(with_words(found, "NOT SAFE")) == len(found)
    for words in ("Guide holes", "Test card", "Set the drill so"):
        assert with_words(found, words) == []
    assert with_words(found, "Reasons and cautions", "Fails: lengthwise")


def test_holes_are_refused_and_sheets_stay_marked(unsafe: Run, tmp_path: Path) -> None:
    done = typed(tmp_path, "holes", str(unsafe.folder), "--bit", "3", "--out", "holes")
    assert (done.returncode, done.stdout) == (2, "")
    assert "holds no safe map" in done.stderr.splitlines()[-1]
    assert there(tmp_path) == []
