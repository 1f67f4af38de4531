"""Output folders: whole or not at all, never over what is not ours, whatever the disk does."""

import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pytest

from graduale.base.findings import Refused
from graduale.store import out, swap

_NOBODY = 65534


def _tree(folder: Path) -> dict[str, bytes]:
    found = sorted(p for p in folder.rglob("*") if p.is_file())
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in found}


def _names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_a_folder_holds_what_was_given_and_nothing_lies_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "deep" / "out"
    out.write_folder(target, {"a.txt": "ä\n", "sheets/b.pdf": b"\x00\x01"})
    tree = _tree(target)
    tree.pop(out.MARKER)
    assert tree == {"a.txt": "ä\n".encode(), "sheets/b.pdf": b"\x00\x01"}
    assert out.written(target) == ("a.txt", "sheets/b.pdf")
    assert _names(tmp_path / "deep") == ["out"]
    assert target.stat().st_mode & 0o777 == 0o777 & ~out._umask()


def test_the_same_files_give_the_same_bytes(tmp_path: Path) -> None:
    files = {"b": "2", "a": "1"}
    out.write_folder(tmp_path / "one", files)
    out.write_folder(tmp_path / "two", dict(reversed(files.items())))
    assert _tree(tmp_path / "one") == _tree(tmp_path / "two")


def test_a_second_run_drops_stale_files_and_keeps_the_makers_own(tmp_path: Path) -> None:
    target = tmp_path / "out"
    out.write_folder(target, {"holes.csv": "old", "map.svg": "old"})
    (target / "notes").mkdir()
    (target / "notes" / "mine.txt").write_text("keep me")
    out.write_folder(target, {"map.svg": "new"})
    tree = _tree(target)
    assert tree.pop(out.MARKER)
    assert tree == {"map.svg": b"new", "notes/mine.txt": b"keep me"}
    assert out.written(target) == ("map.svg",)


def test_with_keep_earlier_files_of_ours_stay(tmp_path: Path) -> None:
    target = tmp_path / "out"
    out.write_folder(target, {"decision.json": "{}", "sheet.pdf": "old"})
    out.write_folder(target, {"sheet.pdf": "new"}, keep=True)
    assert out.written(target) == ("decision.json", "sheet.pdf")
    assert (target / "decision.json").read_text() == "{}"
    assert (target / "sheet.pdf").read_text() == "new"


def test_an_empty_folder_may_be_used_and_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    out.write_folder(tmp_path / "link", {"a": "1"})
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "a").read_text() == "1"


def test_a_foreign_folder_is_never_touched(tmp_path: Path) -> None:
    target = tmp_path / "photos"
    target.mkdir()
    (target / "one.jpg").write_bytes(b"dear")
    with pytest.raises(Refused, match="did not write") as refused:
        out.write_folder(target, {"a": "1"})
    assert refused.value.findings[0].key == "folder-foreign"
    assert _tree(target) == {"one.jpg": b"dear"}
    assert _names(tmp_path) == ["photos"]


def test_a_file_in_the_folders_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    for target in (tmp_path / "out", tmp_path / "out" / "below"):
        with pytest.raises(Refused):
            out.check_folder(target)
    assert (tmp_path / "out").read_text() == "mine"


@pytest.mark.parametrize("name", ["", "/a", "../a", "a/../../b", "a//b", "./a", out.MARKER])
def test_a_name_that_leads_out_of_the_folder_is_a_fault(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="file name"):
        out.write_folder(tmp_path / "out", {name: "x"})
    assert _names(tmp_path) == []


@contextmanager
def _nobody(folder: Path) -> Iterator[None]:
    """Without root's powers, for root may write anywhere; `folder` can be entered, not written."""
    folder.chmod(0o555)
    as_root = os.geteuid() == 0
    if as_root:
        os.seteuid(_NOBODY)
    try:
        yield
    finally:
        if as_root:
            os.seteuid(0)
        folder.chmod(0o755)


def test_an_unwritable_place_is_one_clear_sentence() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with _nobody(folder):
            for work in (
                lambda: out.check_folder(folder / "out"),
                lambda: out.write_folder(folder / "a" / "out", {"a": "1"}),
                lambda: out.write_file(folder / "a.toml", "x"),
            ):
                with pytest.raises(Refused, match="cannot be written to") as refused:
                    work()
                assert len(refused.value.findings) == 1
                assert "\n" not in refused.value.findings[0].line()
        assert _names(folder) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 1 MB (a mount needs root), else a limit of 1 MB on every file."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)]
    if (
        os.geteuid() == 0
        and subprocess.run(mount, capture_output=True, check=False).returncode == 0
    ):
        yield disk
        subprocess.run(["umount", str(disk)], check=True)
        return
    with _file_limit(1_000_000):
        yield disk


@contextmanager
def _file_limit(size: int) -> Iterator[None]:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_full_disk_leaves_the_old_folder_whole(small_disk: Path) -> None:
    target = small_disk / "out"
    out.write_folder(target, {"a": "old", "b": "old"})
    before = _tree(target)
    with pytest.raises(Refused, match="disk is full"):
        out.write_folder(target, {"a": "new", "b": b"x" * 3_000_000})
    assert _tree(target) == before
    assert _names(small_disk) == ["out"]


def test_a_full_disk_leaves_no_half_file(tmp_path: Path) -> None:
    with _file_limit(10_000), pytest.raises(Refused, match="disk is full"):
        out.write_file(tmp_path / "a.toml", b"x" * 20_000)
    assert _names(tmp_path) == []


class _Interrupted(Mapping[str, str]):
    """Files whose second content is never delivered, for the maker pressed Ctrl-C."""

    def __getitem__(self, name: str) -> str:
        if name == "b":
            raise KeyboardInterrupt
        return "new"

    def __iter__(self) -> Iterator[str]:
        return iter(["a", "b"])

    def __len__(self) -> int:
        return 2


def test_an_interruption_leaves_the_old_folder_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    out.write_folder(target, {"a": "old", "b": "old"})
    before = _tree(target)
    with pytest.raises(KeyboardInterrupt):
        out.write_folder(target, _Interrupted())
    assert _tree(target) == before
    assert _names(tmp_path) == ["out"]


def test_a_killed_writer_leaves_one_version_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    out.write_folder(target, {f"f{i}": "start" for i in range(6)})
    code = (
        "import sys; from pathlib import Path; from graduale.store.out import write_folder\n"
        "n = 0\n"
        "while True:\n"
        "    n += 1\n"
        "    write_folder(Path(sys.argv[1]), {f'f{i}': str(n) * 999 for i in range(6)})\n"
        "    print(n, flush=True)\n"
    )
    chance = random.Random(1)
    for _ in range(8):
        writer = subprocess.Popen(
            [sys.executable, "-c", code, str(target)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        assert writer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.05))
        writer.send_signal(signal.SIGKILL)
        writer.communicate()
        tree = _tree(target)
        assert tree.pop(out.MARKER)
        assert sorted(tree) == [f"f{i}" for i in range(6)]
        assert len(set(tree.values())) == 1


def test_what_a_killed_writer_left_beside_is_cleared_by_the_next(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from graduale.store import out\n"
        "out.swap = lambda fresh, place: os._exit(9)\n"
        "out.write_folder(Path(sys.argv[1]), {'a': '1'})\n"
    )
    target = tmp_path / "out"
    done = subprocess.run([sys.executable, "-c", code, str(target)], check=False)
    assert done.returncode == 9
    assert len(_names(tmp_path)) == 1
    out.write_folder(target, {"a": "2"})
    assert _names(tmp_path) == ["out"]


def test_two_renames_do_where_folders_cannot_change_places(tmp_path: Path) -> None:
    for name in ("fresh", "place"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "who").write_text(name)
    swap._two_renames(tmp_path / "fresh", tmp_path / "place")
    assert _tree(tmp_path) == {"place/who": b"fresh"}
    with pytest.raises(FileNotFoundError):
        swap._two_renames(tmp_path / "not-there", tmp_path / "place")
    assert _tree(tmp_path) == {"place/who": b"fresh"}
    assert _names(tmp_path) == ["place"]


def test_a_file_is_never_written_over(tmp_path: Path) -> None:
    out.write_file(tmp_path / "new" / "my.toml", "a = 1\n")
    assert (tmp_path / "new" / "my.toml").read_text() == "a = 1\n"
    assert _names(tmp_path / "new") == ["my.toml"]
    with pytest.raises(Refused, match="exists already"):
        out.write_file(tmp_path / "new" / "my.toml", "b")
    assert (tmp_path / "new" / "my.toml").read_text() == "a = 1\n"
