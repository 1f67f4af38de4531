"""The workshop book: nothing entered is lost, nothing is overwritten, whatever happens meanwhile.

SQLite's own command-line promises are not trusted: the file is reopened by another process after a
kill, with a full disk, with two writers, read-only. Flushes are counted because a kill alone proves
nothing about a pulled plug.
"""

import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from graduale.base.findings import Refused
from graduale.records import events as e
from graduale.store.book import Book, digest_of, open_book
from graduale.store.migrations import MIGRATIONS, Migration

ONE = "a" * 32


def entry(what: e.What, **more: object) -> e.Entry:
    """An entry of the instrument ONE, now."""
    return replace(e.Entry(e.new_id(), ONE, e.now_us(), what), **more)  # type: ignore[arg-type]


def reading(i: int) -> e.Entry:
    """The i-th reading of a round."""
    return entry(e.CaliperRead("top", 10.0 + i, -3.25, 3.0 + i / 1000, f"T{i}", typed=f"3,{i:03d}"))


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = open_book(tmp_path / "workshop.book")
    made.begin(ONE, "narrow fiddle", e.now_us())
    return made


def test_every_kind_of_entry_comes_back_as_it_was(book: Book) -> None:
    file, photo = b"format = 1\n" * 40, os.urandom(2000)
    first = reading(1)
    weight = entry(e.WeightRead("top", 41.237), who="A", humidity_percent=47.5, stage="scraper")
    kept = [
        entry(e.FileKept("my.toml", digest_of(file))),
        entry(e.DecisionKept("c0ffee", digest_of(file))),
        first,
        entry(e.CaliperRead("back", 0.1, 0.2, 2.53, "B7", doubtful=True, replaces=first.id)),
        weight,
        entry(e.TonesHeard("back", (171.25, 352.0))),
        entry(e.Noted("knot ½ mm, <script>")),
        entry(e.PhotoKept("inside.jpg", digest_of(photo), "raking light")),
        entry(e.StageBegun("top", "gouge")),
        entry(e.Accepted(first.id)),
        entry(e.Struck(weight.id)),
    ]
    assert book.add(kept, {digest_of(c): c for c in (file, photo)}) == len(kept)
    assert book.entries(ONE) == tuple(kept)
    assert book.entries(ONE, after=9) == tuple(kept[9:])
    assert book.content(digest_of(file)) == file
    assert book.content(digest_of(photo)) == photo
    assert book.faults() == ()


def test_an_entry_sent_twice_is_kept_once(book: Book) -> None:
    one = reading(1)
    assert book.add([one]) == 1
    assert book.add([one, reading(2)]) == 1
    assert len(book.entries(ONE)) == 2


def test_nothing_is_ever_overwritten_not_even_by_hand(book: Book) -> None:
    book.add([reading(1)])
    with sqlite3.connect(book.path) as other:
        for change in ("UPDATE entry SET t_um = 1", "DELETE FROM entry", "DELETE FROM instrument"):
            with pytest.raises(sqlite3.IntegrityError, match="never"):
                other.execute(change)
    assert book.entries(ONE)[0].what == reading(1).what


def test_undo_and_correction_are_entries_and_can_be_undone() -> None:
    first, other = reading(1), reading(2)
    assert isinstance(first.what, e.CaliperRead)
    better = entry(replace(first.what, t_mm=2.9, replaces=first.id))
    undo = entry(e.Struck(other.id))
    assert e.standing([first, other, better]) == (other, better)
    assert e.standing([first, other, better, undo]) == (better,)
    redo = entry(e.Struck(undo.id))
    assert e.standing([first, other, better, undo, redo]) == (other, better)
    back = entry(e.Struck(better.id))
    assert e.standing([first, better, back]) == (first,)


def test_a_batch_with_one_bad_entry_leaves_nothing(book: Book) -> None:
    with pytest.raises(Refused, match="not in the book"):
        book.add([reading(1), entry(e.Struck("0" * 32))])
    assert book.entries(ONE) == ()


_WRITER = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from graduale.records import events as e
    from graduale.store.book import open_book
    path, who = Path(sys.argv[1]), sys.argv[2]
    with open_book(path) as book:
        print("open", flush=True)
        for i in range(int(sys.argv[3])):
            one = e.Entry(e.new_id(), "a" * 32, e.now_us(), e.Noted(f"{who} {i}"))
            book.add([one])
            print(one.id, flush=True)
    """
)


def writer(path: Path, who: str, count: int) -> "subprocess.Popen[str]":
    """A process that adds notes one by one and prints each id when the book has it."""
    command = [sys.executable, "-c", _WRITER, str(path), who, str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_what_was_acknowledged_survives_a_kill(book: Book) -> None:
    """kill -9 at ten different moments; every id that was printed is there, the file is sound."""
    told: list[str] = []
    for round_ in range(10):
        run = writer(book.path, f"round {round_}", 10_000)
        assert run.stdout is not None
        assert run.stdout.readline() == "open\n"
        stop = time.monotonic() + 0.01 * (round_ + 1)
        ids = []
        while time.monotonic() < stop or not ids:
            ids.append(run.stdout.readline().strip())
        run.send_signal(signal.SIGKILL)
        rest = run.communicate()[0].split("\n")
        ids += [line for line in rest if len(line) == 32]
        told += ids
    there = {x.id for x in book.entries(ONE)}
    assert len(told) >= 10
    assert set(told) <= there
    assert len(there) <= len(told) + 10  # at most the one under way each time
    assert book.faults() == ()


def test_two_writers_at_once_lose_nothing(book: Book) -> None:
    runs = [writer(book.path, who, 150) for who in ("one", "other")]
    ids: set[str] = set()
    for run in runs:
        out, err = run.communicate(timeout=120)
        assert run.returncode == 0, err
        ids |= {line for line in out.split() if len(line) == 32}
    assert len(ids) == 300
    assert {x.id for x in book.entries(ONE)} == ids


def test_several_threads_share_one_book(book: Book) -> None:
    def work(k: int) -> None:
        for i in range(20):
            book.add([reading(100 * k + i)])

    threads = [threading.Thread(target=work, args=(k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(book.entries(ONE)) == 80


def test_a_full_disk_refuses_the_entry_and_keeps_all_before(tmp_path: Path) -> None:
    """The size of any file is limited by the system, which is what a full disk looks like."""
    path = tmp_path / "workshop.book"
    script = textwrap.dedent(
        """
        import resource, signal, sys
        from pathlib import Path
        from graduale.base.findings import Refused
        from graduale.records import events as e
        from graduale.store.book import open_book
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        book = open_book(Path(sys.argv[1]))
        book.begin("a" * 32, "one", 1)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_500_000, 1_500_000))
        try:
            for i in range(100_000):
                book.add([e.Entry(f"{i:032d}", "a" * 32, i, e.Noted("x" * 500))])
                print(f"{i:032d}", flush=True)
        except Refused as refused:
            print(refused.findings[0].key, refused.findings[0].line(), file=sys.stderr)
        """
    )
    run = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True)
    assert "disk-full" in run.stderr, run.stderr
    assert "Traceback" not in run.stderr
    told = run.stdout.split()
    assert len(told) > 20
    with open_book(path) as again:
        assert [x.id for x in again.entries(ONE)][: len(told)] == told
        assert len(again.entries(ONE)) == len(told)
        assert again.faults() == ()
        again.add([reading(1)])  # with room again it goes on


def test_every_commit_is_flushed_to_the_disk(tmp_path: Path) -> None:
    """Counted with strace where it is there; else the setting that SQLite documents for it."""
    path = tmp_path / "workshop.book"
    with open_book(path) as book:
        book.begin(ONE, "one", 1)
        assert book._connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
        assert book._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    if shutil.which("strace") is None:
        return
    command = ["strace", "-f", "-c", "-e", "trace=fsync,fdatasync", sys.executable, "-c", _WRITER]
    run = subprocess.run([*command, str(path), "w", "50"], capture_output=True, text=True)
    calls = [line.split() for line in run.stderr.splitlines() if "sync" in line]
    assert sum(int(c[3]) for c in calls) >= 50


def test_a_copy_of_an_open_book_is_whole(book: Book, tmp_path: Path) -> None:
    """Half of it still lies in the log; a plain copy of the file has lost it."""
    book.add([reading(i) for i in range(50)])
    plain = tmp_path / "plain.book"
    shutil.copy(book.path, plain)
    copy = tmp_path / "backups" / "copy.book"
    book.copy_to(copy)
    with open_book(copy) as again:
        assert again.entries(ONE) == book.entries(ONE)
        assert again.faults() == ()
    count = sqlite3.connect(plain).execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    assert count == 0, "the test must see a plain copy lose what the log holds"


def test_an_earlier_book_is_brought_forward_with_a_copy_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "workshop.book"
    with open_book(path) as old:
        old.begin(ONE, "one", 1)
        old.add([reading(1)])
    step = Migration(2, "colour", ("ALTER TABLE instrument ADD COLUMN colour TEXT",))
    with open_book(path, migrations=(*MIGRATIONS, step)) as new:
        assert new.version == 2
        assert new.entries(ONE)[0].what == reading(1).what
    with open_book(tmp_path / "workshop.book.before-version-2") as beside:
        assert beside.version == 1
        assert len(beside.entries(ONE)) == 1


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "workshop.book"
    with open_book(path) as old:
        old.begin(ONE, "one", 1)
    bad = Migration(2, "bad", ("ALTER TABLE instrument ADD COLUMN colour TEXT", "NO SUCH WORD"))
    with pytest.raises(sqlite3.OperationalError):
        open_book(path, migrations=(*MIGRATIONS, bad))
    with open_book(path) as again:
        assert again.version == 1
        assert "colour" not in str(
            again._connection.execute("SELECT sql FROM sqlite_schema").fetchall()
        )


def test_a_book_from_a_newer_version_is_left_alone(book: Book) -> None:
    book._connection.execute("PRAGMA user_version=99")
    book.close()
    before = book.path.read_bytes()
    with pytest.raises(Refused, match="newer Graduale"):
        open_book(book.path)
    assert book.path.read_bytes() == before


def test_other_files_are_no_books(tmp_path: Path) -> None:
    text, other = tmp_path / "a.txt", tmp_path / "b.sqlite"
    text.write_text("not a book\n" * 200)
    sqlite3.connect(other).execute("CREATE TABLE x(y)").connection.commit()
    for path in (text, other):
        before = path.read_bytes()
        with pytest.raises(Refused, match="no workshop book"):
            open_book(path)
        assert path.read_bytes() == before
    with pytest.raises(Refused, match="no workshop book yet"):
        open_book(tmp_path / "none.book", write=False)
    assert not (tmp_path / "none.book").exists()


def test_a_damaged_book_says_so_and_names_the_way_back(book: Book) -> None:
    book.add([reading(i) for i in range(400)])
    book._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    book.close()
    content = bytearray(book.path.read_bytes())
    content[4096 : len(content) // 2] = b"\xff" * (len(content) // 2 - 4096)
    book.path.write_bytes(content)
    with pytest.raises(Refused, match="graduale book restore"), open_book(book.path) as again:
        again.entries(ONE)


def test_who_only_reads_sees_what_still_lies_in_the_log(book: Book) -> None:
    book.add([reading(1)])
    with open_book(book.path, write=False) as other:
        assert len(other.entries(ONE)) == 1
        book.add([reading(2)])
        assert len(other.entries(ONE)) == 2


def test_on_a_write_protected_disk_it_opens_for_reading(book: Book) -> None:
    """Asked of the system as another user where the test runs as root."""
    book.add([reading(1)])
    book._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    book.close()
    with open_book(book.path, write=False) as again:
        assert len(again.entries(ONE)) == 1
        with pytest.raises(Refused, match="only be read"):
            again.add([reading(2)])


def test_limits_of_the_test_itself() -> None:
    """The full-disk test relies on the system's own limit."""
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[1] == resource.RLIM_INFINITY
