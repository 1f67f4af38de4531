"""The page of verification is written from tests that passed, and a wrong value fails its test."""

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.house.tree import ROOT

_TESTS = '''"""Some section.

More.
"""

def test_one(verified):
    verified("pi", 3.1416, 3.14159265, source="Archimedes", status="P", rel=1e-4)
    verified("zero", 1e-9, 0.0, source="by symmetry", status="C", abs=1e-6, unit="mm")
    verified.beside("back", 3.3, 3.0, source="a book", status="practice", reason="Other wood",
                    unit="mm")

def test_two(verified):
    verified("pi again", {ours}, 3.14159265, source="Archimedes", status="P", rel=1e-4)
'''


def _run(folder: Path, ours: str, *more: str) -> subprocess.CompletedProcess[str]:
    (folder / "test_it.py").write_text(_TESTS.replace("{ours}", ours))
    command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.verification"]
    command += ["--rootdir", str(folder), "-c", os.devnull, "--verification", "page.md", ".", *more]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=folder, env=env, capture_output=True, text=True, check=False)


def test_the_page_shows_each_value_with_its_gap(tmp_path: Path) -> None:
    done = _run(tmp_path, "3.1415", "-n", "2")  # rows come back from workers
    assert done.returncode == 0, done.stdout
    lines = (tmp_path / "page.md").read_text(encoding="utf-8").splitlines()
    assert "## Some section" in lines
    assert "| pi | 3.1416 | 3.1416 | +0.00 % | ± 0.01 % | Archimedes | published |" in lines
    assert "| zero | 1e-09 mm | 0 mm | +1e-09 | ± 1e-06 | by symmetry | computed apart |" in lines
    assert (
        "| back. Other wood | 3.3 mm | 3 mm | +10.00 % |  | a book | common practice, no source |"
    ) in lines


def test_a_wrong_or_endless_value_fails_and_writes_no_page(tmp_path: Path) -> None:
    for ours in ("3.2", "float('nan')"):
        done = _run(tmp_path, ours)
        assert done.returncode == 1
        assert "1 failed, 1 passed" in done.stdout
    assert not (tmp_path / "page.md").exists()


def test_the_page_holds_forty_published_values_from_many_sections() -> None:
    """Rows whose value was read in print; distinct by what and value, not one table's alone."""
    page = (ROOT / "docs" / "verification.md").read_text(encoding="utf-8")
    published, section = set(), ""
    for line in page.splitlines():
        section = line[3:] if line.startswith("## ") else section
        cells = [c.strip() for c in re.split(r"(?<!\\)\|", line)]
        if len(cells) == 9 and cells[7] == "published" and cells[6]:
            published.add((section, cells[1], cells[3]))
    assert len(published) >= 40
    assert len({s for s, _, _ in published}) >= 6
