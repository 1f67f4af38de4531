"""`graduale book`: bring in, enter, list, hand over, copy and restore, as typed by a maker."""

import csv
import json
from pathlib import Path

import pytest

from graduale.base.findings import Refused
from graduale.files.history import folder_of, history_of
from graduale.jobs import book as jobs
from graduale.jobs.bench import Workshop
from graduale.records import events as e
from graduale.store.book import digest_of, open_book
from tests.flow.typed import NARROW, typed

NAME = "Narrow fiddle, demo"
READINGS = """plate,x_mm,y_mm,thickness_mm,stage,when,note
top,100,0,3.2,holes_cut,2026-11-20,T1
top,120,8,3.1,holes_cut,2026-11-20,T2
back,150,0,32,,2026-11-21,B1
"""


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty workshop with the narrow fiddle in its book."""
    path = tmp_path / "data" / "workshop.book"
    monkeypatch.setenv("GRADUALE_BOOK", str(path))
    assert typed(tmp_path, "book", "add", str(NARROW)).returncode == 0
    return path


def document(tmp_path: Path, *words: str) -> dict[str, object]:
    """The command's JSON."""
    run = typed(tmp_path, "book", *words, "--json")
    assert run.returncode == 0, run.stderr
    found: dict[str, object] = json.loads(run.stdout)
    return found


@pytest.mark.usefixtures("book")
def test_a_day_at_the_bench(tmp_path: Path) -> None:
    readings = tmp_path / "readings.csv"
    readings.write_text(READINGS)
    first = typed(tmp_path, "book", "read", NAME, str(readings))
    assert first.returncode == 0
    assert "3 readings added" in first.stdout
    assert "doubtful" in first.stdout  # 32 for 3.2
    assert "0 readings added" in typed(tmp_path, "book", "read", NAME, str(readings)).stdout
    assert typed(tmp_path, "book", "weigh", NAME, "top", "41.2", "--humidity", "45").stdout
    assert typed(tmp_path, "book", "note", NAME, "knot at 120").returncode == 0
    assert "Struck" in typed(tmp_path, "book", "strike", NAME).stdout
    shown = typed(tmp_path, "book", "show", NAME).stdout
    for told in (
        "top 3.20 mm",
        "top weighs 41.2 g",
        "knot at 120  (struck)",
        "kept out of the map",
    ):
        assert told in shown
    assert NAME in typed(tmp_path, "book", "list").stdout


@pytest.mark.usefixtures("book")
def test_the_exported_folder_is_read_by_people_by_judge_and_by_import(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readings, photo, out = tmp_path / "r.csv", tmp_path / "inside.jpg", tmp_path / "handed-over"
    readings.write_text(READINGS)
    photo.write_bytes(b"\xff\xd8 not really a picture \x00" * 50)
    typed(tmp_path, "book", "read", NAME, str(readings))
    typed(tmp_path, "book", "photo", NAME, str(photo), "--caption", '=HYPERLINK("x")')
    typed(tmp_path, "book", "weigh", NAME, "back", "57.3")
    assert typed(tmp_path, "book", "export", NAME, str(out)).returncode == 0
    assert (out / "instrument.toml").read_text() == NARROW.read_text()
    with (out / "readings.csv").open(newline="") as lines:
        counted = list(csv.DictReader(lines))
    assert [r["thickness_mm"] for r in counted] == ["3.2", "3.1"]  # the doubtful one is left out
    assert "'=HYPERLINK" in (out / "history.csv").read_text()
    before = document(tmp_path, "show", NAME)
    monkeypatch.setenv("GRADUALE_BOOK", str(tmp_path / "other.book"))
    assert "taken in" in typed(tmp_path, "book", "import", str(out)).stdout
    assert document(tmp_path, "show", NAME) == before
    assert document(tmp_path, "import", str(out))["added"] == 0


def test_the_workshops_settings_go_with_the_instrument(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A maker in inches: the page and the handed-over folder know it."""
    monkeypatch.setenv("GRADUALE_BOOK", str(tmp_path / "w.book"))
    own = tmp_path / "own"
    own.mkdir()
    (own / "mine.toml").write_text(NARROW.read_text(encoding="utf-8"), encoding="utf-8")
    (own / "workshop.toml").write_text('format = 1\nsheet_units = "inch"\n', encoding="utf-8")
    assert typed(tmp_path, "book", "add", str(own / "mine.toml")).returncode == 0
    assert typed(tmp_path, "book", "export", NAME, str(tmp_path / "out")).returncode == 0
    kept = (tmp_path / "out" / "workshop.toml").read_bytes()
    assert kept == (own / "workshop.toml").read_bytes()
    assert (tmp_path / "out" / "instrument.toml").read_text() == NARROW.read_text()
    workshop = Workshop(tmp_path / "w.book")
    made = workshop.instrument(workshop.book.instruments()[0].id)
    assert made is not None
    assert made.workshop.units == "inch"
    workshop.close()


def test_copy_and_restore(tmp_path: Path, book: Path) -> None:
    typed(tmp_path, "book", "note", NAME, "before the copy")
    copy = tmp_path / "usb" / "copy.book"
    assert typed(tmp_path, "book", "copy", str(copy)).returncode == 0
    typed(tmp_path, "book", "note", NAME, "after the copy")
    book.write_bytes(b"\x00" * 10_000)  # the disk has eaten it
    refused = typed(tmp_path, "book", "list")
    assert refused.returncode == 2
    assert "restore" in refused.stderr
    assert typed(tmp_path, "book", "restore", str(copy)).returncode == 0
    shown = typed(tmp_path, "book", "show", NAME).stdout
    assert "before the copy" in shown
    assert "after the copy" not in shown
    assert len(list(book.parent.glob("workshop.book.set-aside-*"))) >= 1


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("show", "viola"), "holds no instrument 'viola'"),
        (("weigh", NAME, "top", "0"), "cannot be"),
        (("weigh", NAME, "top", "nan"), "cannot be"),
        (("weigh", NAME, "top", "41", "--humidity", "450"), "percent"),
        (("note", NAME, "  "), "letters"),
        (("strike", NAME, "abc"), "no single entry"),
        (("photo", NAME, "nowhere.jpg"), "cannot be read"),
        (("import", "nowhere"), "is no folder"),
        (("read", NAME, "nowhere.csv"), "does not exist"),
        (("restore", str(NARROW)), "no workshop book"),
    ],
)
def test_bad_input_is_one_clear_sentence(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    before = document(tmp_path, "show", NAME)
    run = typed(tmp_path, "book", *words)
    assert run.returncode == 2
    assert told in run.stderr
    assert "Traceback" not in run.stderr
    assert document(tmp_path, "show", NAME) == before


def test_a_changed_folder_names_the_line(tmp_path: Path, book: Path) -> None:
    with open_book(book) as one:
        held = one.instrument(NAME)
        one.add([e.Entry(e.new_id(), held.id, e.now_us(), e.WeightRead("top", 41.0))])
        history = jobs.history_in(one, held)
    files = folder_of(history)
    assert history_of(files, "here").entries == history.entries
    changed = files | {"history.csv": files["history.csv"].replace(b",41,", b",heavy,")}
    with pytest.raises(Refused, match="line 3"):
        history_of(changed, "here")
    lost = {n: c for n, c in files.items() if not n.startswith("contents/")}
    with pytest.raises(Refused, match="missing or was changed"):
        history_of(lost, "here")


def test_the_same_digest_on_both_sides() -> None:
    """The digest of a content is SHA-256 (FIPS 180-4, example 'abc')."""
    told = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of(b"abc") == told
