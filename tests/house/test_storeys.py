"""The order of the trade is the order of the imports, and the contract that says so bites."""

import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from tests.house.tree import PACKAGE, ROOMS, ROOT


def _lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sysconfig.get_path("scripts")) / "lint-imports"), "--no-cache"]
    return subprocess.run(
        command,
        cwd=folder,
        env={"PYTHONPATH": str(folder / "src"), "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """The project's package and contracts in a folder of their own."""
    shutil.copytree(
        PACKAGE, tmp_path / "src" / "graduale", ignore=shutil.ignore_patterns("__pycache__")
    )
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contract_holds(copied: Path) -> None:
    done = _lint(copied)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("base/units.py", "import graduale.records.instrument"),
        ("words/numbers.py", "from graduale.cli import main"),
        ("store/out.py", "import graduale.prints.sheet"),
    ],
    ids=["upward", "to the top", "sideways"],
)
def test_the_contract_bites(copied: Path, module: str, line: str) -> None:
    target = copied / "src" / "graduale" / line.split()[1].split(".")[1]
    target.mkdir(exist_ok=True)
    for name in ("__init__.py", "sheet.py"):
        (target / name).touch()
    path = copied / "src" / "graduale" / module
    path.write_text(path.read_text() + f"\n{line}\n")
    done = _lint(copied)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "storeys BROKEN" in done.stdout


def test_a_room_that_the_contract_forgot_is_found(copied: Path) -> None:
    attic = copied / "src" / "graduale" / "attic"
    attic.mkdir()
    (attic / "__init__.py").write_text("")
    assert _lint(copied).returncode != 0


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_brings_nothing_with_it(room: str) -> None:
    code = (
        f"import sys; before = set(sys.modules); import graduale.{room}\n"
        "print(*sorted(set(sys.modules) - before))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["graduale", f"graduale.{room}"]


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_what_it_is_for(room: str) -> None:
    said = (PACKAGE / room / "__init__.py").read_text(encoding="utf-8")
    assert "omes in:" in said
    assert "oes out:" in said
    assert "May not know:" in said
