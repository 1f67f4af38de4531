"""Bad input typed at the real command: one clear sentence, exit code 2, nothing half-written."""

import os
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.flow.typed import GRADUALE, NARROW, Done, places, there, typed

EXAMPLE = NARROW.read_text(encoding="utf-8")
VIOLIN = 'format = 1\nkind = "violin"\n'
# A figure of eight: the second half of the ring is written in the wrong order.
HALF = [(0, 0), (10, 40), (60, 54), (130, 45), (180, 30), (200, 40), (260, 42), (310, 20)]
RING = [*HALF, (320, 0), *((x, -y) for x, y in HALF[1:])]
PATCH = [[x, y, 10.0] for x in range(100, 200, 10) for y in (-20, -10, 0, 10, 20)]


def changed(old: str, new: str) -> str:
    """The example with one place changed."""
    assert EXAMPLE.count(old) == 1, old
    return EXAMPLE.replace(old, new)


def added(table: str, line: str) -> str:
    """The example with a line more in one of its tables."""
    return changed(f"[{table}]\n", f"[{table}]\n{line}\n")


CASES = {
    "outline crosses itself": (
        f"{VIOLIN}[body]\noutline_points = {[list(p) for p in RING]}\n",
        "body.outline_points",
        "crosses itself",
    ),
    "arching does not cover": (
        added("top.arch", f"heights = {PATCH}"),
        "top.arch",
        "do not cover the plate",
    ),
    "thicker than the arch": (
        changed("value = 12.5, plus_minus = 1", "value = 8") + "\n[back.inside]\nleast = 9\n",
        "back.inside.least",
        "thickness cannot exceed",
    ),
    "nothing left to decide": (
        EXAMPLE + "\n[top.inside]\nleast = 8\n",
        "top.inside.least",
        "write 5 mm at the most",
    ),
    "zero modulus": (
        added("top.wood", "moduli = { ER = 0 }"),
        "top.wood.moduli.ER",
        "is zero",
    ),
    "negative modulus": (
        added("back.wood", "e_along = -9000"),
        "back.wood.e_along",
        "is negative",
    ),
    "indefinite compliance": (
        added("top.wood", "poisson = { LR = 2, LT = 2.5, RT = 0.99 }"),
        "top.wood",
        "do not fit the moduli",
    ),
    "unknown species": (changed("sycamore_maple", "sycamore_mapel"), "back.wood", "wood table"),
    "nan": (changed("value = 320", "value = nan"), "body.length", "nan is no number"),
    "nan gauge": (changed("gauge = 1.50", "gauge = nan"), "strings.string[1].gauge", "nan"),
    "misspelled key": (
        changed("waist_width", "waist_widht"),
        "body.waist_widht",
        "did you mean 'waist_width'?",
    ),
    "inches in a mm file": (changed("value = 320", "value = 12.6"), "body.length", "in inches?"),
    "decimal comma": (changed("pitch = 415", "pitch = 415,3"), "line 54", "with a point"),
    "no kind": ("format = 1\n", "kind", "is missing"),
    "post on the bar": (EXAMPLE + "\n[post]\ny = 8\n", "post.y", "move one of them"),
    "bar over a soundhole": (
        added("bar", "lower_y = 16\nupper_y = 16"),
        "bar",
        "overlaps a soundhole",
    ),
}


def said_once(done: Done, file: str, place: str, says: str) -> None:
    """One line: file, key, what is wrong; no traceback, nothing on stdout."""
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith(f"{file}: {place}"), lines[0]
    assert says in lines[0]
    assert lines[0].endswith((".", "?"))
    assert len(lines[0]) < 420


@pytest.mark.parametrize("case", CASES)
def test_decide_says_in_one_sentence_what_to_mend_and_writes_nothing(
    tmp_path: Path, case: str
) -> None:
    text, place, says = CASES[case]
    (tmp_path / "my.toml").write_text(text, encoding="utf-8")
    done = typed(tmp_path, "decide", "my.toml", "--out", "out", "--quiet")
    said_once(done, "my.toml", place, says)
    assert there(tmp_path) == ["my.toml"]


def _folder(place: Path) -> None:
    place.mkdir()


def _junk(place: Path) -> None:
    place.write_bytes(bytes(range(256)) * 400)


def _huge(place: Path) -> None:
    place.write_bytes(b"# a line of no use\n" * 200_000)


def _nothing(place: Path) -> None:
    assert not place.exists()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (_nothing, "does not exist; check the name and the folder"),
        (_folder, "is a folder; name the file inside it"),
        (_junk, "no UTF-8 text; save the file as plain text"),
        (_huge, "is 3.8 MB, more than the 2 MB"),
    ],
    ids=["missing", "folder", "junk", "huge"],
)
@pytest.mark.parametrize("command", ["check", "decide"])
def test_what_is_no_instrument_file(
    tmp_path: Path, command: str, make: Callable[[Path], None], says: str
) -> None:
    make(tmp_path / "my.toml")
    before = there(tmp_path)
    more = ["--out", "out"] if command == "decide" else []
    done = typed(tmp_path, command, "my.toml", *more)
    said_once(done, "my.toml", "", says)
    assert there(tmp_path) == before


def test_a_string_beyond_its_limit_is_a_warning(tmp_path: Path) -> None:
    text = changed('note = "E5"', 'note = "C6"')
    (tmp_path / "my.toml").write_text(text, encoding="utf-8")
    done = typed(tmp_path, "check", "my.toml")
    assert (done.returncode, done.stderr) == (0, "")
    assert "To mend (0)" in done.stdout
    assert "strings.string[4] (C6): at " in done.stdout
    assert "this gut string breaks" in done.stdout
    assert "tune it lower" in done.stdout


def test_a_folder_of_someone_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "mine.txt").write_text("dear", encoding="utf-8")
    done = typed(tmp_path, "decide", str(NARROW), "--out", "letters")
    said_once(done, "letters", "", "name another folder or an empty one")
    assert there(tmp_path) == ["letters", "letters/mine.txt"]


def test_a_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine", encoding="utf-8")
    done = typed(tmp_path, "decide", str(NARROW), "--out", "out")
    said_once(done, "out", "", "this is a file, not a folder")
    assert (tmp_path / "out").read_text(encoding="utf-8") == "mine"


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    """Where permissions bind (not for the superuser), a folder without the right to write;
    elsewhere the kernel's own folder, in which nobody can make a file."""
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)
    place = "/proc/out" if os.access(locked, os.W_OK) else "locked/out"
    done = typed(tmp_path, "decide", str(NARROW), "--out", place)
    said_once(done, place, "", "cannot be written to")
    assert there(tmp_path) == ["locked"]


@pytest.mark.parametrize("command", ["holes", "sheets"])
def test_a_folder_without_a_decision(tmp_path: Path, command: str) -> None:
    done = typed(tmp_path, command, "nowhere", "--out", "again")
    said_once(done, "nowhere/decision.json", "", "run 'graduale decide' first")
    assert there(tmp_path) == []


@pytest.mark.usefixtures("decided")  # the reference band is then made
@pytest.mark.slow
def test_cancelling_in_the_middle_leaves_nothing(tmp_path: Path, shared_cache: Path) -> None:
    """Ctrl-C while the thickness is chosen."""
    command = [GRADUALE, "decide", str(NARROW), "--out", "out"]
    run = subprocess.Popen(
        command,
        cwd=tmp_path,
        env=places(tmp_path),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # a test run that was itself started in the background has Ctrl-C ignored
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert run.stderr is not None
    seen = ""
    while "meshing" not in seen:
        line = run.stderr.readline()
        assert line, seen
        seen += line
    time.sleep(1.0)
    run.send_signal(signal.SIGINT)
    stdout, stderr = run.communicate(timeout=60)
    assert run.returncode == 130
    assert stdout == ""
    assert stderr.splitlines()[-1] == "Cancelled; nothing half-written is left."
    assert "Traceback" not in stderr
    assert there(tmp_path) == []
    assert not [p for p in shared_cache.iterdir() if p.suffix != ".npz"]
