"""The command as a maker types it: `new` in a process of its own, good and bad."""

import subprocess
import sys
import sysconfig
import tomllib
from pathlib import Path

import pytest

GRADUALE = str(Path(sysconfig.get_path("scripts")) / "graduale")


def _type(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [GRADUALE, *words], cwd=folder, capture_output=True, text=True, check=False
    )


def test_new_writes_a_file_and_names_the_next_step(tmp_path: Path) -> None:
    done = _type(tmp_path, "new", "violin", "body.length=350", "--out", "my.toml")
    assert (done.returncode, done.stderr) == (0, "")
    assert "graduale check my.toml" in done.stdout
    written = tomllib.loads((tmp_path / "my.toml").read_text(encoding="utf-8"))
    assert written["kind"] == "violin"


@pytest.mark.parametrize(
    "words",
    [
        ("new", "kazoo", "--out", "my.toml"),
        ("new", "violin", "body.lenght=350", "--out", "my.toml"),
        ("new", "violin", "body.length", "--out", "my.toml"),
        ("new", "violin", "body.length=nan", "--out", "my.toml"),
        ("new", "violin", "body.length=14", "--out", "my.toml"),
        ("new", "violin", "--out", "there/my.toml"),
    ],
    ids=["kind", "misspelled", "no value", "nan", "inches", "place"],
)
def test_bad_input_is_one_line_each_and_writes_nothing(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    (tmp_path / "there").write_text("a file")
    done = _type(tmp_path, *words)
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert 1 <= len(lines) <= 3
    assert "Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["there"]


def test_an_installed_command_is_the_one_of_this_tree() -> None:
    import graduale

    assert graduale.__file__ is not None
    found = subprocess.run(
        [sys.executable, "-c", "import graduale; print(graduale.__file__)"],
        capture_output=True, text=True, check=True, cwd="/",
    )  # fmt: skip
    assert found.stdout.strip() == graduale.__file__
