"""A second instrument, through `new`, `check`, `decide`, `sheets` as its maker would go.

Its dimensions are drawn by a seed inside the usual ranges (`graduale.jobs.seeded`); four are left
out, two are typed in inches.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from graduale.jobs.seeded import LEFT_OUT, dimensions
from tests.flow.conftest import DecideOnce, Run
from tests.flow.reading_sheets import plate_on, sheet_pages, with_words
from tests.flow.typed import Done, typed

pytestmark = pytest.mark.slow
SEED, KIND = 6, "narrow-fiddle"
IN_INCHES = ("body.lower_width", "back.arch.crown")
MISSING = ("body.rib_height_lower", "top.arch.crown", "top.arch.edge", "strings.length")


@pytest.fixture(scope="module")
def drawn() -> dict[str, str]:
    kind, found = dimensions(SEED)
    assert kind == KIND
    return found


@pytest.fixture(scope="module")
def written(drawn: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Done]:
    """The new file, and what `new` said."""
    folder = tmp_path_factory.mktemp("second")
    words = []
    for key, value in drawn.items():
        inches = f"{float(value) / 25.4:.4f} in" if key in IN_INCHES else value
        words.append(f"{key}={inches}")
    return folder / "second.toml", typed(folder, "new", KIND, *words, "--out", "second.toml")


@pytest.fixture(scope="module")
def second(written: tuple[Path, Done], decide_once: DecideOnce) -> Run:
    return decide_once("second", written[0])


@pytest.fixture(scope="module")
def document(second: Run) -> dict[str, Any]:
    assert second.exit_code == 0, second.stderr
    return second.document


def test_new_says_what_is_given_and_what_comes_next(written: tuple[Path, Done]) -> None:
    path, done = written
    assert (done.returncode, done.stderr) == (0, "")
    assert "6 values given" in done.stdout
    assert f"graduale check {path.name}" in done.stdout
    text = path.read_text(encoding="utf-8")
    assert 'lower_width = "4.1063 in"' in text
    assert len(MISSING) == LEFT_OUT
    for key in ("rib_height_lower", "crown", "edge"):
        assert re.search(rf"^# {key} = .*assumed$", text, flags=re.M), key


def test_check_names_what_is_missing(written: tuple[Path, Done]) -> None:
    path, _ = written
    done = typed(path.parent, "check", path.name)
    assert (done.returncode, done.stderr) == (0, "")
    assert "To mend (0)" in done.stdout
    for key in MISSING:
        assert re.search(rf"^  {re.escape(key)} = \S+: ", done.stdout, flags=re.M), key
    asked = done.stdout[done.stdout.index("Worth measuring first") :]
    assert "top.arch.crown: assumed so far." in asked
    assert "top.wood.board: weigh, measure and tap the top's board." in asked
    assert "steeper than a plate is carved" not in done.stdout


def test_decide_reports_it_like_the_first(second: Run, document: dict[str, Any]) -> None:
    assert document["safe"] is True
    assert document["instrument"] == f"Seeded body {SEED}, invented"
    said = " ".join(second.stdout.split())
    for words in (
        "What limits the top", "What limits the back", "usual about 4 left", "usual about 3",
        "usual about 5 in the middle", "values are assumed by kind", "top.arch.crown",
    ):  # fmt: skip
        assert words in said, words
    for which in ("top", "back"):
        plate = document["plates"][which]
        assert 1.9 < plate["summary_mm"]["lower bout"] <= plate["summary_mm"]["centre"] < 6.0
        assert min(v["reserve"] for v in plate["verdicts"].values()) >= 1.0


def test_its_sheets_show_its_own_measures(
    second: Run, document: dict[str, Any], drawn: dict[str, str], tmp_path: Path
) -> None:
    """The plate on paper is as long and wide as was typed; every hole has its mark and setting."""
    done = typed(tmp_path, "sheets", str(second.folder), "--out", "again", "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    found = sheet_pages(tmp_path / "again" / "sheets-A4.pdf")
    size = float(drawn["body.lower_width"]), float(drawn["body.length"])
    for page in with_words(found, "Graduation map"):
        assert plate_on(page).size == pytest.approx(size, abs=0.15)
    for which in ("top", "back"):
        sheets = with_words(found, f"{which.upper()} plate", "Guide holes, paste inside")
        told = {w.split()[0] for page in sheets for w, _, _ in page.words if w.strip()}
        holes = [h for h in document["guide_holes"] if h["plate"] == which]
        assert len(holes) > 60
        assert {h["id"] for h in holes} <= told
        cards = " ".join(p.text for p in with_words(found, f"{which.upper()} plate", "Test card"))
        for group in document["hole_plans"][which]["groups"]:
            assert f"{group['setting_mm']:.1f}" in cards
    assert json.loads((tmp_path / "again" / "decision.json").read_bytes()) == document
