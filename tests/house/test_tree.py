"""Nothing of one machine, and nothing unfinished, in the tree; rows with sources; docs complete."""

import re
import tomllib
from pathlib import Path

import pytest

from graduale.base.tables import sources
from graduale.cli.arguments import parser
from tests.house.tree import PACKAGE, ROOMS, ROOT, texts

_UNWANTED = {
    "a path of one machine": re.compile(r"(?<![\w.<>-])/(?:work|root|tmp|home|opt)\b(?!\w)"),
    "the address of a package registry": re.compile(r"pypi\.(?:org)|pythonhosted\.(?:org)"),
    "a note of unfinished work": re.compile(r"\b(?:TO[D]O|FIX[M]E|XX[X])\b"),
}


@pytest.mark.parametrize("what", _UNWANTED)
def test_the_tree_holds_no(what: str) -> None:
    found = [
        f"{name}:{text.count(chr(10), 0, hit.start()) + 1}: {hit.group()}"
        for name, text in texts()
        for hit in _UNWANTED[what].finditer(text)
    ]
    assert found == []


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a path of one machine", 'open("/' + 'tmp/x")'),
        ("the address of a package registry", "https://pypi." + "org/simple"),
        ("a note of unfinished work", "# TO" + "DO later"),
    ],
)
def test_the_watch_on_the_tree_sees(what: str, text: str) -> None:
    assert _UNWANTED[what].search(text)


def _pins(name: str) -> dict[str, set[str]]:
    pins: dict[str, set[str]] = {}
    text = (ROOT / "lock" / name).read_text(encoding="utf-8")
    for package, version in re.findall(r"^([\w.-]+)==([\w.+]+)", text, flags=re.M):
        pins.setdefault(package, set()).add(version)
    return pins


@pytest.mark.parametrize("name", ["run.txt", "test.txt"])
def test_a_lock_has_hashes_and_no_address(name: str) -> None:
    text = (ROOT / "lock" / name).read_text(encoding="utf-8")
    assert "://" not in text
    assert "@" not in text
    blocks = re.split(r"^(?=\w)", text, flags=re.M)[1:]
    assert all("--hash=sha256:" in block for block in blocks)


def test_the_two_locks_agree() -> None:
    run, test = _pins("run.txt"), _pins("test.txt")
    assert run
    assert {name: versions for name, versions in run.items() if test.get(name) != versions} == {}


def test_every_dependency_has_a_range_and_is_locked() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["build"]]
    assert [w for w in wanted if ">=" not in w or "==" in w] == []
    names = {re.split(r"[<>=]", w)[0] for w in wanted}
    assert names <= set(_pins("run.txt"))


_TABLES = sorted(p for p in PACKAGE.glob("*/data/*.toml") if p.parts[-3] != "words")


@pytest.mark.parametrize("path", _TABLES, ids=lambda p: f"{p.parts[-3]}/{p.name}")
def test_every_data_row_has_a_source(path: Path) -> None:
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = sources(content)
    assert rows
    assert [row for row, source in rows.items() if not source] == []


def test_a_row_without_source_is_seen() -> None:
    rows = sources({"pine": {"el": 1.0}, "oak": {"source": "a book", "part": {"el": 2.0}}})
    assert rows == {"pine": None, "oak.part": "a book"}


def _docs() -> str:
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return "\n".join(page.read_text(encoding="utf-8") for page in pages)


def _commands() -> list[str]:
    those = next(action for action in parser()._actions if action.dest == "command")
    return list(those.choices or ())


def test_the_docs_name_every_command() -> None:
    commands = _commands()
    assert "decide" in commands
    docs = _docs()
    assert [c for c in commands if f"graduale {c}" not in docs] == []


def test_the_contributors_page_names_every_room() -> None:
    page = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    assert [room for room in ROOMS if f"`{room}`" not in page] == []
